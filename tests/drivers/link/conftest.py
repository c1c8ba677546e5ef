"""A generator and a scope with an exact circuit between them, and servers of links.

The servers are written from the open standards (IVI-6.1, VXI-11, RFC 5531; from
memory) and share no line with pyvisa-py or the package: one instrument each, whose
``obey`` answers its commands.
"""

import math
import os
import re
import select
import socketserver
import struct
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from halfpower.drivers import Bench, load_bench_file, open_bench

COIL_H, COIL_OHM, TANK_F = 3.3e-6, 1.2, 150e-12
COUPLING_F, SOURCE_OHM, PROBE_OHM, PROBE_F = 1e-12, 50.0, 0.93e6, 10e-12
OpenOver = Callable[..., Bench]


def tank_v(frequency_hz: float, emf_v: float) -> float:
    """Node voltage of a series R-L across C, through a capacitor from a source."""
    s = 2j * math.pi * frequency_hz
    tank = s * (TANK_F + PROBE_F) + 1.0 / PROBE_OHM + 1.0 / (COIL_OHM + s * COIL_H)
    coupling = 1.0 / (SOURCE_OHM + 1.0 / (s * COUPLING_F))
    return abs(emf_v * coupling / (coupling + tank))


@pytest.fixture
def resonance_hz() -> float:
    """Of the coil with all that lies across it, the loss left out."""
    return 1 / (2 * math.pi * math.sqrt(COIL_H * (TANK_F + PROBE_F + COUPLING_F)))


@pytest.fixture
def instruments(fake: SimpleNamespace) -> SimpleNamespace:
    """Generator and scope, each with ``obey``; they keep what they heard."""
    source = fake.Generator()

    class Scope(fake.Scope):  # type: ignore[misc, name-defined]
        def own(self, command: str) -> str | None:
            emf_v = 2.0 * source.level if source.on else 0.0
            self.signal_v = tank_v(source.frequency_hz, emf_v)
            answer: str | None = super().own(command)
            return answer

    return SimpleNamespace(source=source, scope=Scope())


@pytest.fixture
def open_over(tmp_path: Path, bench_toml: str) -> OpenOver:
    """Open a bench whose two instruments have these resource names."""

    def opened(
        generator: str,
        detector: str,
        *,
        link: str = "",
        timeout: str = "2s",
        sleep: Callable[[float], None] = lambda _: None,
    ) -> Bench:
        text = bench_toml.replace("GPIB::1", generator).replace("GPIB::2", detector)
        text = text.replace('"\ndialect', f'"\ntimeout = "{timeout}"\ndialect')
        for name in ("generator-volts", "scope-vrms"):
            text = text.replace(f'"{name}"', f'"{name}.toml"')
            folder = Path(__file__).parents[3] / "drivers" / "dialects"
            own = (folder / f"{name}.toml").read_text(encoding="utf-8")
            (tmp_path / f"{name}.toml").write_text(own + link, encoding="utf-8")
        path = tmp_path / "bench.toml"
        path.write_text(text, encoding="utf-8")
        return open_bench(load_bench_file(path), folder=tmp_path, sleep=sleep)

    return opened


# Servers ---------------------------------------------------------------------------

Obey = Callable[[str], str | None]
PAUSE = threading.Event()  # never set: to wait by


class Talker:
    """What is behind a link, whichever it is.

    Attributes
    ----------
    end
        What ends an answer's text, beside an END that the link itself may have.
    delay_s
        How long the answer to a command takes; may hang up by ConnectionError.
    opened
        How often a client came.
    """

    def __init__(self, obey: Obey) -> None:
        self.obey = obey
        self.end = "\n"
        self.delay_s: Callable[[str], float] = lambda _: 0.0
        self.opened = 0

    def answers(self, message: bytes) -> Iterator[tuple[float, bytes]]:
        """Give the answers to a message's lines, each with how long it takes."""
        for line in filter(None, re.split("[\r\n]+", message.decode("ascii"))):
            delay_s = self.delay_s(line)
            answer = self.obey(line)
            if answer is not None:
                yield delay_s, (answer + self.end).encode("ascii")


class NetworkTalker(Talker):
    """One that listens on a port of this machine."""

    form: str
    channel: type[socketserver.BaseRequestHandler]

    @contextmanager
    def serving(self) -> Iterator[str]:
        """Serve it; its resource name."""
        made = type(
            "Server", (socketserver.ThreadingTCPServer,), {"daemon_threads": True}
        )
        with made(("127.0.0.1", 0), self.channel) as server:
            server.talker, self.server = self, server
            thread = threading.Thread(
                target=server.serve_forever, args=(0.01,), daemon=True
            )
            thread.start()
            try:
                yield self.form.format(port=server.server_address[1])
            finally:
                server.shutdown()
                thread.join()

    def leave(self) -> None:
        """Listen no more."""
        self.server.shutdown()
        self.server.server_close()


