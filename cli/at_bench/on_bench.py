"""Join a bench (real or simulated), the sinks and a procedure."""

import re
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from ...analysis.errors import InputError
from ...drivers import Bench, BenchFile, DriverError, load_bench_file, open_bench
from ...drivers.bench import with_fixture_record
from ...records.files import (
    ASKED_FOR,
    ReadingsFile,
    free_path,
    job_line,
    read_comments,
    read_steps,
    refuse_another_job,
)
from ...sweeps.run import Attendant, Session, Sinks, Stored
from ..words import (
    Wanted,
    ask_person,
    kept,
    now_utc,
    show_caution,
    talk,
)
from .attendant import DrawingAttendant, PersonAttendant, SceneAttendant, SceneCapacitor
from .going_on import to_go_on
from .lamp import Lamp
from .scenes import scene_built, scene_named
from .so_far import SoFar

if TYPE_CHECKING:
    from ...drivers.instruments import TunedCapacitor
    from ...drivers.link import Manager
    from ...sim.bench import SimulatedBench

__all__ = [
    "OUTPUT_FOLDER",
    "Located",
    "Place",
    "bundled_bench_file",
    "files_read",
    "located",
    "measuring",
    "visa_of",
]

OUTPUT_FOLDER = Path("halfpower-out")
LONGEST_STEM = 60  # characters of a label in a file's name; what is cut off is in it


def bundled_bench_file(scene: str) -> Path:
    """Return the bench file that belongs to a bundled scene.

    Raises
    ------
    InputError
        There is none of that name.
    """
    path = Path(str(resources.files(__package__))) / "benches" / f"{scene}.toml"
    if not path.is_file():
        raise InputError(
            f"scene {scene!r} has no bench file of its own; name one with --bench"
        )
    return path


