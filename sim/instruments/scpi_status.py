"""Status reporting: registers, the error queue, the errors' numbers and texts.

IEEE 488.2 section 11 (status byte, standard event register) and SCPI-99 volume 2,
section 21.8 (:SYSTem:ERRor, the queue and its numbers).
"""

from collections import deque

__all__ = ["ERROR_TEXT", "StatusModel"]

ERROR_TEXT = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -131: "Invalid suffix",
    -138: "Suffix not allowed",
    -141: "Invalid character data",
    -151: "Invalid string data",
    -200: "Execution error",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -240: "Hardware error",
    -241: "Hardware missing",
    -300: "Device specific error",
    -310: "System error",
    -321: "Out of memory",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
    -365: "Time out error",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
}
OPC, QYE, DDE, EXE, CME, PON = 1, 4, 8, 16, 32, 128  # 11.5.1.1
EAV, MAV, ESB, MSS = 4, 16, 32, 64  # 11.2.1; EAV: SCPI-99 volume 1, 9
_CLASS_BIT = {1: CME, 2: EXE, 3: DDE, 4: QYE}
_TEXT_LIMIT = 255  # SCPI-99 volume 2, 21.8.2


class StatusModel:
    """One instrument's registers and error queue.

    Parameters
    ----------
    depth
        Entries the queue holds; the last one becomes -350 on overflow.
    """

    def __init__(self, depth: int = 20) -> None:
        self._queue: deque[tuple[int, str]] = deque()
        self._depth = depth
        self.event = PON
        self.event_enable = 0
        self.service_enable = 0

    def report(self, number: int, info: str = "") -> None:
        """Queue an error and set its class's bit in the event register."""
        self.event |= _CLASS_BIT.get(-number // 100, DDE)
        if len(self._queue) >= self._depth:
            self._queue[-1] = (-350, "")
            self.event |= DDE
        else:
            self._queue.append((number, info))

    def next_error(self) -> tuple[int, str]:
        """Take the oldest entry: number and text; (0, 'No error') when empty."""
        number, info = self._queue.popleft() if self._queue else (0, "")
        text = ERROR_TEXT.get(number, "Device specific error")
        if info:
            text = f"{text};{info.replace(chr(34), chr(39))}"
        return number, text[:_TEXT_LIMIT]

    @property
    def error_count(self) -> int:
        """How many entries wait."""
        return len(self._queue)

    def clear(self) -> None:
        """Do what *CLS does: the event register and the queue, not the masks."""
        self._queue.clear()
        self.event = 0

    def read_event(self) -> int:
        """Read the event register, which clears it (11.5.1.2)."""
        value, self.event = self.event, 0
        return value

    def status_byte(self, *, message_available: bool) -> int:
        """Give the status byte with the master summary in bit 6 (11.2.2)."""
        byte = EAV * bool(self._queue) + MAV * message_available
        byte += ESB * bool(self.event & self.event_enable)
        return byte + MSS * bool(byte & self.service_enable & ~MSS)
