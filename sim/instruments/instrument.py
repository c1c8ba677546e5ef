"""What every instrument of the bench does: messages in, answers out.

A core knows no transport: `execute` takes the bytes of one program message and
returns the bytes of the response, without terminators. Its links (in ``link.py``)
add buffers, terminators and whatever goes wrong on a wire.
"""

import math
import threading
from collections.abc import Sequence

from .clock import Clock
from .faults import FaultPlan
from .scpi import Command, CommandTable, ScpiError, Unit, split_message
from .scpi_parameters import NO_UNIT, parse_number
from .scpi_status import OPC, StatusModel

__all__ = ["INFINITY", "NOT_A_NUMBER", "InstrumentCore", "nr2", "nr3"]

INFINITY = 9.9e37  # SCPI-99 volume 1, 7.2.1.4
NOT_A_NUMBER = 9.91e37  # 7.2.1.5
MAXIMUM_MASK = 255
COMMAND_ERRORS = range(-199, -99)
HIGHEST_PARSED = 500  # messages remembered


def nr3(value: float, decimals: int = 8) -> str:
    """Write a number in the NR3 form, with the standard's infinities."""
    if not math.isfinite(value):
        lost = math.isnan(value)
        value = NOT_A_NUMBER if lost else math.copysign(INFINITY, value)
    return f"{value:+.{decimals}E}"


def nr2(value: float, decimals: int) -> str:
    """Write a number in the NR2 form; the standard's infinities stay NR3."""
    if not math.isfinite(value) or abs(value) >= INFINITY:
        return nr3(value, 1).replace("+", "")
    return f"{value:.{decimals}f}"


