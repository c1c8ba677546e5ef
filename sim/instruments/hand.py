"""The hand that changes what is on the bench, for clients in another process.

No real bench has this instrument: where a person would put in the next part, turn
the dial of the variable capacitor or slip a sheet between the plates, a client of a
served bench sends a message instead.
"""

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from .clock import Clock
from .instrument import InstrumentCore
from .scpi import Command, ScpiError
from .scpi_parameters import NO_UNIT, parse_choice, parse_number

__all__ = ["Hand", "Reach"]

T = TypeVar("T")
SHEET_STATES = ("IN", "AIR", "OUT")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """What the hand can do, as the bench's functions and the values it reads back.

    Attributes
    ----------
    insert_part, part_number, part_count
        For a lot: put a part in by its number, from 1; the one that is in; how many.
    set_capacitor, capacitor_setting_f
        For a variable capacitor.
    set_sheet, sheet_state
        For a sheet: ``in``, ``air`` or ``out``.
    connect, disconnect
        For any part, by its slot's name.
    """

    insert_part: Callable[[int], None]
    part_number: Callable[[], int]
    part_count: Callable[[], int]
    set_capacitor: Callable[[float], None]
    capacitor_setting_f: Callable[[], float]
    set_sheet: Callable[[str], None]
    sheet_state: Callable[[], str]
    connect: Callable[[str], None]
    disconnect: Callable[[str], None]


class Hand(InstrumentCore):
    """PART, CAPacitor, SHEet, CONNect and DISConnect."""

    def __init__(
        self,
        reach: Reach,
        *,
        identity: tuple[str, str, str, str],
        clock: Clock,
        lock: threading.RLock,
    ) -> None:
        self._reach = reach
        super().__init__(identity=identity, clock=clock, lock=lock)

    def commands(self) -> Sequence[Command]:
        """Give the hand's commands, which are this simulation's own."""
        reach = self._reach
        return [
            Command(
                pattern="PART:[NUMBer]",
                set=lambda p: self._try(
                    reach.insert_part, round(parse_number(p[0], NO_UNIT).value)
                ),
                query=lambda _: str(reach.part_number()),
            ),
            Command(pattern="PART:COUNt", query=lambda _: str(reach.part_count())),
            Command(
                pattern="CAPacitor",
                set=lambda p: self._try(
                    reach.set_capacitor, parse_number(p[0], NO_UNIT).value
                ),
                query=lambda _: self.number(self._ask(reach.capacitor_setting_f)),
            ),
            Command(
                pattern="SHEet",
                set=lambda p: self._try(
                    reach.set_sheet, parse_choice(p[0], SHEET_STATES).lower()
                ),
                query=lambda _: self._ask(reach.sheet_state).upper(),
            ),
            self._slot_command("CONNect", reach.connect),
            self._slot_command("DISConnect", reach.disconnect),
        ]

    def _slot_command(self, pattern: str, action: Callable[[str], None]) -> Command:
        return Command(
            pattern=pattern,
            set=lambda p: self._try(action, p[0].strip("\"'").lower()),
        )

    def _try(self, action: Callable[[T], None], value: T) -> None:
        try:
            action(value)
        except LookupError as error:
            raise ScpiError(-241, str(error.args[0])) from None
        except ValueError:
            raise ScpiError(-222, str(value)) from None

    def _ask(self, question: Callable[[], T]) -> T:
        try:
            return question()
        except LookupError as error:
            raise ScpiError(-241, str(error.args[0])) from None
