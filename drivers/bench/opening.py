"""Open a bench from its file: each instrument by its own table."""

import contextlib
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pyvisa

from ...analysis.errors import InputError
from ..dialects import (
    DetectorDialect,
    GeneratorDialect,
    load_detector_dialect,
    load_generator_dialect,
)
from ..instruments import (
    AmplitudeReader,
    Ask,
    Detector,
    Generator,
    HandCapacitor,
    HandDetector,
    HandGenerator,
    Linearisation,
    LinearisedReader,
    SignalSource,
    Tell,
    TunedCapacitor,
    load_linearisation,
    nobody,
)
from ..link import ByteLog, Link, LinkSettings, open_steady_link, open_visa
from .bench import Bench, Clock, Sleep
from .bench_file import BenchFile, DetectorTable, GeneratorTable
from .expected import refuse_strangers

__all__ = [
    "Reach",
    "completed",
    "law_of",
    "open_bench",
    "open_detector",
    "open_generator",
    "reaching",
]


def _say(text: str) -> None:
    print(text, file=sys.stderr)  # noqa: T201 - talk goes to standard error


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """What instruments and people are reached by.

    Attributes
    ----------
    manager
        A VISA resource manager; None: no instrument has a link.
    folder
        Where the bench file stands.
    ask, tell
        How to ask the person at the bench and say something to them; without ``ask``
        nobody can be asked.
    log
        Where every byte of the links is written down.
    locked
        Whether other programs are kept off the instruments.
    sleep
        How to wait.
    """

    manager: pyvisa.ResourceManager | None
    folder: Path
    ask: Ask | None = None
    tell: Tell = _say
    log: ByteLog | None = None
    locked: bool = False
    sleep: Sleep = time.sleep  # noqa: TID251 - the one default; callers replace it

    def asking(self, what: str) -> Ask:
        """Return how to ask the person who is this instrument.

        Raises
        ------
        InputError
            Nobody can be asked.
        """
        if self.ask is None:
            raise InputError(
                f"the bench file's {what} is a person ('hand'), and nobody can be "
                "asked; give `ask`"
            )
        return self.ask

    def link(
        self,
        table: GeneratorTable | DetectorTable,
        dialect: GeneratorDialect | DetectorDialect,
        *,
        name: str,
    ) -> Link:
        """Open an instrument's link as its dialect says."""
        if self.manager is None:
            raise InputError(f"there is no VISA to open {name} {table.resource} with")
        return open_steady_link(
            self.manager,
            resource=table.resource,
            name=name,
            timeout_s=table.timeout_s,
            identity_query=dialect.common.identity,
            settings=LinkSettings(**dialect.link.model_dump()),
            log=self.log,
            locked=self.locked,
            sleep=self.sleep,
        )


def open_bench(
    file: BenchFile,
    *,
    folder: Path = Path(),
    manager: pyvisa.ResourceManager | None = None,
    sleep: Sleep = time.sleep,  # noqa: TID251 - the one default; callers replace it
    clock: Clock = time.monotonic,
    ask: Ask | None = None,
    tell: Tell = _say,
    trace: Path | None = None,
    capacitor: TunedCapacitor | None = None,
) -> Bench:
    """Open a bench: connect, identify, and bring everything to a known state.

    Parameters
    ----------
    file
        The bench file's content.
    folder
        Where the bench file stands; dialects and linearisations are looked for there.
    manager
        A VISA resource manager to use instead of the bench file's own.
    sleep, clock
        How to wait, and what time it is in s.
    ask, tell
        How to put a question to the person at the bench and return the answer, and
        how to say something to them; needed where an instrument is ``hand``.
    trace
        A file to write every byte of the links to, with its time.
    capacitor
        A variable capacitor that needs no person to turn it (a simulated bench's);
        None: the bench file's, if it has one.

    Raises
    ------
    InputError
        A dialect or a linearisation is missing or wrong, or nobody can be asked.
    DriverError
        An instrument cannot be opened, is silent, is not the one that the bench file
        expects, or refuses its start commands.
    """
    with contextlib.ExitStack() as opening:
        reach = opening.enter_context(
            reaching(
                file,
                folder=folder,
                manager=manager,
                sleep=sleep,
                ask=ask,
                tell=tell,
                trace=trace,
            )
        )
        law = law_of(file.detector, folder=folder, tell=tell)
        file = completed(file, law=law, folder=folder)
        generator = open_generator(file.generator, reach=reach)
        opening.callback(generator.close)
        detector = open_detector(
            file.detector,
            reach=reach,
            settle_s=file.generator.settle_s + file.detector.settle_s,
        )
        opening.callback(detector.close)
        for role in (generator, detector):
            role.introduce()
        refuse_strangers(
            file, {"generator": generator.identity, "detector": detector.identity}
        )
        generator.start()
        generator.output_off()  # so that it is known
        detector.start()
        if law is not None:
            detector = LinearisedReader(detector, law=law)
        bench = Bench(
            file,
            generator=generator,
            detector=detector,
            sleep=sleep,
            clock=clock,
            capacitor=capacitor or _hand_capacitor(file, ask=ask, tell=tell),
        )
        bench.closes(opening.pop_all())
        return bench


