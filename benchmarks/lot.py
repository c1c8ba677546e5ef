"""Lots on the simulated bag of chokes: speed, truth against verdict, kill -9.

    python benchmarks/lot.py speed [--parts N] [--seed S]
    python benchmarks/lot.py memory [--parts N] [--seed S]
    python benchmarks/lot.py truth [--seeds N] [--seed FIRST] [--parts N]
    python benchmarks/lot.py kill [N] [--seed S] [--records URL]
           [--programs P] [--minutes M]

``speed``: readings a part with and without a prior, parts a minute on this machine
(what the simulated instruments cost included), and what a part costs over its
measurement: deciding, keeping (one SQLite transaction on disk) and showing.
``memory``: one long lot kept in a base (5000 parts are worth while): the memory that
the process holds (Linux) at every fiftieth of it, its slope in bytes a part over the
later half, and the processor's time of a part in the first and the last tenth.
``truth``: every verdict against what the scene drew; no defective part may be accepted.
``kill``: a lot's processes killed at random moments, run again until the lot is done;
every part that was shown is in the base, none twice, no more than the lot's size, and
the chain verifies. ``--records server`` is a PostgreSQL server of the script's own,
flushing at every commit; there several programs, a station each, work at one lot.
"""

import argparse
import contextlib
import gc
import math
import os
import random
import resource
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from uuid import uuid4

import numpy as np
from rich.console import Console

from halfpower.analysis.lots import Verdict
from halfpower.cli.at_bench import SceneAttendant, bundled_bench_file, located
from halfpower.cli.lots.desk import SceneDesk
from halfpower.cli.lots.display import ShowLot
from halfpower.cli.lots.keeping import BaseKeeper, circumstances_of, resumed
from halfpower.drivers import Bench, open_bench
from halfpower.records import open_base
from halfpower.records.base import PartRow
from halfpower.sim import SimulatedBench
from halfpower.sweeps import LotRun
from halfpower.sweeps.lots import (
    CheckOutcome,
    LotFile,
    Outcome,
    PartBench,
    PriorBook,
    Standing,
    parse_lot_text,
)
from halfpower.sweeps.lots.measure import Measured

sys.path.append(str(Path(__file__).parents[1] / "tests" / "records" / "base"))

from postgres_server import postgres_programs, running_postgres

BUNDLED = Path(__file__).parents[1] / "cli" / "lots" / "choke-lot.toml"
KILLED_SIZE = 40
SHARE_MEASURING, LONGEST_S = 0.8, 2.0  # of the kills; from then to the kill
AT = "2001-02-03T04:05:06Z"
PROGRAM = (
    "from halfpower.cli.process import run_process;"
    "from halfpower.cli.commands.lot import app; run_process(app)"
)


class Forgetful(PriorBook):
    """A book that remembers nothing: the measurement without a prior."""

    def add(self, resonant_frequency_hz: float, loaded_q: float) -> None:
        """Let it go."""


@dataclass(slots=True, kw_only=True)
class Timed(PartBench):
    """Adds up what the measurement itself takes."""

    spent_s: float = 0.0

    def measure(self, label: str, *, leading: bool = True) -> Measured:
        """Measure, and take the time."""
        begun_s = time.perf_counter()
        try:
            return PartBench.measure(self, label, leading=leading)
        finally:
            self.spent_s += time.perf_counter() - begun_s


@dataclass(slots=True, kw_only=True)
class Watched:
    """A keeper that tells, every so many parts, of the time and the memory held."""

    keeper: BaseKeeper
    every: int
    seen: list[tuple[int, float, int]] = field(default_factory=list)

    def keep(self, outcome: Outcome) -> int:
        """Keep it, and look."""
        position = self.keeper.keep(outcome)
        if outcome.part.position % self.every == 0:
            gc.collect()
            now_s, held = time.process_time(), resident_bytes()
            self.seen.append((outcome.part.position, now_s, held))
            print(f"{outcome.part.position:8d} parts {held / 1e6:9.1f} MB", flush=True)
        return position

    def keep_check(self, outcome: CheckOutcome) -> int:
        """Keep it."""
        return self.keeper.keep_check(outcome)


def resident_bytes() -> int:
    """Give what this process holds of the memory (proc(5), statm)."""
    pages = Path("/proc/self/statm").read_text("ascii").split()[1]
    return int(pages) * resource.getpagesize()


