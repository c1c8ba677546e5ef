"""A bench: generator, detector and what stands between, opened from one file.

However the program ends (normally, by an error, by Ctrl-C, by SIGTERM), the
generator's output is off before the links are closed. What no program can do is act
after ``kill -9`` or a power cut: then the output stays as it was.
"""

import contextlib
import signal
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType, TracebackType
from typing import Any, Self

import pyvisa

from ..analysis.reading import Reading, Setting
from .bench_file import BenchFile
from .detector import Detector
from .dialect import load_detector_dialect, load_generator_dialect
from .errors import DriverError, Interrupted, SettingError
from .generator import Generator
from .visa import open_link, open_visa

__all__ = ["Bench", "open_bench"]

_Handler = Callable[[int, FrameType | None], Any] | int | None
Sleep = Callable[[float], None]
Clock = Callable[[], float]


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
        The instruments, not yet started.
    sleep, clock
        How to wait, and what time it is in s; a simulated bench brings its own.
    """

    def __init__(
        self,
        file: BenchFile,
        *,
        generator: Generator,
        detector: Detector,
        sleep: Sleep,
        clock: Clock,
    ) -> None:
        self.file = file
        self._generator = generator
        self._detector = detector
        self._sleep = sleep
        self._clock = clock
        self._opened_s = clock()
        self._closing = contextlib.ExitStack()
        self._signals = contextlib.ExitStack()
        self._open = True

    def closes(self, resources: contextlib.ExitStack) -> None:
        """Take over what must be released when the bench is closed."""
        self._closing = resources

    @property
    def identities(self) -> dict[str, str]:
        """Who the instruments say they are."""
        return {
            "generator": self._generator.identity,
            "detector": self._detector.identity,
        }

    def read(self, setting: Setting) -> Reading:
        """Set the generator, wait, and read the detector.

        Raises
        ------
        SettingError
            Out of the instruments' range.
        DriverError
            An instrument or its link failed.
        """
        limits = self.file.limits
        wanted_hz = setting.frequency_hz
        if not limits.lowest_frequency_hz <= wanted_hz <= limits.highest_frequency_hz:
            raise SettingError(
                f"{wanted_hz:.6g} Hz is outside the bench file's limits, "
                f"{limits.lowest_frequency_hz:.6g} to "
                f"{limits.highest_frequency_hz:.6g} Hz",
                frequency_hz=wanted_hz,
            )
        frequency_hz = self._generator.set_frequency(wanted_hz)
        self._sleep(
            setting.settle_s
            + self.file.generator.settle_s
            + self.file.detector.settle_s
        )
        amplitude = self._detector.read()
        return Reading(
            frequency_hz=frequency_hz,
            amplitude_v=amplitude.amplitude_v,
            range_v=amplitude.range_v,
            time_s=self._clock() - self._opened_s,
        )

    @contextlib.contextmanager
    def driven(self) -> Iterator[None]:
        """Drive the circuit at the bench file's level for the length of a block."""
        try:
            self._generator.set_emf(self.file.generator.level_v)
            self._generator.output_on()
            yield
            self._generator.check()
            self._detector.check()
        finally:
            self._switch_off()

    def _switch_off(self) -> None:
        with _not_interrupted():
            self._generator.output_off()

    def close(self) -> None:
        """Switch the output off and close the links; twice does no harm."""
        if not self._open:
            return
        with _not_interrupted(), self._closing:
            self._open = False
            try:
                self._generator.output_off()
            finally:
                self._generator.close()
                self._detector.close()

    def __enter__(self) -> Self:
        """Let SIGTERM unwind the program like Ctrl-C while the bench is open."""
        self._signals.enter_context(_sigterm_unwinds())
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Leave the bench with its output off.

        When something is on its way out already, a failure to switch off is added
        to it as a note instead of hiding it.
        """
        # The handler goes last: close() puts back the one it found.
        with self._signals:
            try:
                self.close()
            except DriverError as failure:
                if error is None:
                    raise
                error.add_note(str(failure))

    def __del__(self) -> None:
        """Say so when a bench was dropped open."""
        if getattr(self, "_open", False):
            warnings.warn(
                "a bench was dropped without being closed; use it in a with block",
                ResourceWarning,
                stacklevel=2,
            )


def open_bench(
    file: BenchFile,
    *,
    folder: Path = Path(),
    manager: pyvisa.ResourceManager | None = None,
    sleep: Sleep = time.sleep,  # noqa: TID251 - the one default; callers replace it
    clock: Clock = time.monotonic,
) -> Bench:
    """Open a bench: connect, identify, and bring everything to a known state.

    Parameters
    ----------
    file
        The bench file's content.
    folder
        Where the bench file stands; dialect files are looked for there.
    manager
        A VISA resource manager to use instead of the bench file's own.
    sleep, clock
        How to wait, and what time it is in s.

    Raises
    ------
    InputError
        A dialect is missing or wrong.
    DriverError
        An instrument cannot be opened, is silent, or refuses its start commands.
    """
    generator_dialect = load_generator_dialect(file.generator.dialect, folder=folder)
    detector_dialect = load_detector_dialect(file.detector.dialect, folder=folder)
    with contextlib.ExitStack() as opening:
        if manager is None:
            manager = opening.enter_context(open_visa(file.visa))
        generator_link = open_link(
            manager,
            resource=file.generator.resource,
            name="generator",
            timeout_s=file.generator.timeout_s,
        )
        opening.callback(generator_link.close)
        detector_link = open_link(
            manager,
            resource=file.detector.resource,
            name="detector",
            timeout_s=file.detector.timeout_s,
        )
        opening.callback(detector_link.close)
        generator = Generator(
            generator_link,
            dialect=generator_dialect,
            source_ohm=file.generator.source_resistance.value,
        )
        detector = Detector(detector_link, dialect=detector_dialect)
        generator.start()
        detector.start()
        bench = Bench(
            file, generator=generator, detector=detector, sleep=sleep, clock=clock
        )
        bench.closes(opening.pop_all())
        return bench


@contextlib.contextmanager
def _sigterm_unwinds() -> Iterator[None]:
    """Turn SIGTERM into `Interrupted`, unless the program has its own handler."""
    if (
        threading.current_thread() is not threading.main_thread()
        or signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL
    ):
        yield
        return

    def unwind(number: int, frame: FrameType | None) -> None:
        del number, frame
        raise Interrupted

    signal.signal(signal.SIGTERM, unwind)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, signal.SIG_DFL)


@contextlib.contextmanager
def _not_interrupted() -> Iterator[None]:
    """Hold Ctrl-C and SIGTERM back while the output is switched off.

    It is bounded: the links have their time limits. What came in the meantime is
    acted on afterwards.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    held = (signal.SIGINT, signal.SIGTERM)

    def note(number: int, frame: FrameType | None) -> None:
        del frame
        came.append(number)

    before: dict[int, _Handler] = {
        number: signal.signal(number, note) for number in held
    }
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler or signal.SIG_DFL)
    for number in came:
        _act_on(number, before[number])


def _act_on(number: int, handler: _Handler) -> None:
    """Do what the program's own handler would have done, had it been asked."""
    if callable(handler):
        handler(number, None)
    elif handler is not signal.SIG_IGN:
        raise Interrupted
