"""Not one wrong reading on a bad link: every fault at 1 %, over real sockets.

Run with ``python benchmarks/faults.py [READINGS] [KIND ...]``; 10 000 readings of each
kind take about half an hour in all. For each kind of fault, on the generator's and on
the detector's link alike:

wrong
    readings accepted that are further from the same bench without faults than noise
    explains (see `Truth`);
unended
    runs that had to be stopped from outside;
left on
    outputs that were on after a run, asked past the links;
foreign
    runs that ended in an error that is not the package's own;
errors
    runs that ended in one of its own, their readings kept;
retaken
    readings that the driver threw away and took again.

The row ``all`` has the simulated instruments' own nine kinds at once, at a third of a
per cent each. ``reset COMMAND`` resets the connection at that command alone, the first
time in a run and at 1 % afterwards, as often before as after it is obeyed. ``second
driver`` is another connection to the generator, which sets frequency, level or output
before a message in a hundred. A careful
reading asks five questions more than a careless one (test_faults.py counts them).
The last column is a driver without care on the same bench: it asks again when an
answer does not come or is no number, three times at most, and believes the rest.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: one core

import contextlib
import signal
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

import numpy as np
import pyvisa
from wires import RESETS, Wire, cutting, meddling, straight_to

from halfpower.analysis import HalfpowerError, Reading, Setting
from halfpower.cli.at_bench import bundled_bench_file
from halfpower.drivers import Bench, BenchFile, load_bench_file, open_bench
from halfpower.sim import SimulatedBench, load_scene, open_visa, serve

KINDS = (
    "silence",
    "late",
    "half",
    "garbage",
    "overload",
    "terminator",
    "error",
    "reset",
    "closed",
)
SECOND = "second driver"
SCENE = "kit-coil"
READINGS, RUN = 10_000, 1000
PROBABILITY = 0.01
ALL_SHARE = 3.0  # all nine together at a third of a per cent each
TIMEOUT_S = 0.04
LATE_S = 0.1  # longer than an answer is waited for, shorter than a link's patience
REAL_FROM_S = 0.05  # what the scene's clock really waits
SETTLE_S = 1e-3
FREQUENCIES, REFERENCES = 24, 100
MOST_RUN_S = 300.0
SIGMAS = 8.0
# The scope of the scene, for the bound: noise at the input and in divisions, samples
# in a record, codes in a division.
RESOLUTION_HZ = 0.01
NOISE_V, NOISE_DIVISIONS, SAMPLES, CODES, DIVISIONS = 0.2e-3, 0.02, 256, 32, 8


class FaultClock:
    """The scene's time: it jumps, but what is as long as a late answer it waits for."""

    def __init__(self) -> None:
        self._now_s = 0.0
        self._lock = threading.Lock()

    @property
    def now_s(self) -> float:
        """Seconds since it was made."""
        return self._now_s

    def sleep(self, seconds: float) -> None:
        """Let time pass."""
        if seconds >= REAL_FROM_S:
            threading.Event().wait(seconds)
        with self._lock:
            self._now_s += seconds


def scene_with(
    folder: Path, kinds: Sequence[str], *, probability: float, scene: str = SCENE
) -> Path:
    """Write a bundled scene with faults on both instruments."""
    from halfpower.sim import scene_files

    text = (Path(scene_files.__file__).parent / "scenes" / f"{scene}.toml").read_text(
        encoding="utf-8"
    )
    for kind in (kind for kind in kinds if kind in KINDS):
        for instrument in ("generator", "detector"):
            text += (
                f'\n[[fault]]\ninstrument = "{instrument}"\nkind = "{kind}"\n'
                f"probability = {probability!r}\n"
            )
            if kind == "late":
                text += f"delay_s = {LATE_S!r}\n"
    path = folder / "scene.toml"
    path.write_text(text, encoding="utf-8")
    return path


@contextlib.contextmanager
def reached(
    bench: SimulatedBench, kinds: Sequence[str], seed: int, probability: float
) -> Iterator[Mapping[str, str]]:
    """Serve a bench; its resources, behind a wire where the kind needs one."""
    with serve(bench) as served, contextlib.ExitStack() as wires:
        named = {k: served.resources[k] for k in ("generator", "detector")}
        (kind,) = kinds[:1]
        if kind not in KINDS:
            rng = np.random.default_rng(seed)
            tell = cutting(kind, rng, probability)
            if kind == SECOND:
                port = int(named["generator"].split("::")[2])
                far = wires.enter_context(straight_to(port))
                tell = meddling(far, rng, probability)
            for role, resource in named.items():
                wire = Wire(resource, tell)
                wires.callback(wire.close)
                named[role] = wire.resource
        yield named


