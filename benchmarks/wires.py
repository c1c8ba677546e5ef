"""Wires between a driver and its instruments: one that is cut, one that is shared.

`faults.py` puts them in.
"""

import contextlib
import socket
import struct
import threading
from collections.abc import Callable

import numpy as np

__all__ = ["RESETS", "Wire", "cutting", "meddling", "straight_to"]

Tell = Callable[[str], str]
RESETS = (
    "*IDN?",
    "*CLS",
    "*ESR?",
    "SYSTem:ERRor?",
    "OUTPut:LOAD",
    "OUTPut:STATe ON",
    "OUTPut:STATe OFF",
    "OUTPut:STATe?",
    "SOURce:VOLTage:UNIT",
    "SOURce:VOLTage:LEVel:IMMediate:AMPLitude",
    "SOURce:VOLTage:LEVel:IMMediate:AMPLitude?",
    "SOURce:FREQuency:CW",
    "SOURce:FREQuency:CW?",
    "CHANnel1:COUPling",
    "CHANnel1:SCALe",
    "CHANnel1:SCALe?",
    "ACQuire:AVERage:COUNt",
    "ACQuire:AVERage:COUNt?",
    "MEASure:VRMS?",
)


class Wire:
    """A wire to one instrument, whose every message is told to somebody first.

    ``tell`` answers ``before`` or ``after``: the connection is reset before or after
    the message has reached the instrument.
    """

    def __init__(self, resource: str, tell: Tell) -> None:
        self._port = int(resource.split("::")[2])
        self._tell = tell
        self._listener = socket.create_server(("127.0.0.1", 0))
        own_port = self._listener.getsockname()[1]
        self.resource = f"TCPIP0::127.0.0.1::{own_port}::SOCKET"
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = self._listener.accept()
                threading.Thread(target=self._carry, args=(near,), daemon=True).start()

    def _carry(self, near: socket.socket) -> None:
        near.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        # whoever is at the other end may have gone, as after a run
        with near, contextlib.suppress(OSError), straight_to(self._port) as far:
            with near.makefile("rb") as lines, far.makefile("rb") as answers:
                for line in lines:
                    cut = self._tell(line.decode("ascii").strip())
                    answer = b""
                    if cut != "before":
                        far.sendall(line)
                        answer = answers.readline() if b"?" in line else b""
                    if cut:
                        break
                    near.sendall(answer)
            linger = struct.pack("ii", 1, 0)
            near.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)

    def close(self) -> None:
        """Let nobody in any more."""
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()


def straight_to(port: int) -> socket.socket:
    """Connect to an instrument's own port."""
    far = socket.create_connection(("127.0.0.1", port))
    far.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return far


def cutting(kind: str, rng: np.random.Generator, probability: float) -> Tell:
    """Cut the wire at one kind of message: the first time, and now and then."""
    command = kind.removeprefix("reset ")
    first = iter([True])

    def tell(message: str) -> str:
        if message != command and not message.startswith(f"{command} "):
            return ""
        if next(first, False) or rng.random() < probability:
            return str(rng.choice(["before", "after"]))
        return ""

    return tell


def meddling(far: socket.socket, rng: np.random.Generator, probability: float) -> Tell:
    """Set the generator over another connection, before any message."""

    def tell(_message: str) -> str:
        if rng.random() < probability:
            frequency_hz, level_v = rng.uniform(6e6, 8e6), rng.uniform(0.1, 0.4)
            settings = (f"FREQ {frequency_hz:.2f}", f"VOLT {level_v:.3f}", "OUTP OFF")
            setting = settings[rng.integers(3)]
            far.sendall(f"{setting}\nFREQ?\n".encode("ascii"))
            far.recv(256)  # it is in force
        return ""

    return tell
