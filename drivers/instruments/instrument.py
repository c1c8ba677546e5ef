"""What every instrument behind a link has: an identity, settings, numbers to ask for.

After every reading an instrument is asked whether anything happened to it; what it
refused is its `Refusals`.
"""

import math
from collections.abc import Callable
from typing import TypeVar

from ..dialects import (
    PLAIN,
    Common,
    ReplyForm,
    parse_reply,
)
from ..errors import (
    AnswerLostError,
    InstrumentError,
    LinkLostError,
    LinkTimeoutError,
    ReplyError,
    TransportError,
)
from ..link import Link
from .refusals import Refusals

__all__ = ["Instrument"]

START_ATTEMPTS = 3
REPEATS = 2

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
        self._resource = resource
        self._refusals = Refusals(link, common=common, where=where)
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
        self._refusals.forget()  # what was before the start does not count
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
            return self._refusals.queued()
        except AnswerLostError as failure:
            return [str(failure)]

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
            if self._can_only_be_there:
                self.ask(self._common.identity)
            reasons += self._refusals.happened()
        except LinkLostError:
            raise
        except (TransportError, ReplyError) as failure:
            reasons.append(str(failure))
        # only now: the link may have been lost while the register was asked for
        if self._refusals.is_link_anew:
            reasons.insert(0, f"{self._link.name}: its link was lost and opened again")
        self._refusals.remember()
        return reasons

    @property
    def _can_only_be_there(self) -> bool:
        """Whether it can say no more than that it is still there."""
        has_queue = self._common.error is not None
        says = has_queue or self._refusals.reports_events
        return bool(self._common.identity) and not says

    def check(self, *, doing: str) -> None:
        """Read the error queue until it is empty.

        Raises
        ------
        InstrumentError
            It held an error; ``doing`` says what came before.
        AnswerLostError
            What it held is not known: see `surely`.
        """
        if queued := self._refusals.told():
            raise InstrumentError(
                f"{self._link.name} refused {doing}: {'; '.join(queued)}",
                identity=self.identity,
                queued=queued,
            )

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
                reasons = self._refusals.reasons_of_silence()
                is_known = command in self._refusals.known
                if reasons and (silences > REPEATS or not is_known):
                    raise self._refusals.refused(command, reasons) from None
                if silences > REPEATS:
                    raise
            else:
                self._refusals.known.add(command)
                return answer

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