class Truth:
    """What a bench reads at a few frequencies when nothing goes wrong.

    The mean of a hundred readings at each, on the same seed in process, without
    faults. A single reading may differ from it by eight standard deviations of the
    scope's noise over its record (0.2 mV and 0.02 divisions a sample, 256 samples),
    and by half a step of its converter, on the range it was taken on. In 10 000
    Gaussian readings eight standard deviations are passed with a probability of 1e-11;
    a reading without output, at another frequency of the list, of another level unit,
    or cut off by a digit is off by more than that.
    """

    def __init__(self, seed: int, *, references: int = REFERENCES) -> None:
        bench = load_scene(SCENE).build(seed=seed)
        f0_hz, q = bench.modes[0].frequency_hz, bench.modes[0].q
        steps = np.linspace(-4.0, 4.0, FREQUENCIES)
        self.frequencies_hz = np.round(f0_hz * (1.0 + steps / (2.0 * q)), 2)
        manager = open_visa(bench)
        with (
            open_bench(
                bench_file({}),
                manager=manager,
                sleep=bench.clock.sleep,
                clock=lambda: bench.clock.now_s,
            ) as opened,
            opened.driven(),
        ):
            self._mean_v = [
                float(np.mean([self._read(opened, f) for _ in range(references)]))
                for f in self.frequencies_hz
            ]
        manager.close()

    def _read(self, bench: Bench, frequency_hz: float) -> float:
        setting = Setting(frequency_hz=float(frequency_hz), settle_s=SETTLE_S)
        return bench.read(setting).amplitude_v

    def is_right(self, index: int, reading: Reading) -> bool:
        """Tell whether a reading agrees."""
        division_v = (reading.range_v or 0.0) * 2.0 * 2.0**0.5 / DIVISIONS
        noise_v = np.hypot(NOISE_V, NOISE_DIVISIONS * division_v) / SAMPLES**0.5
        bound_v = SIGMAS * noise_v + 0.5 * division_v / CODES
        off_v = abs(reading.amplitude_v - self._mean_v[index])
        off_hz = abs(reading.frequency_hz - self.frequencies_hz[index])
        return bool(off_v <= bound_v and off_hz <= RESOLUTION_HZ)


def bench_file(resources: dict[str, str]) -> BenchFile:
    """Give the scene's bench file, at these resources, with a short timeout."""
    file = load_bench_file(bundled_bench_file(SCENE))
    changed = {
        role: getattr(file, role).model_copy(
            update={"resource": resource, "timeout_s": TIMEOUT_S}
        )
        for role, resource in resources.items()
    }
    return file.model_copy(update=changed)


@dataclass(slots=True)
class Tally:
    """What came of the runs under one kind of fault."""

    readings: int = 0
    wrong: int = 0
    unended: int = 0
    left_on: int = 0
    foreign: int = 0
    errors: int = 0
    retaken: int = 0
    runs: int = 0
    seconds: float = 0.0
    said: list[str] = field(default_factory=list)


class NotEndedError(BaseException):
    """A run went on beyond its time; nothing catches it on the way out."""


@contextlib.contextmanager
def stopped_after(seconds: float) -> Iterator[None]:
    """Stop a block from outside."""

    def stop(number: int, frame: FrameType | None) -> None:
        del number, frame
        raise NotEndedError

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def is_on(bench: SimulatedBench) -> bool:
    """Ask the generator itself, past its links and their faults."""
    return bench.instruments["generator"].execute(b"OUTP?") != b"0"


def run(
    scene: Path,
    kinds: Sequence[str],
    seed: int,
    readings: int,
    *,
    probability: float,
    tally: Tally,
    truth: Truth,
) -> None:
    """Take readings on one bench until they are done or something gives up."""
    bench = load_scene(str(scene)).build(seed=seed, clock=FaultClock())
    order = np.random.default_rng(seed).integers(0, FREQUENCIES, size=readings)
    tally.runs += 1
    with reached(bench, kinds, seed, probability) as resources:
        file = bench_file(dict(resources))
        try:
            with (
                stopped_after(MOST_RUN_S),
                open_bench(
                    file, sleep=bench.clock.sleep, clock=lambda: bench.clock.now_s
                ) as opened,
            ):
                try:
                    take(opened, order, truth, tally)
                finally:
                    tally.retaken += opened.retaken
        except HalfpowerError as error:
            tally.errors += 1
            tally.said.append(f"{type(error).__name__}: {error}")
        except NotEndedError:
            tally.unended += 1
        except Exception as error:  # noqa: BLE001 - that there is none is the point
            tally.foreign += 1
            tally.said.append(f"FOREIGN {error!r}")
        tally.left_on += is_on(bench)


def take(bench: Bench, order: Sequence[int], truth: Truth, tally: Tally) -> None:
    """Take readings at these frequencies and judge them."""
    with bench.driven():
        for index in order:
            frequency_hz = float(truth.frequencies_hz[index])
            reading = bench.read(Setting(frequency_hz=frequency_hz, settle_s=SETTLE_S))
            tally.readings += 1
            tally.wrong += not truth.is_right(index, reading)