@dataclass(slots=True, kw_only=True)
class InMemory:
    """A keeper for what is only to be counted, with the truth beside it."""

    simulated: SimulatedBench
    found: list[tuple[Outcome, str]] = field(default_factory=list)

    def claim(self, standing: Standing) -> int:
        """Give the next; nobody else is there."""
        return next(standing.open_positions())

    def keep(self, outcome: Outcome) -> int:
        """Remember it with what is really the matter with the part."""
        self.found.append((outcome, self.simulated.defect or "sound"))
        return outcome.part.position

    def keep_check(self, outcome: CheckOutcome) -> int:
        """Let it go."""
        del outcome
        return 0


def lot_of(parts: int) -> LotFile:
    """Give the bundled lot with so many parts."""
    text = BUNDLED.read_text("utf-8").replace("size = 200", f"size = {parts}")
    return parse_lot_text(text, str(BUNDLED))


@contextlib.contextmanager
def opened(seed: int, *, parts: int) -> Iterator[tuple[Bench, SimulatedBench]]:
    """Open the scene's bench, so many parts in its bag."""
    scenes = Path(__file__).parents[1] / "sim" / "scenes"
    text = (scenes / "choke-lot.toml").read_text(encoding="utf-8")
    text = text.replace("\ncount = 200\n", f"\ncount = {parts}\n")
    with tempfile.TemporaryDirectory() as folder:
        scene = Path(folder) / "choke-lot.toml"
        scene.write_text(text, encoding="utf-8")
        bench_file = bundled_bench_file("choke-lot")
        with located(bench_file, scene=str(scene), seed=seed) as found:
            simulated = found.simulated
            if simulated is None:
                raise RuntimeError("a scene has a simulated bench")
            with open_bench(
                found.file,
                folder=found.folder,
                manager=found.manager,
                sleep=found.sleep,
                clock=found.clock,
            ) as bench:
                yield bench, simulated


def run_in_memory(
    seed: int, *, parts: int, book: PriorBook
) -> list[tuple[Outcome, str]]:
    """Run a lot without a base; return outcomes with the truth."""
    lot = lot_of(parts)
    with opened(seed, parts=parts) as (bench, simulated):
        desk = desk_of(lot, simulated)
        keeper = InMemory(simulated=simulated)
        LotRun(
            lot,
            on_bench=PartBench(
                bench=bench, lot=lot, attendant=desk, now=lambda: AT, book=book
            ),
            desk=desk,
            keeper=keeper,
            display=silent(),
        ).run()
    return keeper.found


def desk_of(lot: LotFile, simulated: SimulatedBench) -> SceneDesk:
    """Give the hand at the simulated bench."""
    attendant = SceneAttendant(simulated, tell=lambda _: None)
    return SceneDesk(lot, simulated, fitted=attendant.arrange)


def silent() -> ShowLot:
    """Give a display that nobody sees, and that keeps nothing."""
    nowhere = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - for good
    return ShowLot(bell=False, clock=time.perf_counter, console=Console(file=nowhere))


def speed(*, parts: int, seed: int) -> None:
    """Print readings a part, parts a minute, and the cost of a part."""
    for name, book in (("without", Forgetful()), ("with", PriorBook())):
        begun_s = time.perf_counter()
        found = run_in_memory(seed, parts=parts, book=book)
        took_s = time.perf_counter() - begun_s
        taken = [sum(map(len, one.readings.values())) for one, _ in found]
        print(
            f"{name} a prior: {statistics.mean(taken):.1f} readings a part (median "
            f"{statistics.median(taken):g}, most {max(taken)}), "
            f"{60.0 * parts / took_s:.0f} parts a minute"
        )
    whole_s, spent_s, _ = _kept_in_a_base(parts=parts, seed=seed, every=parts + 1)
    over_ms = 1e3 * (whole_s - spent_s) / parts
    print(f"cost of a part over its measurement: {over_ms:.1f} ms (SQLite, on disk)")