class Channel(socketserver.StreamRequestHandler):
    """One connection."""

    disable_nagle_algorithm = True
    talker: Any

    def handle(self) -> None:
        """Serve it until it is closed."""
        self.talker = self.server.talker  # type: ignore[attr-defined] # NetworkTalker's
        self.begin()
        with suppress(ConnectionError, struct.error):
            while True:
                self.take()

    def begin(self) -> None:
        """Begin a connection."""
        raise NotImplementedError

    def take(self) -> None:
        """Take one message."""
        raise NotImplementedError


class HislipChannel(Channel):
    """The synchronous or the asynchronous channel of a session (IVI-6.1).

    Overlapped, answers are numbered by themselves; else each bears the number of what
    it answers.
    """

    header = struct.Struct("!2sBBIQ")  # prologue, type, control code, parameter, length

    def begin(self) -> None:
        """Nothing asked yet."""
        self.text = b""

    def send(self, kind: int, control: int, parameter: int, data: bytes = b"") -> None:
        """Send one message."""
        self.wfile.write(
            self.header.pack(b"HS", kind, control, parameter, len(data)) + data
        )

    def take(self) -> None:
        """Take one message, of these types of IVI-6.1's table."""
        _, kind, control, parameter, length = self.header.unpack(
            self.rfile.read(self.header.size)
        )
        data, talker = self.rfile.read(length), self.talker
        preferred = int(talker.prefers_overlapped)
        if kind == 0:  # Initialize
            talker.opened += 1
            talker.own_id = talker.FIRST_ID
            talker.overlapped = talker.prefers_overlapped
            self.send(1, preferred, 1 << 24 | talker.opened)  # version 1.0, session
        elif kind == 17:  # AsyncInitialize
            self.send(18, 0, 0)
        elif kind == 15:  # AsyncMaximumMessageSize
            self.send(16, 0, 0, struct.pack("!Q", 1 << 20))
        elif kind == 19:  # AsyncDeviceClear
            self.send(23, preferred, 0)
        elif kind == 8:  # DeviceClearComplete: the client's choice holds
            talker.overlapped, self.text = bool(control & 1), b""
            talker.own_id = talker.FIRST_ID
            self.send(9, control, 0)
        elif kind in {6, 7}:  # Data, DataEND
            self.text += data
            if kind == 7:
                message, self.text = self.text, b""
                self.answer(message, parameter)
        else:
            self.send(3, 1, 0)  # Error: unrecognized message type

    def answer(self, message: bytes, asked: int) -> None:
        """Send every answer, in pieces."""
        talker = self.talker
        for delay_s, data in talker.answers(message):
            PAUSE.wait(delay_s)
            named = talker.own_id if talker.overlapped else asked
            talker.own_id = (talker.own_id + 2) % (1 << 32)
            for start in range(0, len(data), talker.piece):
                is_last = start + talker.piece >= len(data)
                piece = data[start : start + talker.piece]
                self.send(7 if is_last else 6, 0, named, piece)


class Hislip(NetworkTalker):
    """An instrument behind HiSLIP."""

    FIRST_ID = 0xFFFF_FF00
    form = "TCPIP0::127.0.0.1::hislip0,{port}::INSTR"
    channel = HislipChannel
    prefers_overlapped = False
    piece = 5  # bytes of an answer in one message


