"""What every instrument behind a link has: an identity, an error queue, a memory.

After every reading an instrument is asked whether anything happened to it: one query
of the standard event status register (IEEE 488.2, 11.5.1), which says both that
something was refused and that the power was off in between.
"""

import contextlib
import math
import re
from collections.abc import Callable
from typing import TypeVar

from ..dialects import (
    PLAIN,
    Common,
    QueuedError,
    ReplyForm,
    parse_event_status,
    parse_reply,
)
from ..errors import (
    AnswerLostError,
    DriverError,
    InstrumentError,
    LinkLostError,
    LinkTimeoutError,
    QuestionRefusedError,
    ReplyError,
    TransportError,
)
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
# What an unanswered question was refused with: a command or an execution error, as
# codes (SCPI-99, volume 2, 21.8.9 and 10) and as bits (IEEE 488.2, 11.5.1).
COMMAND_ERRORS, COMMAND_ERROR_BITS = range(-299, -99), 0b110000
LOST = QueuedError(code=-1, text="an answer of its error queue was lost")


T = TypeVar("T")


def _somewhere(_command: str) -> str:
    return "it"


class Instrument:
    """An identified instrument whose refusals are noticed.

    Parameters
    ----------
    link
        An open link.
    common
        How it is asked who it is and what it refused.
    where
        Gives the place of a command in the dialect, for a sentence.
    resource
        Where it is, for one that has no identity.
    """

    def __init__(
        self,
        link: Link,
        *,
        common: Common,
        where: Callable[[str], str] = _somewhere,
        resource: str = "",
    ) -> None:
        self._link = link
        self._common = common
        self._where = where
        self._resource = resource
        self._known: set[str] = set()  # questions that have been answered
        self._reports_events = False
        self._unseen = 0  # bits of the register that were read and not acted on
        self._troubles, self._reconnections = link.troubles, link.reconnections
        self.identity = ""

    def introduce(self) -> None:
        """Ask who it is; of one that cannot say, its place is all that is known.

        Raises
        ------
        TransportError, ReplyError
            It does not answer, or by nothing.
        """
        if not self._common.identity:
            where = self._resource or self._link.name
            self.identity = f"an instrument without identity at {where}"
            return
        self.identity = self._link.query(self._common.identity)
        if not self.identity:
            raise ReplyError(f"{self._link.name} gave an empty identity")

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
        self.introduce()
        self._drain()
        self._reports_events = self._knows_events()
        self._unseen = 0  # what was before the start does not count
        self._remember()
        reasons: list[str] = []
        for _ in range(START_ATTEMPTS):
            for command in commands:
                self._link.write(command)
            # a power cut in between undoes the commands before it
            queued, happened = self._start_refusals(), self.disturbed()
            if not (reasons := queued or happened):
                return
        raise InstrumentError(
            f"{self._link.name} refused its start commands: {'; '.join(reasons)}",
            identity=self.identity,
            queued=reasons,
        )

    def _start_refusals(self) -> list[str]:
        try:
            return self._queued()
        except AnswerLostError as failure:
            return [str(failure)]

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

    def disturbed(self) -> list[str]:
        """Tell what happened since the last call that puts readings in doubt.

        Returns
        -------
        list of str
            Reasons: the link was lost, the power was off, something was refused, or
            it did not say. Empty: nothing happened.
        """
        reasons: list[str] = []
        try:
            reasons += self._refusals()
        except LinkLostError:
            raise
        except (TransportError, ReplyError) as failure:
            reasons.append(str(failure))
        # only now: the link may have been lost while the register was asked for
        if self._link.reconnections != self._reconnections:
            reasons.insert(0, f"{self._link.name}: its link was lost and opened again")
        self._remember()
        return reasons

    def _remember(self) -> None:
        self._troubles = self._link.troubles
        self._reconnections = self._link.reconnections

    def _refusals(self) -> list[str]:
        if not self._reports_events:
            if self._common.error is None and self._common.identity:
                # it can say no more than that it is still there
                self.ask(self._common.identity)
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
        AnswerLostError
            What it held is not known: see `surely`.
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
        if set(entries) == {LOST}:
            return self._looked_up()
        return [
            entry.text if entry is LOST else f"{entry.code} {entry.text}"
            for entry in entries
            if not (had_trouble and entry.code in QUERY_ERRORS)
        ]

    def _looked_up(self) -> list[str]:
        """Ask the register about entries that were lost: its bits stay."""
        unknown = AnswerLostError(f"{self._link.name}: {LOST.text}")
        if not self._reports_events:
            raise unknown
        try:
            self._events()
        except LinkLostError:
            raise
        except (TransportError, ReplyError) as failure:
            raise unknown from failure
        return [LOST.text] if self._unseen & REFUSALS & ~QUERY_ERROR else []

    def surely(self, action: Callable[[], T]) -> T:
        """Do again (twice at most) what does no harm twice and has no known outcome.

        Raises
        ------
        AnswerLostError
            The answer that tells what came of it was lost every time.
        """
        for _ in range(REPEATS):
            try:
                return action()
            except AnswerLostError:
                continue
        return action()

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
        self._known.add(command)
        return entry

    def _see_that_it_has_a_queue(self, failure: DriverError, *, times: int) -> None:
        """Raise where the register says that the error query itself is refused.

        The first time the register may tell of what was long before.
        """
        command = self._common.error or ""
        if not isinstance(failure, LinkTimeoutError) or command in self._known:
            return
        if self._common.identity.upper() != IDENTITY or command.upper() == EVENTS:
            return
        with contextlib.suppress(LinkTimeoutError, AnswerLostError, ReplyError):
            self._unseen = 0
            self._events()
            if times > 1 and self._unseen & COMMAND_ERROR_BITS:
                raise self._refused(command, [f"{EVENTS} = {self._unseen}"])

    # Questions ---------------------------------------------------------------------

    def ask(self, command: str) -> str:
        """Ask a question that does no harm twice; learn why it is not answered.

        After a silence the instrument is asked whether it refused the question. One
        that it never answered is then not asked again; another one may have been
        spoilt on the way, and is.

        Raises
        ------
        QuestionRefusedError
            The instrument refused it, in its own words.
        TransportError, ReplyError
            No answer, or none with sense.
        """
        silences = 0
        while True:
            try:
                answer = self._link.query(command, patient=False)
            except LinkTimeoutError:
                silences += 1
                reasons = self._reasons_of_silence()
                if reasons and (silences > REPEATS or command not in self._known):
                    raise self._refused(command, reasons) from None
                if silences > REPEATS:
                    raise
            else:
                self._known.add(command)
                return answer

    def _refused(self, command: str, reasons: list[str]) -> QuestionRefusedError:
        return QuestionRefusedError(
            f"{self._link.name} does not answer {command!r} but refuses it: "
            f"{', '.join(reasons)}; correct {self._where(command)} in its dialect",
            command=command,
            queued=reasons,
        )

    def _reasons_of_silence(self) -> list[str]:
        """Give the command and execution errors that it reports, in its words."""
        try:
            entries = self._drain()
            if self._common.error is None and self._reports_events:
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
        return parse_reply(self.ask(command), command=command, form=form)

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
