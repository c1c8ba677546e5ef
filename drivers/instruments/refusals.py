"""What an instrument says that it refused: its error queue and its register of events.

The standard event status register (IEEE 488.2, 11.5.1) says by one query both that
something was refused and that the power was off in between; the queue says what was
refused. What the link's own troubles put into either is left out.
"""

import contextlib
import re
from collections.abc import Callable

from ..dialects import Common, QueuedError, parse_event_status
from ..errors import (
    AnswerLostError,
    DriverError,
    LinkLostError,
    LinkTimeoutError,
    QuestionRefusedError,
    ReplyError,
    TransportError,
)
from ..link import Link

__all__ = ["MOST_QUEUED", "Refusals"]

MOST_QUEUED = 64  # a queue that never empties is an instrument that does not listen
MOST_LOST = 3
# Whoever knows *IDN? has the register (IEEE 488.2, 10.12 is mandatory with 10.14).
IDENTITY, EVENTS = "*IDN?", "*ESR?"
POWER_ON, QUERY_ERROR = 128, 4
REFUSALS = 0b111100  # command, execution, device-dependent and query error
QUERY_ERRORS = range(-499, -399)  # SCPI-99, volume 2, 21.8.11
# What an unanswered question was refused with: a command or an execution error, as
# codes (SCPI-99, volume 2, 21.8.9 and 10) and as bits (IEEE 488.2, 11.5.1).
COMMAND_ERRORS, COMMAND_ERROR_BITS = range(-299, -99), 0b110000
LOST = QueuedError(code=-1, text="an answer of its error queue was lost")


class Refusals:
    """What one instrument refused since it was last asked.

    Parameters
    ----------
    link
        An open link.
    common
        How it is asked what it refused.
    where
        Gives the place of a command in the dialect, for a sentence.

    Attributes
    ----------
    known
        Questions that have been answered.
    reports_events
        Whether it has the register.
    """

    def __init__(
        self, link: Link, *, common: Common, where: Callable[[str], str]
    ) -> None:
        self._link = link
        self._common = common
        self._where = where
        self.known: set[str] = set()
        self.reports_events = False
        self._unseen = 0  # bits of the register that were read and not acted on
        self._troubles, self._reconnections = link.troubles, link.reconnections

    def forget(self) -> None:
        """Empty the queue, and see whether there is a register.

        Raises
        ------
        TransportError, ReplyError
            It does not answer, or not with sense.
        """
        self._drain()
        self.reports_events = self._knows_events()
        self._unseen = 0
        self.remember()

    def remember(self) -> None:
        """Count the link's troubles from here."""
        self._troubles = self._link.troubles
        self._reconnections = self._link.reconnections

    @property
    def is_link_anew(self) -> bool:
        """Whether the link was lost and opened again since `remember`."""
        return self._link.reconnections != self._reconnections

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

    def happened(self) -> list[str]:
        """Tell what the register, or else the queue, holds since it was last asked.

        Raises
        ------
        TransportError, ReplyError
            It did not say.
        """
        if not self.reports_events:
            return self.queued()
        self._events()
        events, self._unseen = self._unseen, 0
        reasons = []
        if events & POWER_ON:
            reasons.append(f"{self._link.name}: its power was off, its settings lost")
        if events & REFUSALS:
            queued = self.queued()
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

    def queued(self) -> list[str]:
        """Empty the queue; leave out what the link's own troubles put into it.

        Raises
        ------
        AnswerLostError
            What it held is not known.
        TransportError, ReplyError
            It does not answer, or has no end.
        """
        entries = self._drain()
        had_trouble = self._link.troubles != self._troubles
        if set(entries) == {LOST}:
            return self._looked_up()
        return [
            entry.text if entry is LOST else f"{entry.code} {entry.text}"
            for entry in entries
            if not (had_trouble and entry.code in QUERY_ERRORS)
        ]

    def told(self) -> list[str]:
        """Empty the queue as `queued` does, and take its entries' bits as told, too.

        The register keeps them when the queue is read: left there, they would be found
        as a second refusal, by nobody knows whom.
        """
        queued = self.queued()
        if queued and self.reports_events:
            with contextlib.suppress(LinkTimeoutError, AnswerLostError, ReplyError):
                self._events()
            self._unseen &= ~REFUSALS
        return queued

    def _looked_up(self) -> list[str]:
        """Ask the register about entries that were lost: its bits stay."""
        unknown = AnswerLostError(f"{self._link.name}: {LOST.text}")
        if not self.reports_events:
            raise unknown
        try:
            self._events()
        except LinkLostError:
            raise
        except (TransportError, ReplyError) as failure:
            raise unknown from failure
        return [LOST.text] if self._unseen & REFUSALS & ~QUERY_ERROR else []

    def _drain(self) -> list[QueuedError]:
        entries: list[QueuedError] = []
        if self._common.error is None:
            return entries  # it has no way to say what it refused
        while len(entries) < MOST_QUEUED:
            try:
                entry = self._next_error(self._common.error)
            except LinkLostError:
                raise
            except (TransportError, ReplyError) as failure:
                entries.append(LOST)
                self._see_that_it_has_a_queue(failure, times=entries.count(LOST))
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
            entry = self._common.queued(answer)
        except ReplyError:
            self._link.doubt()
            raise
        self.known.add(command)
        return entry

    def _see_that_it_has_a_queue(self, failure: DriverError, *, times: int) -> None:
        """Raise where the register says that the error query itself is refused.

        The first time the register may tell of what was long before.
        """
        command = self._common.error or ""
        if not isinstance(failure, LinkTimeoutError) or command in self.known:
            return
        if self._common.identity.upper() != IDENTITY or command.upper() == EVENTS:
            return
        with contextlib.suppress(LinkTimeoutError, AnswerLostError, ReplyError):
            self._unseen = 0
            self._events()
            if times > 1 and self._unseen & COMMAND_ERROR_BITS:
                raise self.refused(command, [f"{EVENTS} = {self._unseen}"])

    def refused(self, command: str, reasons: list[str]) -> QuestionRefusedError:
        """Say that a question was refused, and where in the dialect it stands."""
        return QuestionRefusedError(
            f"{self._link.name} does not answer {command!r} but refuses it: "
            f"{', '.join(reasons)}; correct {self._where(command)} in its dialect",
            command=command,
            queued=reasons,
        )

    def reasons_of_silence(self) -> list[str]:
        """Give the command and execution errors that it reports, in its words."""
        try:
            entries = self._drain()
            if self._common.error is None and self.reports_events:
                self._events()
                status = parse_event_status(str(self._unseen))
                return [status.text] if status.code & COMMAND_ERROR_BITS else []
        except LinkLostError:
            raise
        except (TransportError, ReplyError):
            return []
        if self._common.error_form == "register":
            told = [e for e in entries if e is not LOST]
            return [e.text for e in told if e.code & COMMAND_ERROR_BITS]
        return [f"{e.code} {e.text}" for e in entries if e.code in COMMAND_ERRORS]