def memory(*, parts: int, seed: int) -> None:
    """Print what a long lot holds of the memory, and whether parts get slower."""
    every = max(parts // 50, 1)
    _, _, watched = _kept_in_a_base(parts=parts, seed=seed, every=every)
    position, at_s, held = (np.array(one) for one in zip(*watched.seen, strict=True))
    later = position > parts // 2
    slope = np.polyfit(position[later], held[later], 1)[0]
    print(f"slope over the later half: {slope:+.0f} bytes a part")
    tenth = max(position.size // 10, 1)
    first, last = (
        1e3 * (at_s[b] - at_s[a]) / (position[b] - position[a])
        for a, b in ((0, tenth), (position.size - 1 - tenth, position.size - 1))
    )
    print(f"a part takes {first:.1f} ms of the processor's time in the first tenth, ")
    print(f"{last:.1f} ms in the last")


def _kept_in_a_base(
    *, parts: int, seed: int, every: int
) -> tuple[float, float, Watched]:
    lot = lot_of(parts)
    with (
        tempfile.TemporaryDirectory() as folder,
        opened(seed, parts=parts) as (bench, simulated),
        open_base(Path(folder) / "base") as base,
    ):
        kept = resumed(base, lot, station="benchmark", begun=AT)
        desk = desk_of(lot, simulated)
        on_bench = Timed(
            bench=bench, lot=lot, attendant=desk, now=lambda: AT, book=kept.book
        )
        keeper = BaseKeeper(
            base,
            lot,
            station="benchmark",
            circumstances=circumstances_of(bench),
            uuid=lambda: str(uuid4()),
            take=lambda positions: next(iter(positions)),
        )
        watched = Watched(keeper=keeper, every=every)
        run = LotRun(
            lot,
            on_bench=on_bench,
            desk=desk,
            keeper=watched,
            display=silent(),
            checks=kept.checks,
        )
        begun_s = time.perf_counter()
        run.run()
        return time.perf_counter() - begun_s, on_bench.spent_s, watched


def truth(*, seeds: range, parts: int) -> None:
    """Print verdicts against what the scene drew."""
    counted: Counter[tuple[str, str]] = Counter()
    conforming: Counter[str] = Counter()
    for seed in seeds:
        for outcome, defect in run_in_memory(seed, parts=parts, book=PriorBook()):
            counted[defect, outcome.verdict.value] += 1
            if defect == "sound" and outcome.verdict is not Verdict.ACCEPTED:
                conforming.update(reason.code for reason in outcome.reasons)
    print_table(counted)
    wrong = sum(n for (d, v), n in counted.items() if d != "sound" and v == "accepted")
    print(f"defective parts accepted: {wrong}")
    print("sound parts not accepted, by reason:", dict(conforming.most_common()))


def print_table(counted: Mapping[tuple[str, str], int]) -> None:
    """Print counts of (truth, verdict)."""
    verdicts = ["accepted", "undecided", "rejected", "unmeasured"]
    print(f"{'truth':14}" + "".join(f"{one:>12}" for one in verdicts))
    for defect in sorted({one for one, _ in counted}):
        row = "".join(f"{counted.get((defect, one), 0):12d}" for one in verdicts)
        print(f"{defect:14}{row}")


@dataclass(slots=True, kw_only=True)
class Killed:
    """What came of killing a lot's programs."""

    kills: int = 0
    ended: Counter[int] = field(default_factory=Counter)
    measuring: int = 0
    shown: int = 0
    unshown: int = 0
    lost: int = 0
    doubled: int = 0
    over: int = 0
    faults: list[str] = field(default_factory=list)


def kill(
    n: int, *, seed: int, where: str, programs: int, minutes: float = math.inf
) -> int:
    """Kill a lot's programs n times; return how often something was wrong."""
    rng = random.Random(seed)  # noqa: S311 - moments, no secret
    found, lots, begun_s = Killed(), 0, time.perf_counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        where = where or str(folder / "base")

        def goes_on() -> bool:
            spent_s = time.perf_counter() - begun_s
            return found.kills < n and spent_s < 60.0 * minutes

        while goes_on():
            lots += 1
            (folder / "lot.toml").write_text(
                BUNDLED.read_text("utf-8")
                .replace("size = 200", f"size = {KILLED_SIZE}")
                .replace("every = 50", "every = 15")
                .replace("bag-of-chokes", f"bag {lots}"),
                encoding="utf-8",
            )
            while goes_on() and len(_parts(folder, where)) < KILLED_SIZE:
                run = [_Program(folder, rng, station=one) for one in range(programs)]
                _killed_once(run, folder, found, seed=lots, where=where)
    print(
        f"{found.kills} kills in {time.perf_counter() - begun_s:.0f} s, {lots} lots of "
        f"{KILLED_SIZE}, {programs} program(s) at a lot; {found.measuring} runs got as "
        f"far as a part; ended by themselves, by status: {dict(found.ended)}"
    )
    print(
        f"parts shown {found.shown}, of these lost {found.lost}; stored, killed before "
        f"it was shown {found.unshown}; doubled {found.doubled}; over the lot's size "
        f"{found.over}; other faults {len(found.faults)}"
    )
    for fault in found.faults:
        print(fault)
    return found.lost + found.doubled + found.over + len(found.faults)


class _Program(threading.Thread):
    """One run of a lot at a station, killed at a moment of its own."""

    def __init__(self, folder: Path, rng: random.Random, *, station: int) -> None:
        super().__init__()
        self.said = folder / f"said {station}"
        self.status = 0
        # Most moments are while parts are being measured, the rest anywhere.
        self._measuring = rng.random() < SHARE_MEASURING
        self._until_s = rng.uniform(0.0, LONGEST_S)
        self._station = f"station {station}"

    def command(self, seed: int, where: str) -> "_Program":
        """Take the command, and begin."""
        self._command = [
            *(sys.executable, "-c", PROGRAM, "run", "lot.toml"),
            *("--scene", "choke-lot", "--seed", str(seed), "--records", where),
            *("--station", self._station),
        ]
        self.start()
        return self

    def run(self) -> None:
        """Run it, and kill it."""
        with self.said.open("w") as file:
            process = subprocess.Popen(  # noqa: S603 - our own program
                self._command,
                cwd=self.said.parent,
                stdout=subprocess.DEVNULL,
                stderr=file,
                env=os.environ | {"OMP_NUM_THREADS": "1", "COLUMNS": "200"},
            )
            while self._measuring and process.poll() is None and not self.shown():
                time.sleep(0.01)  # noqa: TID251 - another process
            try:
                process.wait(timeout=self._until_s)
            except subprocess.TimeoutExpired:
                process.send_signal(signal.SIGKILL)
                process.wait()
        self.status = process.returncode

    def shown(self) -> list[str]:
        """Give the labels that it has shown."""
        mark = f"/{KILLED_SIZE}  L"
        lines = self.said.read_text("utf-8").splitlines()
        return [line.split()[1] for line in lines if mark in line]


def _parts(folder: Path, where: str) -> list[PartRow]:
    """Give the parts in the base of the newest lot, all attempts."""
    if "://" not in where and not Path(where).exists():
        return []
    with open_base(where) as base:
        wanted = (folder / "lot.toml").read_text("utf-8")
        mine = [one.name for one in base.lots() if one.file_text == wanted]
        return list(base.parts(mine[0], all_attempts=True)) if mine else []


def _killed_once(
    programs: list[_Program], folder: Path, found: Killed, *, seed: int, where: str
) -> None:
    """Run, kill, and look at what is left."""
    before = {one.label for one in _parts(folder, where)}
    for one in [one.command(seed, where) for one in programs]:
        one.join()
        killed = one.status == -signal.SIGKILL
        found.kills += killed
        found.ended.update(() if killed else (one.status,))
        found.measuring += bool(one.shown())
    after = _parts(folder, where)
    shown = [label for one in programs for label in one.shown()]
    labels = [one.label for one in after]
    kept = set(labels)
    found.shown += len(shown)
    found.lost += len({*shown, *before} - kept)
    found.unshown += len(kept - before - set(shown))
    found.doubled += len(labels) - len(kept) + len(shown) - len(set(shown))
    found.over += sum(one.position > KILLED_SIZE for one in after)
    if len(kept - before) > len(set(shown)) + len(programs):
        found.faults.append(f"lot {seed}: more was stored than was in hand")
    if any(one.label != f"L{one.position:03}" for one in after):
        found.faults.append(f"lot {seed}: labels {labels}")
    if not any(one.status == -signal.SIGKILL for one in programs) and len(kept) < (
        KILLED_SIZE
    ):
        found.faults.append(f"lot {seed}: ended with {len(kept)} parts")
    if Path(where).exists() or "://" in where:
        with open_base(where) as base:
            finding = base.verify().finding
        found.faults += [f"lot {seed}: {finding}"] if finding else []


def main() -> int:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=("speed", "memory", "truth", "kill"))
    parser.add_argument("n", nargs="?", type=int, default=20)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--parts", type=int, default=200)
    parser.add_argument("--records", default="", help="a base's URL, or server")
    parser.add_argument("--minutes", type=float, default=math.inf, help="at most")
    parser.add_argument("--programs", type=int, default=1, help="at one lot, for kill")
    given = parser.parse_args()
    if given.what == "speed":
        speed(parts=given.parts, seed=given.seed)
    elif given.what == "memory":
        memory(parts=given.parts, seed=given.seed)
    elif given.what == "truth":
        truth(seeds=range(given.seed, given.seed + given.seeds), parts=given.parts)
    else:
        with ExitStack() as stack:
            where = given.records
            if where == "server" and (programs := postgres_programs()) is not None:
                server = stack.enter_context(running_postgres(programs, durable=True))
                where = server.format("postgres")
            return bool(
                kill(
                    given.n,
                    seed=given.seed,
                    where=where,
                    programs=given.programs,
                    minutes=given.minutes,
                )
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