class Vxi11Channel(Channel):
    """The core channel (VXI-11, B.6) over ONC RPC's record marking (RFC 5531)."""

    def begin(self) -> None:
        """Nothing written yet, nothing to read."""
        self.text = b""
        self.output: list[tuple[float, bytes]] = []

    def take(self) -> None:
        """Answer one call."""
        record, is_last = b"", 0
        while not is_last:
            (mark,) = struct.unpack("!I", self.rfile.read(4))
            is_last = mark >> 31
            record += self.rfile.read(mark & 0x7FFF_FFFF)
        xid, procedure = struct.unpack("!I16xI", record[:24])
        calls = {10: self.create, 11: self.write, 12: self.read, 23: self.destroy}
        # accepted, no verifier, success
        reply = struct.pack("!6I", xid, 1, 0, 0, 0, 0) + calls[procedure](record[40:])
        self.wfile.write(struct.pack("!I", len(reply) | 1 << 31) + reply)

    def create(self, call: bytes) -> bytes:
        """create_link: error, link, abort port, most bytes of one write."""
        length = struct.unpack("!12xI", call[:16])[0]
        self.talker.opened += 1
        known = call[16 : 16 + length] == b"inst0"
        return struct.pack("!4I", 0 if known else 3, 1, 0, 1024)

    def destroy(self, _: bytes) -> bytes:
        """destroy_link."""
        return struct.pack("!I", 0)

    def write(self, call: bytes) -> bytes:
        """device_write: at END the message is obeyed; unread output goes."""
        flags, length = struct.unpack("!12x2I", call[:20])
        self.text += call[20 : 20 + length]
        if flags & 8:
            message, self.text = self.text, b""
            if not self.talker.keeps_unread:
                self.output.clear()  # IEEE 488.2, 6.3.2.3: interrupted
            self.output += (
                (time.monotonic() + delay_s, data)
                for delay_s, data in self.talker.answers(message)
            )
        return struct.pack("!2I", 0, length)

    def read(self, call: bytes) -> bytes:
        """device_read: error, reason (1 count, 2 character, 4 END), data."""
        most, timeout_ms, _, flags, character = struct.unpack("!4x5I", call[:24])
        ready_s = self.output[0][0] if self.output else math.inf
        wait_s = ready_s - time.monotonic()
        if wait_s > timeout_ms / 1e3:
            PAUSE.wait(timeout_ms / 1e3)
            return struct.pack("!3I", 15, 0, 0)  # I/O time-out
        PAUSE.wait(max(0.0, wait_s))
        _, data = self.output.pop(0)
        size = min(most, len(data))
        if flags & 128 and 0 <= data.find(character) < size:
            size = data.find(character) + 1
        reason = 2 * (flags & 128 and data[size - 1] == character) | (size == most)
        if data[size:]:
            self.output.insert(0, (ready_s, data[size:]))
        else:
            reason |= 4
        padding = bytes(-size % 4)
        return struct.pack("!3I", 0, reason, size) + data[:size] + padding


class Vxi11(NetworkTalker):
    """An instrument behind VXI-11, its port named: no portmapper is asked."""

    form = "TCPIP0::127.0.0.1,{port}::inst0::INSTR"
    channel = Vxi11Channel
    keeps_unread = False  # an older answer, when something new is asked


class Serial(Talker):
    """An instrument at the far end of a serial line: a pseudo-terminal.

    Attributes
    ----------
    echo
        Whether it sends back what it hears.
    pieces_s
        Rest between the bytes of an answer.
    holds_s
        Time from XOFF to XON behind an answer; 0: neither.
    """

    def __init__(self, obey: Obey) -> None:
        super().__init__(obey)
        self.echo, self.pieces_s, self.holds_s = False, 0.0, 0.0
        self.heard = b""

    def leave(self) -> None:
        """Nothing listens here."""

    @contextmanager
    def serving(self) -> Iterator[str]:
        """Serve it; its resource name."""
        import tty

        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.ended = threading.Event()
        thread = threading.Thread(target=self.run, daemon=True)
        thread.start()
        try:
            yield f"ASRL{os.ttyname(self.slave)}::INSTR"
        finally:
            self.ended.set()
            thread.join()
            os.close(self.slave)

    def run(self) -> None:
        """Hear and answer until the end, or until the line is cut."""
        with suppress(ConnectionError, OSError):
            while not self.ended.is_set():
                if select.select([self.master], [], [], 0.02)[0]:
                    self.hear(os.read(self.master, 4096))
        os.close(self.master)

    def hear(self, data: bytes) -> None:
        """Take some bytes."""
        self.heard += data
        if self.echo:
            os.write(self.master, data)
        while match := re.search(b"[\r\n]+", self.heard):
            message, self.heard = self.heard[: match.end()], self.heard[match.end() :]
            for delay_s, answer in self.answers(message):
                PAUSE.wait(delay_s)
                for start in range(len(answer)) if self.pieces_s else [0]:
                    PAUSE.wait(self.pieces_s)
                    stop = start + 1 if self.pieces_s else len(answer)
                    os.write(self.master, answer[start:stop])
                if self.holds_s:
                    os.write(self.master, b"\x13")
                    PAUSE.wait(self.holds_s)
                    os.write(self.master, b"\x11")


@pytest.fixture
def talkers() -> SimpleNamespace:
    """The servers, as classes."""
    return SimpleNamespace(hislip=Hislip, vxi11=Vxi11, serial=Serial)
