"""A person as an instrument: asked in one sentence, answering as the dial shows.

A word of nonsense is refused and asked again. A slip that is noticed after it was
taken is taken back by typing ``back`` at the next question. A person has no output
switch that the program could throw: at the end of the drive they are asked to switch
off and say so; on the way out of an error or an interrupt they can only be told to.
"""

from collections.abc import Callable, Sequence
from typing import NoReturn, TypeVar

from ...analysis.errors import HalfpowerError, InputError
from ..dialects import level_from_emf
from .dial import DialReading, parse_amplitude, parse_capacitance, parse_frequency
from .roles import Amplitude, OutputState

__all__ = [
    "Ask",
    "HandCapacitor",
    "HandDetector",
    "HandGenerator",
    "TakenBackError",
    "Tell",
    "ask_for_word",
    "nobody",
]

Ask = Callable[[str], str]
Tell = Callable[[str], None]
Answer = TypeVar("Answer")

BACK = "back"
HINT = f" ('{BACK}' takes the last reading back)"
NEAR = 0.1  # a dial further off than a tenth of what was asked for was misread
PERSON = "a person"
YES = ("", "yes", "y")
SHOWN = 40  # characters of what was not understood


class TakenBackError(HalfpowerError):
    """The person takes the last reading back; whoever keeps readings obeys."""

    exit_status = 2


def nobody(question: str) -> NoReturn:
    """Refuse to ask: the program has no one to ask.

    Raises
    ------
    InputError
        Always.
    """
    raise InputError(
        f"the bench file names a person ('hand'), and nobody can be asked: {question}"
    )


def ask_for_word(
    ask: Ask, question: str, *, tell: Tell, words: Sequence[str] = ()
) -> str:
    """Put a question that Enter or ``yes`` answers, or one of a few words.

    Anything else (a label that was scanned, a word of another question) is refused with
    the list of words, and the question put again.

    Parameters
    ----------
    ask, tell
        As for any person.
    question
        The question.
    words
        What may be typed besides, with or without a slash before it.

    Returns
    -------
    str
        The word; empty for Enter or ``yes``.
    """
    while True:
        said = ask(question).strip()
        word = said.removeprefix("/").casefold()
        if word in YES:
            return ""
        if word in words:
            return word
        besides = "".join(f", or {one}" for one in words)
        tell(f"{said[:SHOWN]!r} is no answer here: press Enter (or type yes){besides}.")


class _Person:
    """A person instead of an instrument.

    Parameters
    ----------
    ask
        Puts a question and returns the answer.
    tell
        Says something that needs no answer.
    """

    identity = PERSON

    def __init__(self, ask: Ask, *, tell: Tell) -> None:
        self._ask, self._tell = ask, tell

    def _asked(self, question: str, read: Callable[[str], Answer]) -> Answer:
        """Ask until the answer makes sense."""
        while True:
            answer = self._ask(f"{question}{HINT}:").strip()
            if answer.casefold() == BACK:
                raise TakenBackError("there is no reading to take back here")
            try:
                return read(answer)
            except InputError as error:
                self._tell(f"{error}.")

    def introduce(self) -> None:
        """Nothing: a person is known."""

    def check(self) -> None:
        """Nothing: a person refuses at once."""

    def disturbed(self) -> list[str]:
        """Nothing: a person says so."""
        return []

    def close(self) -> None:
        """Nothing: there is no link."""


