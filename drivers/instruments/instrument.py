"""What every instrument behind a link has: an identity, an error queue, a memory.

After every reading an instrument is asked whether anything happened to it: one query
of the standard event status register (IEEE 488.2, 11.5.1), which says both that
something was refused and that the power was off in between.
"""

import math
import re

from ..dialects import PLAIN, Common, QueuedError, ReplyForm, parse_reply
from ..errors import InstrumentError, LinkLostError, ReplyError, TransportError
from ..link import Link

__all__ = ["Instrument"]

MOST_QUEUED = 64  # a queue that never empties is an instrument that does not listen
MOST_LOST = 3
START_ATTEMPTS = 3
REPEATS = 2
# Whoever knows *IDN? has the register (IEEE 488.2, 10.12 is mandatory with 10.14).
IDENTITY, EVENTS = "*IDN?", "*ESR?"
POWER_ON, QUERY_ERROR = 128, 4
REFUSALS = 0b111100  # command, execution, device-dependent and query error
QUERY_ERRORS = range(-499, -399)  # SCPI-99, volume 2, 21.8.11
LOST = QueuedError(code=-1, text="an answer of its error queue was lost")


class Instrument:
    """An identified instrument whose refusals are noticed."""

    def __init__(self, link: Link, *, common: Common) -> None:
        self._link = link
        self._common = common
        self._reports_events = False
        self._unseen = 0  # bits of the register that were read and not acted on
        self._troubles, self._reconnections = link.troubles, link.reconnections
        self.identity = ""

    def start(self, commands: list[str]) -> None:
        """Ask who it is, empty its error queue, send the dialect's start commands.

        They are sent again when something is found in the queue afterwards: what the
        instrument refuses it refuses every time.

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
        self._reports_events = self._knows_events()
        self._unseen = 0  # what was before the start does not count
        self._remember()
        reasons: list[str] = []
        for _ in range(START_ATTEMPTS):
            for command in commands:
                self._link.write(command)
            # a power cut in between undoes the commands before it
            queued, happened = self._queued(), self.disturbed()
            if not (reasons := queued or happened):
                return
        raise InstrumentError(
            f"{self._link.name} refused its start commands: {'; '.join(reasons)}",
            identity=self.identity,
            queued=reasons,
        )

    def _knows_events(self) -> bool:
        if self._common.identity.upper() != IDENTITY:
            return False
        for _ in range(2):  # once may be the link's fault
            try:
                self._events()
            except (TransportError, ReplyError):
                continue
            return True
        self._drain()
        return False

    # What happened -----------------------------------------------------------------

    @property
    def reports_events(self) -> bool:
        """Whether it tells that its power was off."""
        return self._reports_events

    def disturbed(self) -> list[str]:
        """Tell what happened since the last call that puts readings in doubt.

        Returns
        -------
        list of str
            Reasons: the link was lost, the power was off, something was refused, or
            it did not say. Empty: nothing happened.
        """
        reasons: list[str] = []
        if self._link.reconnections != self._reconnections:
            reasons.append(f"{self._link.name}: its link was lost and opened again")
        try:
            reasons += self._refusals()
        except LinkLostError:
            raise
        except (TransportError, ReplyError) as failure:
            reasons.append(str(failure))
        self._remember()
        return reasons

    def _remember(self) -> None:
        self._troubles = self._link.troubles
        self._reconnections = self._link.reconnections

    def _refusals(self) -> list[str]:
        if not self._reports_events:
            return self._queued()
        self._events()
        events, self._unseen = self._unseen, 0
        reasons = []
        if events & POWER_ON:
            reasons.append(f"{self._link.name}: its power was off, its settings lost")
        if events & REFUSALS:
            queued = self._queued()
            if not queued and not self._is_forgiven(events):
                queued = [f"it reported an error ({EVENTS} = {events})"]
            reasons += [f"{self._link.name}: {entry}" for entry in queued]
        return reasons

    def _is_forgiven(self, events: int) -> bool:
        """Tell whether the link's own troubles explain the errors of queries."""
        had_trouble = self._link.troubles != self._troubles
        return had_trouble and not events & REFUSALS & ~QUERY_ERROR

    def _events(self) -> None:
        """Read the register, which clears it (11.5.1.2): it is not asked twice."""
        answer = self._link.query(EVENTS, repeatable=False)
        if re.fullmatch(r"\+?\d{1,3}", answer) is None or int(answer) >= 2 * POWER_ON:
            self._link.doubt()
            raise ReplyError(
                f"{self._link.name} answered {EVENTS!r} by {answer[:60]!r}, which is "
                "not a register of eight bits",
                command=EVENTS,
                reply=answer,
            )
        self._unseen |= int(answer)

    def check(self, *, doing: str) -> None:
        """Read the error queue until it is empty.

        Raises
        ------
        InstrumentError
            It held an error; ``doing`` says what came before.
        """
        if queued := self._queued():
            raise InstrumentError(
                f"{self._link.name} refused {doing}: {'; '.join(queued)}",
                identity=self.identity,
                queued=queued,
            )

    def _queued(self) -> list[str]:
        """Empty the queue; leave out what the link's own troubles put into it."""
        entries = self._drain()
        had_trouble = self._link.troubles != self._troubles
        if set(entries) == {LOST} and self._reports_events:
            # entries can be lost on the way, the register's bits stay
            try:
                self._events()
            except (TransportError, ReplyError):
                return [LOST.text]
            return [LOST.text] if self._unseen & REFUSALS & ~QUERY_ERROR else []
        return [
            entry.text if entry is LOST else f"{entry.code} {entry.text}"
            for entry in entries
            if not (had_trouble and entry.code in QUERY_ERRORS)
        ]

    def _drain(self) -> list[QueuedError]:
        entries: list[QueuedError] = []
        if self._common.error is None:
            return entries  # it has no way to say what it refused
        while len(entries) < MOST_QUEUED:
            try:
                entry = self._next_error(self._common.error)
            except (TransportError, ReplyError):
                entries.append(LOST)
                if entries.count(LOST) == MOST_LOST:
                    raise
                continue
            if entry.code == 0:
                return entries
            entries.append(entry)
        raise ReplyError(f"{self._link.name}'s error queue does not come to an end")

    def _next_error(self, command: str) -> QueuedError:
        # an entry is gone once it is read: it is not asked for twice
        answer = self._link.query(command, repeatable=False)
        try:
            return self._common.queued(answer)
        except ReplyError:
            self._link.doubt()
            raise

    # Numbers -----------------------------------------------------------------------

    def ask_number(self, command: str, *, form: ReplyForm = PLAIN) -> float:
        """Ask for a number; see `parse_reply` for SCPI's infinities and nan.

        An answer that makes no sense is asked for again, twice at most.

        Raises
        ------
        TransportError, ReplyError
            No answer, or not a number.
        """
        for _ in range(REPEATS):
            try:
                return self._ask_once(command, form)
            except ReplyError:
                self._link.doubt()
        return self._ask_once(command, form)

    def _ask_once(self, command: str, form: ReplyForm) -> float:
        return parse_reply(self._link.query(command), command=command, form=form)

    def ask_set_number(
        self, command: str, *, doing: str, form: ReplyForm = PLAIN
    ) -> float:
        """Ask for a setting's present value, which must be finite.

        Raises
        ------
        InstrumentError, ReplyError
            The instrument has no value for it.
        """
        number = self.ask_number(command, form=form)
        if not math.isfinite(number):  # once may be the link's fault
            number = self.ask_number(command, form=form)
        if not math.isfinite(number):
            self.check(doing=doing)
            raise ReplyError(f"{self._link.name} has no value for {command!r}")
        return number

    def close(self) -> None:
        """Close the link."""
        self._link.close()