def _hand_capacitor(
    file: BenchFile, *, ask: Ask | None, tell: Tell
) -> HandCapacitor | None:
    """Seat a person at the bench's variable capacitor; asked when it is turned."""
    if file.capacitor is None:
        return None
    return HandCapacitor(
        ask or nobody,
        tell=tell,
        lowest_f=file.capacitor.lowest_f,
        highest_f=file.capacitor.highest_f,
    )


@contextlib.contextmanager
def reaching(
    file: BenchFile,
    *,
    folder: Path,
    manager: pyvisa.ResourceManager | None,
    sleep: Sleep,
    ask: Ask | None = None,
    tell: Tell = _say,
    trace: Path | None = None,
) -> Iterator[Reach]:
    """Open what a bench file's instruments are reached by (see `open_bench`)."""
    with contextlib.ExitStack() as stack:
        log = None if trace is None else stack.enter_context(ByteLog(trace))
        # A bench of one's own process needs no lock.
        is_real = manager is None
        has_link = not (file.generator.is_hand and file.detector.is_hand)
        if is_real and has_link:
            manager = stack.enter_context(open_visa(file.visa))
        yield Reach(
            manager=manager,
            folder=folder,
            ask=ask,
            tell=tell,
            log=log,
            locked=is_real,
            sleep=sleep,
        )


def open_generator(table: GeneratorTable, *, reach: Reach) -> SignalSource:
    """Open the generator that a bench file's table describes; it is not started.

    Raises
    ------
    InputError
        Its dialect is missing or wrong, or nobody can be asked.
    DriverError
        It cannot be opened.
    """
    source_ohm = table.source_resistance.value
    if table.is_hand:
        ask = reach.asking("generator")
        return HandGenerator(ask, tell=reach.tell, source_ohm=source_ohm)
    dialect = load_generator_dialect(table.dialect, folder=reach.folder)
    link = reach.link(table, dialect, name="generator")
    return Generator(
        link, dialect=dialect, source_ohm=source_ohm, resource=table.resource
    )


def open_detector(
    table: DetectorTable, *, reach: Reach, settle_s: float = 0.0
) -> AmplitudeReader:
    """Open the detector that a bench file's table describes; it is not started.

    It waits ``settle_s``, in s, after a change of its range.

    Raises
    ------
    InputError
        Its dialect is missing or wrong, or nobody can be asked.
    DriverError
        It cannot be opened.
    """
    if table.is_hand:
        ask = reach.asking("detector")
        return HandDetector(ask, tell=reach.tell, load_ohm=table.load_ohm)
    dialect = load_detector_dialect(table.dialect, folder=reach.folder)
    link = reach.link(table, dialect, name="detector")
    return Detector(
        link,
        dialect=dialect,
        averages=table.averages,
        resource=table.resource,
        sleep=reach.sleep,
        settle_s=settle_s,
    )


def _averages(table: DetectorTable, dialect: DetectorDialect) -> int:
    if dialect.averaging is None:
        return 1
    return table.averages or dialect.averaging.count


def _settle_s(table: DetectorTable, dialect: DetectorDialect) -> float:
    """How long it needs: what it shows of n records has all n to renew."""
    is_stated = "settle_s" in table.model_fields_set
    one_s = table.settle_s if is_stated else dialect.settle_s
    return one_s * _averages(table, dialect)


def law_of(table: DetectorTable, *, folder: Path, tell: Tell) -> Linearisation | None:
    """Load the linearisation that a detector's table names, or give None.

    It gives None too where the table states a better linearity, and says so.
    """
    if not table.linearisation:
        return None
    law = load_linearisation(folder / table.linearisation)
    if law.left_over >= table.linearity:
        tell(f"Note: {law.compared(table.linearity)}.")
    return law if law.is_better_than(table.linearity) else None


def completed(file: BenchFile, *, law: Linearisation | None, folder: Path) -> BenchFile:
    """Fill in what dialects and linearisation know better than the bench file."""
    generator, detector = file.generator, file.detector
    hints: dict[str, object] = {}
    if not detector.is_hand:
        dialect = load_detector_dialect(detector.dialect, folder=folder)
        hints["settle_s"] = _settle_s(detector, dialect)
        hints["averages"] = _averages(detector, dialect)
    if law is not None:
        hints["linearity"] = law.left_over
    changed = {"detector": detector.model_copy(update=hints)}
    if "settle_s" not in generator.model_fields_set and not generator.is_hand:
        source = load_generator_dialect(generator.dialect, folder=folder)
        settle = {"settle_s": source.settle_s}
        return file.model_copy(
            update={**changed, "generator": generator.model_copy(update=settle)}
        )
    return file.model_copy(update=changed)
