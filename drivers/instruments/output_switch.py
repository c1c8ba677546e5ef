"""A generator's output switch, which is made sure to be off."""

from ..dialects import GeneratorDialect
from ..errors import (
    AnswerLostError,
    DriverError,
    InstrumentError,
    LinkLostError,
    QuestionRefusedError,
)
from ..link import Link
from .instrument import Instrument
from .roles import OutputState

__all__ = ["OutputSwitch"]

ON_ATTEMPTS = 2  # a command can get lost; what is refused is refused again
OFF_ATTEMPTS = 4
MOST_LOST = 2  # times that the link may be found lost while switching off
OFF_REST_S = 1.0  # before it is looked for the second time: it may be starting anew


class OutputSwitch:
    """The switch, in the generator's dialect.

    Parameters
    ----------
    link, instrument
        The generator's.
    dialect
        How it is spoken to.

    Attributes
    ----------
    is_on
        Whether it was told to be on.
    state
        What is known of it: as it said, or as it was told.
    """

    def __init__(
        self, link: Link, instrument: Instrument, *, dialect: GeneratorDialect
    ) -> None:
        self._link = link
        self._instrument = instrument
        self._dialect = dialect
        self.is_on = False
        self.state = OutputState.UNKNOWN

    def on(self) -> None:
        """Switch the output on, and see that nothing was refused so far.

        Raises
        ------
        InstrumentError
            It refused, or says that it is off.
        """
        self.is_on = True
        self.state = OutputState.ON
        for attempt in range(1, ON_ATTEMPTS + 1):
            self._link.write(self._dialect.output.on)
            try:
                self._instrument.check(doing=self._dialect.output.on)
                self._see_that_it_is_on()
            except QuestionRefusedError:
                raise
            except (InstrumentError, AnswerLostError):
                if attempt == ON_ATTEMPTS:
                    raise
            else:
                return

    @property
    def is_found_off(self) -> bool:
        """Whether it was told to be on, and says that it is off."""
        can_say = self._dialect.output.read is not None
        return self.is_on and can_say and self._says_off()

    def _see_that_it_is_on(self) -> None:
        if self.is_found_off:
            raise InstrumentError(
                f"{self._link.name} was told to switch its output on and answers that "
                "it is off"
            )

    def off(self) -> None:
        """Switch the output off and make sure of it, on a confused link too.

        Raises
        ------
        DriverError
            It could not be made sure of; the output may still be on.
        """
        # An interrupt may have left half a command or an unread answer behind:
        # a stale answer is no "0", so the question is put again.
        failure: DriverError | None = None
        lost = 0
        for _ in range(OFF_ATTEMPTS):
            try:
                if self._is_told_off(rest_s=lost * OFF_REST_S):
                    self.is_on = False
                    self.state = self._off_as_known
                    return
            except DriverError as error:
                failure = error
                lost += isinstance(error, LinkLostError)
                if lost == MOST_LOST or isinstance(error, QuestionRefusedError):
                    break
        self.state = OutputState.UNKNOWN
        raise DriverError(
            "the generator's output could not be made sure to be off: "
            f"SWITCH IT OFF BY HAND ({failure or 'it answers that it is on'})"
        )

    @property
    def _off_as_known(self) -> OutputState:
        can_say = self._dialect.output.read is not None
        return OutputState.OFF if can_say else OutputState.TOLD_OFF

    def _is_told_off(self, *, rest_s: float) -> bool:
        with self._link.hurry(rest_s):
            before = self._link.reconnections
            self._link.write(self._dialect.output.off)
            return self._says_off(since=before)

    def _says_off(self, *, since: int = 0) -> bool:
        output = self._dialect.output
        if output.read is None:
            # It cannot say; that it refused nothing and still answers, on the
            # connection that took the command, is the most that can be had of it.
            self._instrument.check(doing=output.off)
            alive = self._dialect.common.identity or self._dialect.frequency.read
            if alive is not None:
                self._link.query(alive)
            return self._link.reconnections == since
        answer = self._instrument.ask(output.read)
        answer = answer.removeprefix(output.header).strip()
        return answer.upper() in {"0", "+0", "OFF"}