class InstrumentCore:
    """Status, common commands and the execution of messages.

    Parameters
    ----------
    identity
        Four fields of *IDN?.
    clock
        The bench's.
    lock
        Its own: one message at a time, over whichever link it comes.
    dialect
        ``standard`` or ``compact``: which commands it knows and how it writes
        numbers.
    faults
        What goes wrong with it; nothing by default.
    """

    def __init__(
        self,
        *,
        identity: tuple[str, str, str, str],
        clock: Clock,
        lock: threading.RLock,
        dialect: str = "standard",
        faults: FaultPlan | None = None,
    ) -> None:
        self.identity = identity
        self.clock = clock
        self.lock = lock
        self.dialect = dialect
        self.faults = faults
        self.status = StatusModel()
        self._operation_complete_armed = False
        self._responses: list[str] = []
        self._parsed: dict[bytes, list[Unit | ScpiError]] = {}
        self.table = CommandTable([*self._common_commands(), *self.commands()])
        self.reset()

    # What an instrument adds -------------------------------------------------------

    def commands(self) -> Sequence[Command]:
        """Give the instrument's own commands."""
        return ()

    def reset(self) -> None:
        """Return to the settings of *RST."""

    def pending_until_s(self) -> float:
        """Tell when the operation under way will be complete, on the clock."""
        return -math.inf

    def number(self, value: float, *, decimals: int = 8, fixed: int = 6) -> str:
        """Write a number as the dialect does: NR3, or NR2 with fixed decimals."""
        if self.dialect == "compact":
            return nr2(value, fixed)
        return nr3(value, decimals)

    def format_error(self, number: int, text: str) -> str:
        """Write an answer to SYSTem:ERRor?; both signs of zero are met."""
        sign = "+" if self.dialect == "compact" and number == 0 else ""
        return f'{sign}{number},"{text}"'

    def power_cycle(self) -> None:
        """Lose everything, as when the mains fails for a moment."""
        with self.lock:
            self.status = StatusModel()
            self._operation_complete_armed = False
            self.reset()

    # Execution ---------------------------------------------------------------------

    def execute(self, message: bytes) -> bytes:
        """Execute one program message.

        Parameters
        ----------
        message
            The message without its terminator.

        Returns
        -------
        bytes
            The answers joined by semicolons (IEEE 488.2, 8.4.1), or nothing.
        """
        with self.lock:
            self._responses = []
            path, indefinite = "", False
            for unit in self._parse(message):
                if isinstance(unit, ScpiError):
                    self.status.report(unit.number, unit.info)
                    break
                if indefinite and unit.is_query:
                    self.status.report(-440)  # 6.5.7.5
                    break
                try:
                    command, path = self.table.find(unit, path)
                    self._execute_unit(command, unit)
                    indefinite = command.is_indefinite and unit.is_query
                except ScpiError as error:
                    self.status.report(error.number, error.info)
                    if error.number in COMMAND_ERRORS:
                        break  # 6.1.6.1.1: the parser starts again at the next message
            return ";".join(self._responses).encode("ascii")

    def _parse(self, message: bytes) -> list[Unit | ScpiError]:
        """Split a message, remembering those without parameters, which come again."""
        if b" " in message:
            return split_message(message)
        units = self._parsed.get(message)
        if units is None:
            units = split_message(message)
            if len(self._parsed) < HIGHEST_PARSED:
                self._parsed[message] = units
        return units

    def _execute_unit(self, command: Command, unit: Unit) -> None:
        handler = command.query if unit.is_query else command.set
        if handler is None:
            raise ScpiError(-113, unit.header + "?" * unit.is_query)
        least, most = command.query_parameters if unit.is_query else command.parameters
        if len(unit.parameters) < least:
            raise ScpiError(-109, unit.header)
        if len(unit.parameters) > most:
            raise ScpiError(-108, unit.header)
        answer = handler(unit.parameters)
        if unit.is_query:
            self._responses.append(answer)

    # Common commands (IEEE 488.2, section 10) --------------------------------------

    def _common_commands(self) -> list[Command]:
        none = (0, 0)
        return [
            Command(
                pattern="*IDN",
                query=lambda _: ",".join(self.identity),
                is_indefinite=True,
            ),
            Command(pattern="*RST", set=self._rst, parameters=none),
            Command(pattern="*CLS", set=self._cls, parameters=none),
            Command(
                pattern="*OPC", set=self._opc, query=self._opc_query, parameters=none
            ),
            Command(pattern="*WAI", set=self._wait, parameters=none),
            Command(
                pattern="*ESE",
                set=self._ese,
                query=lambda _: str(self.status.event_enable),
            ),
            Command(pattern="*ESR", query=self._esr),
            Command(
                pattern="*SRE",
                set=self._sre,
                query=lambda _: str(self.status.service_enable),
            ),
            Command(pattern="*STB", query=self._stb),
            Command(pattern="*TST", query=lambda _: "0"),
            Command(pattern="SYSTem:ERRor:[NEXT]", query=self._next_error),
            Command(
                pattern="SYSTem:ERRor:COUNt",
                query=lambda _: str(self.status.error_count),
            ),
            Command(pattern="SYSTem:VERSion", query=lambda _: "1999.0"),
        ]

    def _rst(self, _: Sequence[str]) -> None:
        self._operation_complete_armed = False
        self.reset()

    def _cls(self, _: Sequence[str]) -> None:
        self._operation_complete_armed = False
        self.status.clear()

    def _wait(self, _: Sequence[str]) -> None:
        self.clock.sleep(max(0.0, self.pending_until_s() - self.clock.now_s))

    def _opc(self, _: Sequence[str]) -> None:
        self._operation_complete_armed = True

    def _opc_query(self, _: Sequence[str]) -> str:
        self._wait(())
        return "1"

    def _settle_operation_complete(self) -> None:
        if (
            self._operation_complete_armed
            and self.clock.now_s >= self.pending_until_s()
        ):
            self.status.event |= OPC
            self._operation_complete_armed = False

    def _esr(self, _: Sequence[str]) -> str:
        self._settle_operation_complete()
        return str(self.status.read_event())

    def _stb(self, _: Sequence[str]) -> str:
        return str(self.read_status_byte(message_available=bool(self._responses)))

    def read_status_byte(self, *, message_available: bool) -> int:
        """Give the status byte as *STB? or a serial poll sees it."""
        self._settle_operation_complete()
        return self.status.status_byte(message_available=message_available)

    def _mask(self, text: str) -> int:
        value = round(parse_number(text, NO_UNIT).value)
        if not 0 <= value <= MAXIMUM_MASK:
            raise ScpiError(-222, text)
        return value

    def _ese(self, parameters: Sequence[str]) -> None:
        self.status.event_enable = self._mask(parameters[0])

    def _sre(self, parameters: Sequence[str]) -> None:
        self.status.service_enable = self._mask(parameters[0]) & ~64  # 11.3.2.3

    def _next_error(self, _: Sequence[str]) -> str:
        return self.format_error(*self.status.next_error())