def under(
    kinds: Sequence[str],
    readings: int,
    *,
    probability: float,
    references: int = REFERENCES,
) -> Tally:
    """Take so many readings under these faults, in as many runs as it needs."""
    tally = Tally()
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        scene = scene_with(Path(folder), kinds, probability=probability)
        seed = 0
        while tally.readings < readings and tally.runs < 10 + 10 * readings // RUN:
            seed += 1
            wanted = min(RUN, readings - tally.readings)
            run(
                scene,
                kinds,
                seed,
                wanted,
                probability=probability,
                tally=tally,
                truth=Truth(seed, references=references),
            )
    tally.seconds = time.perf_counter() - start
    return tally


# A driver without care -------------------------------------------------------------


def careless(
    kinds: Sequence[str],
    readings: int,
    *,
    probability: float,
    references: int = REFERENCES,
) -> int:
    """Count the wrong readings of a driver that asks again and believes the rest."""
    seed, wrong = 1, 0
    truth = Truth(seed, references=references)
    with tempfile.TemporaryDirectory() as folder:
        scene = scene_with(Path(folder), kinds, probability=probability)
        bench = load_scene(str(scene)).build(seed=seed, clock=FaultClock())
        order = np.random.default_rng(seed).integers(0, FREQUENCIES, size=readings)
        manager = pyvisa.ResourceManager("@py")
        with reached(bench, kinds, seed, probability) as names:
            generator = Careless(manager, names["generator"])
            detector = Careless(manager, names["detector"])
            for command in ("OUTP:LOAD 50", "VOLT:UNIT VRMS", "VOLT 0.5", "OUTP ON"):
                generator.write(command)
            detector.write("CHAN1:SCAL 0.2")
            for index in order:
                generator.write(f"FREQ {truth.frequencies_hz[index]:.2f}")
                actual_hz = generator.number("FREQ?")
                bench.clock.sleep(9e-3)
                volts = detector.number("MEAS:VRMS?")
                if actual_hz is None or volts is None or volts > 1e30:  # noqa: PLR2004 - an overload
                    continue  # it noticed
                reading = Reading(
                    frequency_hz=actual_hz,
                    amplitude_v=abs(volts),
                    range_v=0.2 * DIVISIONS / 8.0**0.5,
                )
                wrong += not truth.is_right(index, reading)
        manager.close()
    return wrong


class Careless:
    """A link that repeats a query and keeps no account of late answers."""

    def __init__(self, manager: pyvisa.ResourceManager, resource: str) -> None:
        self._manager, self._name = manager, resource
        self._open()

    def _open(self) -> None:
        self._resource = self._manager.open_resource(
            self._name, read_termination="\n", write_termination="\n"
        )
        self._resource.timeout = TIMEOUT_S * 1e3
        session = self._manager.visalib.sessions[self._resource.session]  # type: ignore[attr-defined] # pyvisa-py's own
        session.interface.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def write(self, command: str) -> None:
        """Send a command; open the link again where it is gone."""
        try:
            self._resource.write(command)  # type: ignore[attr-defined] # message-based
        except (pyvisa.Error, OSError):
            self._open()

    def number(self, command: str) -> float | None:
        """Ask for a number, three times at most."""
        for _ in range(3):
            try:
                return float(self._resource.query(command))  # type: ignore[attr-defined] # message-based
            except (pyvisa.Error, ValueError):
                continue
            except OSError:
                self._open()
        return None


def main() -> None:
    """Print the table."""
    arguments = sys.argv[1:]
    readings = int(arguments.pop(0)) if arguments else READINGS
    resets = [f"reset {command}" for command in RESETS]
    chosen = arguments or [*KINDS, "all", *resets, SECOND]
    names = ("readings", "wrong", "unended", "left on", "foreign", "errors", "retaken")
    print(f"{'fault, 1 %':48}" + "".join(f"{n:>9}" for n in names), end="")
    print(f"{'s':>8}{'careless: wrong':>18}")
    for kind in chosen:
        kinds = KINDS if kind == "all" else (kind,)
        probability = PROBABILITY / (ALL_SHARE if kind == "all" else 1.0)
        t = under(kinds, readings, probability=probability)
        values = (
            *(t.readings, t.wrong, t.unended, t.left_on, t.foreign, t.errors),
            t.retaken,
        )
        is_known = not kind.startswith("reset ")  # it sends its own few commands
        some = min(readings, 2000) if is_known else 0
        without = careless(kinds, some, probability=probability) if some else 0
        print(f"{kind:48}" + "".join(f"{v:9d}" for v in values), end="")
        print(f"{t.seconds:8.0f}{without:12d} of {some}", flush=True)
        for sentence in dict.fromkeys(t.said):
            print(f"    {sentence[:150]}")


if __name__ == "__main__":
    main()
