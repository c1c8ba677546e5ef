"""What every instrument behind a link has: an identity and an error queue."""

import math

from .dialect import Common
from .errors import InstrumentError, ReplyError
from .scpi import parse_number, parse_queued_error
from .visa import Link

__all__ = ["Instrument"]

MOST_QUEUED = 64  # a queue that never empties is an instrument that does not listen


class Instrument:
    """An identified instrument whose refusals are noticed."""

    def __init__(self, link: Link, *, common: Common) -> None:
        self._link = link
        self._common = common
        self.identity = ""

    def start(self, commands: list[str]) -> None:
        """Ask who it is, empty its error queue, send the dialect's start commands.

        Raises
        ------
        TransportError, ReplyError
            It does not answer, or not with sense.
        InstrumentError
            It refused one of the start commands.
        """
        self.identity = self._link.query(self._common.identity)
        if not self.identity:
            raise ReplyError(f"{self._link.name} gave an empty identity")
        self._drain()
        for command in commands:
            self._link.write(command)
        self.check(doing="its start commands")

    def check(self, *, doing: str) -> None:
        """Read the error queue until it is empty.

        Raises
        ------
        InstrumentError
            It held an error; ``doing`` says what came before.
        """
        if queued := self._drain():
            raise InstrumentError(
                f"{self._link.name} refused {doing}: {'; '.join(queued)}",
                identity=self.identity,
                queued=queued,
            )

    def _drain(self) -> list[str]:
        queued: list[str] = []
        while len(queued) < MOST_QUEUED:
            entry = parse_queued_error(self._link.query(self._common.error))
            if entry.code == 0:
                return queued
            queued.append(f"{entry.code} {entry.text}")
        raise ReplyError(f"{self._link.name}'s error queue does not come to an end")

    def ask_number(self, command: str) -> float:
        """Ask for a number; see `parse_number` for SCPI's infinities and nan.

        Raises
        ------
        TransportError, ReplyError
            No answer, or not a number.
        """
        return parse_number(self._link.query(command), command=command)

    def ask_set_number(self, command: str, *, doing: str) -> float:
        """Ask for a setting's present value, which must be finite.

        Raises
        ------
        InstrumentError, ReplyError
            The instrument has no value for it.
        """
        number = self.ask_number(command)
        if not math.isfinite(number):
            self.check(doing=doing)
            raise ReplyError(f"{self._link.name} has no value for {command!r}")
        return number

    def close(self) -> None:
        """Close the link."""
        self._link.close()