@dataclass(frozen=True, slots=True, kw_only=True)
class Located:
    """A bench file, and what its bench is reached by.

    Attributes
    ----------
    file
        The bench file's content.
    folder
        Where what belongs to it is looked for, and written.
    manager
        A simulated bench's VISA; None: the bench file's own.
    sleep, clock
        How to wait, and what time it is in s.
    simulated
        The simulated bench; None: a real one.
    lamp
        Says what is known of the generator's output.
    """

    file: BenchFile
    folder: Path
    manager: "Manager | None"
    sleep: Callable[[float], None]
    clock: Callable[[], float]
    simulated: "SimulatedBench | None" = None
    lamp: Lamp

    def ask(self, question: str) -> str:
        """Ask the terminal's person; while the circuit is driven, that is said."""
        driving = self.lamp.driving
        with self.lamp.covered():
            return ask_person(f"{driving}. {question}" if driving else question)

    def opened(
        self, *, trace: Path | None, capacitor: "TunedCapacitor | None" = None
    ) -> Bench:
        """Open the bench as `open_bench` does; the terminal's person is asked."""
        bench = open_bench(
            self.file,
            folder=self.folder,
            manager=self.manager,
            sleep=self.sleep,
            clock=self.clock,
            ask=self.ask,
            tell=talk,
            trace=trace,
            capacitor=capacitor,
        )
        self.shows(bench)
        return bench

    def shows(self, bench: Bench) -> None:
        """Have it said, while this bench is driven, that it is."""
        self.lamp.bench, bench.shown = bench, self.lamp.lit


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a measurement happens, and what is kept of it, by the options' names.

    ``measured_fixture``: whether the fixture record that the bench file names is used;
    not where the fixture is what is measured. ``attached``: whether what the first step
    needs is on the fixture already. ``wanted``: what is to be written of the result; of
    an interrupted measurement the document alone. ``resumes``: whether it can be gone
    on with. ``job``: what is asked for, its parts by name.
    """

    bench: Path | None = None
    scene: str | None = None
    seed: int = 0
    trace: Path | None = None
    readings: Path | None = None
    resume: Path | None = None
    measured_fixture: bool = True
    hookups: Path | None = None
    attached: bool = False
    wanted: Wanted = field(default_factory=Wanted)
    resumes: bool = False
    job: Mapping[str, object] = field(default_factory=dict)


def files_read(
    bench: Path | None,
    *,
    scene: str | None,
    measured_fixture: bool = True,
    linearised: bool = True,
) -> dict[str, Path]:
    """Name the files that a bench is opened from, by what each is.

    Parameters
    ----------
    bench, scene
        As for `located`.
    measured_fixture, linearised
        Whether the bench file's fixture record and linearisation are among them.

    Raises
    ------
    InputError
        The bench file is missing or wrong.
    """
    is_own = scene is not None and Path(scene).is_file()
    found = {"the scene": Path(scene or "")} if is_own else {}
    if bench is None:
        return found
    file = load_bench_file(bench)
    named = {
        "the generator's dialect": file.generator.dialect,
        "the detector's dialect": file.detector.dialect,
        "its linearisation": file.detector.linearisation if linearised else "",
        "the fixture record": file.fixture.record if measured_fixture else "",
    }
    beside = {what: bench.parent / name for what, name in named.items() if name}
    return found | {"the bench file": bench} | beside


@contextmanager
def located(
    bench: Path | None, *, scene: str | None, seed: int, measured_fixture: bool = True
) -> Iterator[Located]:
    """Find the bench that the options name; nothing on it is opened yet.

    Parameters
    ----------
    bench
        The bench file; with a scene it may be left out.
    scene
        A simulated scene to measure on instead of instruments.
    seed
        The scene's seed.
    measured_fixture
        Whether the fixture record that the bench file names is used.

    Raises
    ------
    InputError
        Neither is given, or one of the files is wrong, or the fixture record is too
        old.
    """
    if bench is None and scene is None:
        raise InputError("say what is on the bench: --bench FILE (or --scene SCENE)")
    if scene is not None:
        scene_named(scene)  # a scene that is not there is said before its bench file
    path = bench if bench is not None else bundled_bench_file(scene or "")
    file = load_bench_file(path)
    if measured_fixture:
        file = with_fixture_record(file, folder=path.parent, now=datetime.now(tz=UTC))
    if scene is None:
        yield Located(
            file=file,
            folder=path.parent,
            manager=None,
            sleep=time.sleep,  # noqa: TID251 - here the clock is chosen
            clock=time.monotonic,
            lamp=Lamp(simulated=False),
        )
        return
    from ...drivers.link import refuse_unknown
    from ...sim import open_visa

    simulated = scene_built(scene, seed=seed)
    with closing(open_visa(simulated)) as manager:
        for table in (file.generator, file.detector):
            if not table.is_hand:
                refuse_unknown(manager, table.resource)
        yield Located(
            file=file,
            folder=path.parent,
            manager=manager,
            sleep=simulated.clock.sleep,
            clock=lambda: simulated.clock.now_s,
            simulated=simulated,
            lamp=Lamp(simulated=True),
        )


@contextmanager
def visa_of(
    visa: str, *, scene: str | None, seed: int
) -> Iterator[tuple["Manager", Callable[[float], None]]]:
    """Open a VISA by its name, or a scene's; with it comes how to wait.

    Raises
    ------
    InputError
        The scene is missing or wrong.
    TransportError
        There is no such VISA.
    """
    if scene is None:
        from ...drivers.link import open_visa as open_real

        with open_real(visa) as manager:
            yield manager, time.sleep  # noqa: TID251 - here the clock is chosen
        return
    simulated = scene_built(scene, seed=seed)
    from ...sim import open_visa

    with closing(open_visa(simulated)) as manager:
        yield manager, simulated.clock.sleep


@contextmanager
def measuring(
    place: Place, *, procedure: str, label: str = ""
) -> Iterator[tuple[Bench, Session]]:
    """Open a bench with everything a procedure is run with; leave its output off.

    Every reading is kept in a file and progress is shown, for the length of the block.

    Parameters
    ----------
    place
        Which bench, and where the readings go.
    procedure, label
        What is measured, and what the part is called.

    Raises
    ------
    InputError
        Neither bench nor scene is given, or one of the files is wrong.
    DriverError
        An instrument cannot be opened or does not answer.
    KeyboardInterrupt
        With a note on what is written of it: the document with what there is.
    """
    so_far = SoFar(procedure)
    try:
        with _measuring(place, procedure=procedure, label=label, so_far=so_far) as it:
            yield it
    except KeyboardInterrupt as error:
        so_far.hand_out(place.wanted, error=error)
        raise


@contextmanager
def _measuring(
    place: Place, *, procedure: str, label: str, so_far: SoFar
) -> Iterator[tuple[Bench, Session]]:
    stored = (
        {}
        if place.resume is None
        else _stored(place.resume, procedure=procedure, job=place.job)
    )
    with (
        located(
            place.bench,
            scene=place.scene,
            seed=place.seed,
            measured_fixture=place.measured_fixture,
        ) as found,
        ExitStack() as stack,
    ):
        show_caution()
        bench = stack.enter_context(
            found.opened(trace=place.trace, capacitor=_capacitor(found))
        )
        file = _readings_file(place, bench=bench, procedure=procedure, label=label)
        keep = stack.enter_context(kept(file))
        found.lamp.what = f"{procedure} {label}".rstrip()
        session = Session(
            label=label,
            begun=now_utc(),
            sink=Sinks([keep, so_far, found.lamp]),
            attendant=_attendant(place, found),
            stored=stored,
        )
        so_far.begin(bench, session)
        try:
            yield bench, session
        except (KeyboardInterrupt, DriverError) as error:
            if place.resumes and file.count:
                error.add_note(to_go_on(file.path))
            raise


def _attendant(place: Place, found: Located) -> Attendant:
    """Find who changes what is on the fixture, and who draws it first."""
    simulated = found.simulated
    does_it: Attendant = (
        PersonAttendant(found.ask, tell=talk, lamp=found.lamp, attached=place.attached)
        if simulated is None
        else SceneAttendant(simulated, tell=talk)
    )
    if place.hookups is None:
        return does_it
    return DrawingAttendant(does_it, folder=place.hookups, kind=found.file.fixture.kind)


def _capacitor(found: Located) -> SceneCapacitor | None:
    if found.simulated is None or found.file.capacitor is None:
        return None
    return SceneCapacitor(found.simulated)


def _stored(
    path: Path, *, procedure: str, job: Mapping[str, object]
) -> dict[str, Stored]:
    """Read what an interrupted measurement had; all but its last sweep was done.

    Raises
    ------
    InputError
        It was another measurement, or the file is not one's own.
    """
    line, asked = read_comments(path).get(ASKED_FOR), job_line(procedure, job)
    elsewhere = line is not None and refuse_another_job(line, asked=asked, path=path)
    steps, left_out = read_steps(path)
    if left_out:
        talk(f"The last line of {path} is cut short and was left out.")
    last = list(steps)[-1]
    return {
        step: Stored(readings, finished=step != last, ends_elsewhere=elsewhere)
        for step, readings in steps.items()
    }


def _readings_file(
    place: Place, *, bench: Bench, procedure: str, label: str
) -> ReadingsFile:
    """Begin a file for every reading, named after the part where none is named."""
    now = datetime.now(tz=UTC)
    readings = place.readings
    if readings is None:
        stem = re.sub(r"[^A-Za-z0-9_-]+", "-", label).strip("-")[:LONGEST_STEM]
        name = "-".join(
            part for part in (procedure, stem, f"{now:%Y%m%dT%H%M%S}") if part
        )
        readings = free_path(OUTPUT_FOLDER / f"{name}.csv")
    comments = {
        "procedure": procedure,
        "part": label,
        "begun": f"{now:%Y-%m-%dT%H:%M:%SZ}",
        **bench.identities,
        "fixture": bench.file.fixture.kind,
        ASKED_FOR: job_line(procedure, place.job),
    }
    return ReadingsFile(readings, comments=comments)
