"""Instruments on plain sockets that share no line with the package, and misbehave.

A generator, a scope and the circuit between them: f0 = 7 MHz, Q = 50, and a peak of
twice the level set. Every message is shown to ``trap`` before it is obeyed.
"""

import contextlib
import socket
import struct
import threading
from collections import deque
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

IDENTITY = "INVENTED,PLAIN,7,1"
F0_HZ, Q = 7e6, 50.0
RESET_BEFORE, RESET_AFTER, IGNORE = "reset before", "reset after", "ignore"


class Circuit:
    """What both instruments are wired to, and the time."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.is_on, self.frequency_hz, self.level_v = False, 1e6, 0.1

    def sleep(self, seconds: float) -> None:
        """Let time pass, at once."""
        self.now_s += seconds

    def volts(self) -> float:
        """What the scope sees."""
        return ideal_v(self.frequency_hz, self.level_v) if self.is_on else 1e-4


def ideal_v(frequency_hz: float, level_v: float) -> float:
    """The resonance, V = 2 * level / sqrt(1 + Q^2 (f/f0 - f0/f)^2)."""
    detuning = frequency_hz / F0_HZ - F0_HZ / frequency_hz
    return 2.0 * level_v / (1.0 + (Q * detuning) ** 2) ** 0.5


class Plain:
    """What both instruments share: a port, identity, register, queue."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.trap: Callable[[str], str | None] = lambda _command: None
        self.log: list[str] = []
        self.errors: list[str] = []
        self.events = 128  # power on
        self.echoes = self.forgets = self.is_down = False
        self.refuses: tuple[str, ...] = ()
        self.gap_s, self.gap_of = 0.0, "all"
        self.left_s: deque[float] = deque()  # when each message was sent, if known
        self._last_s = -1.0
        self._lock = threading.Lock()
        self._open: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.resource = f"TCPIP0::127.0.0.1::{self._listener.getsockname()[1]}::SOCKET"
        self._threads = [threading.Thread(target=self._accept, daemon=True)]
        self._threads[0].start()

    def close(self) -> None:
        """Stop listening, and wait until nobody serves any more."""
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for connection in self._open:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join()

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            if self.is_down:
                reset(connection)
                continue
            self._open.append(connection)
            serving = threading.Thread(
                target=self._serve, args=(connection,), daemon=True
            )
            self._threads.append(serving)
            serving.start()

    def _serve(self, connection: socket.socket) -> None:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        with connection, contextlib.suppress(OSError):
            lines = connection.makefile("rb")
            for line in lines:
                with self._lock:
                    if not self._answer(connection, line.decode("ascii").strip()):
                        lines.close()
                        reset(connection)
                        return
            lines.close()

    def _answer(self, connection: socket.socket, command: str) -> bool:
        """Obey one message; False: the connection is reset."""
        self.log.append(command)
        fate = self.trap(command)
        if fate == RESET_BEFORE:
            self._forget()
            return False
        answer = None if fate == IGNORE else self._obey(command)
        if fate == RESET_AFTER:
            self._forget()
            return False
        if self.echoes:
            connection.sendall(command.encode("ascii") + b"\n")
        if answer is not None:
            connection.sendall(answer.encode("ascii") + b"\n")
        return True

    def _forget(self) -> None:
        if self.forgets:
            self.events |= 128
            self.power_on()

    def _is_early(self, command: str) -> bool:
        now_s = self.left_s.popleft() if self.left_s else self.circuit.now_s
        last_s = self._last_s
        is_question = "?" in command
        if self.gap_of == "all" or not is_question:
            self._last_s = now_s
        is_spared = self.gap_of == "settings" and is_question
        return now_s - last_s < self.gap_s and not is_spared

    def _obey(self, command: str) -> str | None:
        if self._is_early(command):
            self.circuit.now_s += self.gap_s * ("?" in command)  # its asker waits
            return None
        if command.startswith(self.refuses):
            self.errors.append('-113,"Undefined header"')
            self.events |= 32
            return None
        if command == "*CLS":
            self.errors.clear()
            self.events = 0
            return None
        if command == "*ESR?":
            events, self.events = self.events, 0
            return str(events)
        if command == "SYSTem:ERRor?":
            return self.errors.pop(0) if self.errors else '0,"No error"'
        return IDENTITY if command == "*IDN?" else self.own(*command.partition(" "))

    def power_on(self) -> None:
        """Forget every setting."""
        raise NotImplementedError

    def own(self, head: str, space: str, value: str) -> str | None:
        """Do what only this kind of instrument does."""
        raise NotImplementedError


def reset(connection: socket.socket) -> None:
    """Close a connection so that the other side sees a reset (RFC 9293, 3.10.4)."""
    linger = struct.pack("ii", 1, 0)
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
    connection.close()


class PlainGenerator(Plain):
    """It speaks ``generator-volts``, and refuses what is above its range."""

    highest_hz = 1e9

    def power_on(self) -> None:
        """As it comes from its maker."""
        circuit = self.circuit
        circuit.is_on, circuit.frequency_hz, circuit.level_v = False, 1e6, 0.1

    def own(self, head: str, space: str, value: str) -> str | None:
        """Set or answer."""
        del space
        circuit = self.circuit
        if head == "SOURce:FREQuency:CW":
            if float(value) > self.highest_hz:
                self.errors.append('-222,"Data out of range"')
                self.events |= 16  # execution error (IEEE 488.2, 11.5.1.1.5)
            circuit.frequency_hz = min(float(value), self.highest_hz)
        elif head == "SOURce:VOLTage:LEVel:IMMediate:AMPLitude":
            circuit.level_v = float(value)
        elif head == "OUTPut:STATe":
            circuit.is_on = value == "ON"
        answers: dict[str, Any] = {
            "SOURce:FREQuency:CW?": f"{circuit.frequency_hz:.3f}",
            "SOURce:VOLTage:LEVel:IMMediate:AMPLitude?": f"{circuit.level_v:.6E}",
            "OUTPut:STATe?": str(int(circuit.is_on)),
        }
        return answers.get(head)


class PlainScope(Plain):
    """It speaks ``scope-vrms``; eight divisions."""

    def __init__(self, circuit: Circuit) -> None:
        self.power_on()
        super().__init__(circuit)

    def power_on(self) -> None:
        """As it comes from its maker."""
        self.scale, self.averages = 1.0, 1

    def own(self, head: str, space: str, value: str) -> str | None:
        """Set or answer."""
        del space
        if head == "CHANnel1:SCALe":
            steps = [m * 10.0**e for e in (-3, -2, -1, 0) for m in (1, 2, 5)] + [10.0]
            self.scale = min(s for s in steps if s >= float(value) * (1.0 - 1e-6))
        elif head == "ACQuire:AVERage:COUNt":
            self.averages = int(value)
        volts = self.circuit.volts()
        clips = volts * 2.0**0.5 > 4.0 * self.scale
        answers: dict[str, Any] = {
            "CHANnel1:SCALe?": f"{self.scale:.6E}",
            "ACQuire:AVERage:COUNt?": str(self.averages),
            "MEASure:VRMS?": "9.90000000E+37" if clips else f"{volts:.8E}",
        }
        return answers.get(head)