class HandGenerator(_Person):
    """A person at a generator's dials.

    Parameters
    ----------
    ask, tell
        As for any person.
    source_ohm
        The generator's source resistance in ohm.
    """

    def __init__(self, ask: Ask, *, tell: Tell, source_ohm: float) -> None:
        super().__init__(ask, tell=tell)
        self._source_ohm = source_ohm
        self._output = OutputState.UNKNOWN
        self._stands: tuple[float, float] | None = None
        self.emf_v: float | None = None

    @property
    def output(self) -> OutputState:
        """What the person has said of it."""
        return self._output

    def start(self) -> None:
        """Have the output off before anything is set."""
        self._confirm("See that the generator's output is off, and press Enter:")
        self._output = OutputState.OFF

    def _confirm(self, question: str) -> None:
        ask_for_word(self._ask, question, tell=self._tell)

    def set_frequency(self, frequency_hz: float) -> float:
        """Have the frequency set; return what the dial then shows, in Hz.

        What stands there already is not asked for again.

        Raises
        ------
        TakenBackError
            The person takes the last reading back.
        """
        if self._stands is not None and self._stands[0] == frequency_hz:
            return self._stands[1]
        wanted = f"{frequency_hz / 1e6:.7g} MHz"
        nearest_hz = parse_frequency(wanted)

        def read(answer: str) -> float:
            shown_hz = parse_frequency(answer) if answer else nearest_hz
            if abs(shown_hz / frequency_hz - 1.0) > NEAR:
                raise InputError(
                    f"{answer!r} is {shown_hz:.6g} Hz, far from {wanted}; set it "
                    "nearer, or write the unit too"
                )
            return shown_hz

        question = f"Set the generator to {wanted}, and type what its dial shows"
        shown_hz = self._asked(f"{question} (Enter: just that)", read)
        self._stands = (frequency_hz, shown_hz)
        return shown_hz

    def set_emf(self, emf_v: float) -> None:
        """Have the level set so that the open-circuit voltage is ``emf_v`` V r.m.s."""
        self.emf_v = emf_v
        volts, dbm = (
            level_from_emf(emf_v, source_ohm=self._source_ohm, load_ohm=50.0, unit=unit)
            for unit in ("Vpp", "dBm")
        )
        self._confirm(
            f"Set the generator's level to {volts:.4g} Vpp into 50 ohm, which is "
            f"{dbm:.2f} dBm, and press Enter:"
        )

    def output_on(self) -> None:
        """Have the output switched on."""
        self._output = OutputState.UNKNOWN  # from here on it may be on
        self._confirm("Switch the generator's output on, and press Enter:")
        self._output = OutputState.ON

    def output_off(self) -> None:
        """Tell the person to switch off, once, unless they have said that it is off.

        An answer is not waited for: an error or an interrupt is on its way out.
        """
        if self._output in {OutputState.ON, OutputState.UNKNOWN}:
            self._tell("SWITCH THE GENERATOR'S OUTPUT OFF NOW.")
            self._output = OutputState.TOLD_OFF
        self._stands = None

    def see_off(self) -> None:
        """Have the person switch off, and say so."""
        if self._output is not OutputState.OFF:
            self._confirm(
                "Switch the generator's output off, and press Enter when it is off:"
            )
            self._output = OutputState.OFF
        self._stands = None

    def restore(self) -> None:
        """Have the frequency asked for again: what stands there is in doubt."""
        self._stands = None


class HandCapacitor(_Person):
    """A person at the dial of a calibrated variable capacitor.

    Parameters
    ----------
    ask, tell
        As for any person.
    lowest_f, highest_f
        The ends of its dial, in F.
    """

    def __init__(
        self, ask: Ask, *, tell: Tell, lowest_f: float, highest_f: float
    ) -> None:
        super().__init__(ask, tell=tell)
        self._lowest_f, self._highest_f = lowest_f, highest_f

    def set_capacitance(self, capacitance_f: float) -> float:
        """Have the dial turned; return what it then shows, in F.

        Raises
        ------
        TakenBackError
            The person takes the last reading back.
        """
        wanted = f"{capacitance_f * 1e12:.5g} pF"
        nearest_f = parse_capacitance(wanted)

        def read(answer: str) -> float:
            shown_f = parse_capacitance(answer) if answer else nearest_f
            if abs(shown_f / capacitance_f - 1.0) > NEAR:
                raise InputError(
                    f"{answer!r} is {shown_f * 1e12:.5g} pF, far from {wanted}; turn "
                    "it nearer, or write the unit too"
                )
            if not self._lowest_f <= shown_f <= self._highest_f:
                raise InputError(
                    f"{answer!r} is off the dial, which goes from "
                    f"{self._lowest_f * 1e12:.5g} to {self._highest_f * 1e12:.5g} pF"
                )
            return shown_f

        question = f"Turn the capacitor to {wanted}, and type what its dial shows"
        return self._asked(f"{question} (Enter: just that)", read)


class HandDetector(_Person):
    """A person's eye on a needle, a screen or a display.

    Parameters
    ----------
    ask, tell
        As for any person.
    load_ohm
        Resistance in ohm that a reading in dBm or W is told across.
    """

    def __init__(self, ask: Ask, *, tell: Tell, load_ohm: float) -> None:
        super().__init__(ask, tell=tell)
        self._load_ohm = load_ohm
        self._unit = self._at = ""

    def start(self) -> None:
        """Nothing: a person is ready."""

    def tune(self, frequency_hz: float) -> None:
        """Say it in the next question: a selective meter is tuned by hand."""
        self._at = f" at {frequency_hz / 1e6:.7g} MHz"

    def read(self) -> Amplitude:
        """Have the amplitude read.

        Raises
        ------
        TakenBackError
            The person takes the last reading back.
        """

        def read(answer: str) -> DialReading:
            return parse_amplitude(answer, load_ohm=self._load_ohm, unit=self._unit)

        # Who reads it sees it come to rest, and is told to wait for that once.
        unit = (
            f" in {self._unit}"
            if self._unit
            else ", each time when it stands still, with its unit"
        )
        reading = self._asked(f"Read the detector{self._at}{unit}", read)
        self._unit = reading.unit
        return Amplitude(amplitude_v=reading.amplitude_v)

    def restore(self) -> None:
        """Nothing: the next question sets it."""
