"""A bench: generator, detector and what stands between, opened from one file.

However the program ends (normally, by an error, by Ctrl-C, by SIGTERM), the
generator's output is off before the links are closed. What no program can do is act
after ``kill -9`` or a power cut: then the output stays as it was.
"""

import contextlib
import warnings
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Self

from ...analysis.errors import InputError
from ...analysis.reading import Reading, Setting
from ..errors import (
    DriverError,
    LinkLostError,
    NoValueError,
    OverloadError,
    QuestionRefusedError,
    SettingError,
)
from ..instruments import (
    Amplitude,
    AmplitudeReader,
    OutputState,
    SignalSource,
    TakenBackError,
    TunedCapacitor,
)
from .bench_file import BenchFile
from .no_value import LESS, amplitude_of_none
from .signals import endings_unwind, not_interrupted

__all__ = ["Bench", "Clock", "Sleep"]

Sleep = Callable[[float], None]
Clock = Callable[[], float]
READ_ATTEMPTS = 6  # at a fault in a hundred messages restoring meets one in five
MOST_NOTES = 100
# The link has tried what there is to try; what is refused is refused every time.
FINAL = (LinkLostError, QuestionRefusedError)

_Role = SignalSource | AmplitudeReader


class Bench:
    """The instruments of one bench, as one object that leaves the output off.

    Use it as a context manager, and drive the circuit inside ``driven()``::

        with open_bench(load_bench_file(path)) as bench, bench.driven():
            reading = bench.read(Setting(frequency_hz=7.1e6, settle_s=1e-3))

    Parameters
    ----------
    file
        What is known of the bench.
    generator, detector
        The instruments, started.
    capacitor
        The variable capacitor; None: there is none.
    sleep, clock
        How to wait, and what time it is in s; a simulated bench brings its own.

    Attributes
    ----------
    generator, sleep, clock
        As given, to set its level beside what `read` sets, and to time it.
    retaken
        How many readings were thrown away because something happened to an
        instrument.
    notes
        Why, in sentences (the first hundred).
    frequency_hz
        What the generator was last set to, in Hz; None: it was not set yet.
    shown
        Opened while the circuit is driven, and closed when that has ended: a display.
    """

    def __init__(
        self,
        file: BenchFile,
        *,
        generator: SignalSource,
        detector: AmplitudeReader,
        sleep: Sleep,
        clock: Clock,
        capacitor: TunedCapacitor | None = None,
    ) -> None:
        self.file = file
        self._capacitor = capacitor
        self.generator = generator
        self._detector = detector
        self.sleep = sleep
        self.clock = clock
        self._opened_s = clock()
        self._closing = contextlib.ExitStack()
        self._signals = contextlib.ExitStack()
        self._open = True
        self._reference_per_v: float | None = None
        self.retaken = 0
        self.notes: list[str] = []
        self.frequency_hz: float | None = None
        self.shown: Callable[[], contextlib.AbstractContextManager[None]] = (
            contextlib.nullcontext
        )

    def closes(self, resources: contextlib.ExitStack) -> None:
        """Take over what must be released when the bench is closed."""
        self._closing = resources

    @property
    def output(self) -> OutputState:
        """What is known of the generator's output."""
        return self.generator.output

    @property
    def identities(self) -> dict[str, str]:
        """Who the instruments say they are."""
        identities = {
            "generator": self.generator.identity,
            "detector": self._detector.identity,
        }
        if self._capacitor is not None:
            identities["variable capacitor"] = self._capacitor.identity
        if self._reference_per_v is not None:
            identities["reference"] = "a second channel; amplitudes are ratios to it"
        return identities

    def read(self, setting: Setting) -> Reading:
        """Set the generator, wait, and read the detector.

        Both instruments are then asked whether anything happened to them. A reading
        that may have been taken without the settings, or over a link that broke, is
        thrown away; the settings are restored and it is taken again, a few times.

        Raises
        ------
        SettingError
            Out of the instruments' range.
        DriverError
            An instrument or its link failed, or readings stay in doubt.
        """
        self._allow(setting.frequency_hz)
        doubts: dict[_Role, list[str]] = {}
        failure: DriverError | SettingError | None = None
        for attempt in range(READ_ATTEMPTS):
            try:
                for role in doubts:
                    role.restore()
                reading, failure = self._take(setting), None
            except FINAL:
                raise
            except (DriverError, SettingError) as error:
                failure = error
            doubts = self._doubts()
            if failure is None and not doubts:
                return reading
            if failure is not None and not doubts:
                if _stands(failure, attempt):
                    raise failure
                doubts = {self.generator: [str(failure)], self._detector: []}
            self._note(setting, doubts)
        raise failure or DriverError(
            f"a reading was in doubt {READ_ATTEMPTS} times running "
            f"({'; '.join(_sentences(doubts))}); see to instruments and cables",
            frequency_hz=setting.frequency_hz,
        )

    def _doubts(self) -> "dict[_Role, list[str]]":
        """Ask both instruments what happened to them since they were last asked."""
        doubts: dict[_Role, list[str]] = {}
        for role in (self.generator, self._detector):
            try:
                reasons = role.disturbed()
            except FINAL:
                raise
            except DriverError as failure:
                reasons = [str(failure)]
            if reasons:
                doubts[role] = reasons
        return doubts

    def _note(self, setting: Setting, doubts: "dict[_Role, list[str]]") -> None:
        self.retaken += 1
        if len(self.notes) < MOST_NOTES:
            self.notes.append(
                f"the reading at {setting.frequency_hz:.9g} Hz was thrown away "
                f"({'; '.join(_sentences(doubts))})"
            )

    def _allow(self, wanted_hz: float) -> None:
        limits = self.file.limits
        if not limits.lowest_frequency_hz <= wanted_hz <= limits.highest_frequency_hz:
            raise SettingError(
                f"{wanted_hz:.6g} Hz is outside the bench file's limits, "
                f"{limits.lowest_frequency_hz:.6g} to "
                f"{limits.highest_frequency_hz:.6g} Hz",
                frequency_hz=wanted_hz,
            )

    def _take(self, setting: Setting) -> Reading:
        try:
            return self._read_at(setting)
        except TakenBackError:
            self.generator.restore()  # the slip may have been its dial's
            raise

    def _read_at(self, setting: Setting) -> Reading:
        frequency_hz = self.generator.set_frequency(setting.frequency_hz)
        self.frequency_hz = frequency_hz
        self._detector.tune(frequency_hz)
        capacitance_f = self._turned_to(setting.capacitance_f)
        self._settle(setting)
        try:
            amplitude = self._detector.read()
        except NoValueError as failure:
            amplitude = self._look_at_less(failure, setting)
        amplitude = self._at_first_reference(amplitude)
        return Reading(
            frequency_hz=frequency_hz,
            amplitude_v=amplitude.amplitude_v,
            range_v=amplitude.range_v,
            time_s=self.clock() - self._opened_s,
            capacitance_f=capacitance_f,
        )

    def _settle(self, setting: Setting) -> None:
        self.sleep(
            setting.settle_s
            + self.file.generator.settle_s
            + self.file.detector.settle_s
        )

    def _look_at_less(self, failure: NoValueError, setting: Setting) -> Amplitude:
        """Tell too much from too little by lowering the generator's level.

        Raises
        ------
        OverloadError, NoValueError
            Too much; or it cannot be told.
        """
        emf_v = self.generator.emf_v
        if emf_v is None or self.file.generator.is_hand:
            raise failure
        at_less: Amplitude | None = None
        try:
            self.generator.set_emf(emf_v * LESS)
            self._settle(setting)
            at_less = self._detector.read()
        except NoValueError:
            pass  # at a lower level neither
        except SettingError:
            raise failure from None  # it has no lower level
        finally:
            self.generator.set_emf(emf_v)
        told = amplitude_of_none(failure, at_less=at_less)
        if told is not None:
            return told
        self._settle(setting)
        return self._detector.read()

    def _at_first_reference(self, amplitude: Amplitude) -> Amplitude:
        """Refer a reading to a second channel, at the level that it had first.

        What that channel has for one volt of the level that the generator was told is
        learnt from the first reading and stands: a level that was told counts, one
        that drifts does not.

        Raises
        ------
        SettingError
            The second channel reads nothing.
        """
        reference_v = amplitude.reference_v
        if reference_v is None:
            return amplitude
        if reference_v <= 0.0:
            raise SettingError(
                "the reference channel reads nothing; see to its cable and its range, "
                "or take [reference] out of the detector's dialect"
            )
        emf_v = self.generator.emf_v or 1.0
        if self._reference_per_v is None:
            self._reference_per_v = reference_v / emf_v
        factor = self._reference_per_v * emf_v / reference_v
        range_v = amplitude.range_v
        return Amplitude(
            amplitude_v=amplitude.amplitude_v * factor,
            range_v=None if range_v is None else range_v * factor,
        )

    def _turned_to(self, capacitance_f: float | None) -> float | None:
        if capacitance_f is None:
            return None
        if self._capacitor is None:
            raise InputError(
                "the bench file has no variable capacitor to turn; describe it in a "
                "table [capacitor]"
            )
        return self._capacitor.set_capacitance(capacitance_f)

    @contextlib.contextmanager
    def driven(self, level_v: float | None = None) -> Iterator[None]:
        """Drive the circuit for the length of a block.

        Parameters
        ----------
        level_v
            E.m.f. in V r.m.s.; None: the bench file's.
        """
        with self.shown():
            try:
                self.generator.set_emf(
                    self.file.generator.level_v if level_v is None else level_v
                )
                self.generator.output_on()
                yield
                self.generator.see_off()
                self.generator.check()
                self._detector.check()
            finally:
                self._switch_off()

    def _switch_off(self) -> None:
        with not_interrupted():
            self.generator.output_off()

    def close(self) -> None:
        """Switch the output off and close the links; twice does no harm."""
        if not self._open:
            return
        with not_interrupted(), self._closing:
            self._open = False
            try:
                self.generator.output_off()
            finally:
                self.generator.close()
                self._detector.close()

    def __enter__(self) -> Self:
        """Let SIGTERM unwind the program like Ctrl-C while the bench is open."""
        self._signals.enter_context(endings_unwind())
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Leave the bench with its output off.

        When something is on its way out already, a failure to switch off is added
        to it as a note instead of hiding it; what ends by an instrument's failure has
        a note that the output is off.
        """
        # The handler goes last: close() puts back the one it found.
        with self._signals:
            try:
                self.close()
            except DriverError as failure:
                if error is None:
                    raise
                if str(failure) != str(error):
                    error.add_note(str(failure))
            else:
                if isinstance(error, DriverError) and not self.file.generator.is_hand:
                    error.add_note("the generator's output is off")

    def __del__(self) -> None:
        """Say so when a bench was dropped open."""
        if getattr(self, "_open", False):
            warnings.warn(
                "a bench was dropped without being closed; use it in a with block",
                ResourceWarning,
                stacklevel=2,
            )


def _stands(failure: DriverError | SettingError, attempt: int) -> bool:
    """Tell whether a failure is to be believed, though nothing else is amiss."""
    if isinstance(failure, OverloadError):
        return attempt > 0  # one spoilt answer looks like an overload
    return isinstance(failure, SettingError)


def _sentences(doubts: dict[_Role, list[str]]) -> list[str]:
    """Give every reason once, in order."""
    return list(dict.fromkeys(reason for some in doubts.values() for reason in some))
