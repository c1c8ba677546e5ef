r"""Stopped at any moment, the output is off and the readings are kept.

Run with ``python benchmarks/interruptions.py [sweep | hand | lot] [COUNT]``: so many
measurements (200), each a process of its own, each stopped by SIGINT, SIGTERM, SIGHUP
or SIGQUIT in turn: every other one at a random moment from its start on, the rest at
one from its first driving on. Three seconds each.

sweep
    on a simulated bench over TCP;
hand
    by a scripted person at a pseudo-terminal, who sets, switches and reads as they are
    told, and types Ctrl-C and Ctrl-\ (the other two signals are sent);
lot
    one part after the other on a simulated bench over TCP, kept in a base.

left on
    outputs that were on after the process had gone; by hand, that the person was told
    to switch on and not told to switch off;
lost
    readings (of a lot: parts) that were announced as kept and are not in the file, and
    those in the file that were not counted; by hand also what was typed (but for the
    line that was just being typed) and is not in the file;
broken
    files that are not whole: a cut line, a base whose checksums do not hold;
other
    endings that are neither 130 nor, for a process whose Python had not come to its
    first line yet (nothing is driven by then), the signal's own, nor 0 for one that
    was done.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: one core

import contextlib
import pty
import random
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from halfpower.cli.at_bench import bundled_bench_file
from halfpower.records import open_base
from halfpower.sim import RealClock, ServedBench, SimulatedBench, load_scene, serve

COUNT, SEED = 200, 1
# From a process's start, or first driving, to its signal: some readings, some parts.
LONGEST_S = {"sweep": 2.5, "hand": 2.5, "lot": 6.0}
PATIENCE_S = 60.0
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)
TYPED = {signal.SIGINT: b"\x03", signal.SIGQUIT: b"\x1c"}  # at a terminal
INTERRUPTED = 130
SWEEP = (
    *("sweep", "--attached", "--bench", "bench.toml", "--from", "4MHz"),
    *("--to", "10MHz", "--target", "0.0001%", "--most-readings", "5000", "--readings"),
)
LOT = """\
[lot]
name = "invented {number}"
procedure = "coil"
size = 500
label = "L{{number:03}}"
[measure]
from = "700kHz"
to = "2.2MHz"
capacitor = "470pF +- 1%"
[limit.inductance]
nominal = "33uH"
tolerance = "10%"
"""


@dataclass(slots=True)
class Endings:
    """What came of them."""

    stopped: int = 0
    while_driving: int = 0
    early: int = 0
    kept: int = 0
    left_on: int = 0
    lost: int = 0
    broken: int = 0
    other: int = 0
    said: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How one ended."""

    status: int
    said: str
    is_on: bool
    was_on: bool
    typed: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """When a signal comes, which, and to which of the measurements."""

    number: int
    after_s: float
    driving: bool
    signal: signal.Signals

    def wait(self, is_there: Callable[[], bool]) -> None:
        """Wait for it; `is_there` says that it drives, or has gone."""
        limit_s = time.monotonic() + PATIENCE_S
        while self.driving and not is_there() and time.monotonic() < limit_s:
            time.sleep(0.01)  # noqa: TID251 - another process
        time.sleep(self.after_s)  # noqa: TID251 - another process


Run = Callable[[Moment], Ended]


def command(*words: str) -> list[str]:
    """Write our own command line."""
    return [sys.executable, "-m", "halfpower.cli", *words]


# Over TCP ---------------------------------------------------------------------------


def served_file(
    folder: Path, bench: SimulatedBench, served: ServedBench, *, scene: str
) -> None:
    """Write the scene's bench file for the served instruments."""
    text = bundled_bench_file(scene).read_text(encoding="utf-8")
    for role, resource in served.resources.items():
        text = text.replace(bench.resources[role], resource)
    (folder / "bench.toml").write_text(text, encoding="utf-8")


@contextlib.contextmanager
def on_served(
    folder: Path, *, scene: str, words: Callable[[int], list[str]]
) -> "Iterator[Run]":
    """Serve a scene; give what runs a command on it and stops it."""
    bench = load_scene(scene).build(seed=SEED, clock=RealClock())
    generator = bench.instruments["generator"]

    def run(moment: Moment) -> Ended:
        process = subprocess.Popen(  # noqa: S603 - our own command line
            command(*words(moment.number)),
            cwd=folder,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        moment.wait(
            lambda: process.poll() is not None or generator.execute(b"OUTP?") == b"1"
        )
        process.send_signal(moment.signal)
        was_on = generator.execute(b"OUTP?") == b"1"
        _, said = process.communicate(timeout=PATIENCE_S)
        is_on = generator.execute(b"OUTP?") != b"0"
        return Ended(status=process.returncode, said=said, is_on=is_on, was_on=was_on)

    with serve(bench) as served:
        served_file(folder, bench, served, scene=scene)
        yield run


# By hand ----------------------------------------------------------------------------


class Person:
    """Reads the terminal and does what it says, at once.

    Parameters
    ----------
    terminal
        The descriptor of the pseudo-terminal.
    """

    def __init__(self, terminal: int) -> None:
        self._terminal = terminal
        self.said = ""
        self.is_on = False
        self.typed = 0
        self._frequency_hz = 1e6
        self._heard = threading.Thread(target=self._listen, daemon=True)
        self._heard.start()

    def _listen(self) -> None:
        answered = 0
        with contextlib.suppress(OSError):  # its other end is closed
            while text := os.read(self._terminal, 4096):
                self.said += text.decode(errors="replace")
                new = self.said[answered:]
                self.is_on = self.is_on and "OUTPUT OFF NOW" not in new
                if new.rstrip().endswith(":"):
                    answered = len(self.said)
                    os.write(self._terminal, f"{self._answer(new)}\n".encode())

    def _answer(self, question: str) -> str:
        if wanted := re.search(r"generator to (\S+) MHz", question):
            self._frequency_hz = 1e6 * float(wanted[1])
        if "output on" in question:
            self.is_on = True
        if "Read the detector" not in question:
            return ""
        self.typed += 1
        x = self._frequency_hz / 6.9e6
        return f"{300.0 * x / (1.0 + (168.0 * (x - 1.0 / x)) ** 2) ** 0.5:.4g} mV"

    def leaves(self) -> None:
        """Read to the end."""
        self._heard.join(PATIENCE_S)


@contextlib.contextmanager
def by_hand(folder: Path) -> "Iterator[Run]":
    """Seat a person at the bench; give what runs a sweep and stops it."""
    text = bundled_bench_file("kit-coil").read_text(encoding="utf-8")
    text = re.sub(r'resource = ".*"\ndialect = ".*"', 'resource = "hand"', text)
    (folder / "bench.toml").write_text(text, encoding="utf-8")

    def run(moment: Moment) -> Ended:
        process, terminal = pty.fork()
        if process == 0:
            os.chdir(folder)
            line = command(*SWEEP, f"kept-{moment.number}.csv")
            os.execv(line[0], line)  # noqa: S606 - our own command line
        person = Person(terminal)
        moment.wait(lambda: person.is_on)
        was_on = person.is_on
        if moment.signal in TYPED:
            os.write(terminal, TYPED[moment.signal])
        else:
            os.kill(process, moment.signal)
        person.leaves()
        _, waited = os.waitpid(process, 0)
        os.close(terminal)
        return Ended(
            status=os.waitstatus_to_exitcode(waited),
            said=person.said,
            is_on=person.is_on,
            was_on=was_on,
            typed=person.typed,
        )

    yield run


# Judging ----------------------------------------------------------------------------


def judge(found: Endings, ended: Ended, *, kept: int, announced: int) -> None:
    """Count how one ended."""
    found.stopped += 1
    found.while_driving += ended.was_on
    found.left_on += ended.is_on
    found.kept += kept
    if ended.status == INTERRUPTED:
        found.lost += abs(kept - announced)
        if ended.typed is not None:  # the last line may just have been on its way
            found.lost += max(0, ended.typed - 1 - kept)
    elif ended.status in {-one for one in SIGNALS} or (
        "KeyboardInterrupt" in ended.said and not kept  # while Python itself starts
    ):
        found.early += 1
        found.lost += kept
    elif ended.status != 0:
        found.other += 1
        found.said.append(f"{ended.status}: {ended.said[-300:]}")


def judge_sweep(found: Endings, ended: Ended, folder: Path, number: int) -> None:
    """Hold a sweep's readings against what it said."""
    path = folder / f"kept-{number}.csv"
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    columns = {line.count(",") for line in lines}
    found.broken += len(columns) > 1 or not (text.endswith("\n") or not text)
    announced = re.search(r"Kept (\d+) readings", ended.said)
    judge(
        found,
        ended,
        kept=len(lines[1:]),
        announced=int(announced[1]) if announced else 0,
    )


def judge_lot(found: Endings, ended: Ended, folder: Path, number: int) -> None:
    """Hold a lot's parts against those that were shown."""
    base_path = folder / f"base-{number}"
    shown = len(re.findall(r"(?m)^\d+/500  L", ended.said))
    kept = 0
    if base_path.exists():
        with open_base(base_path) as base:
            kept = sum(1 for one in base.lots() for _ in base.parts(one.name))
            found.broken += base.verify().finding is not None
    # A part may be kept and not shown yet.
    announced = kept if kept == shown + 1 else shown
    judge(found, ended, kept=kept, announced=announced)


@contextlib.contextmanager
def prepared(mode: str, folder: Path) -> "Iterator[Run]":
    """Prepare what is to be interrupted."""
    if mode == "hand":
        with by_hand(folder) as run:
            yield run
        return

    def lot(number: int) -> list[str]:
        text = LOT.format(number=number)
        (folder / f"lot-{number}.toml").write_text(text, encoding="utf-8")
        keeping = ["--records", f"base-{number}", "--present", "true"]
        return ["lot", "run", f"lot-{number}.toml", "--bench", "bench.toml", *keeping]

    def sweep(number: int) -> list[str]:
        return [*SWEEP, f"kept-{number}.csv"]

    scene, words = ("choke-lot", lot) if mode == "lot" else ("kit-coil", sweep)
    with on_served(folder, scene=scene, words=words) as run:
        yield run


def interrupt(count: int, *, mode: str = "sweep", seed: int = SEED) -> Endings:
    """Stop so many measurements at random moments."""
    for number in SIGNALS:  # what ignores them (nohup, &) would pass that on
        if signal.getsignal(number) is signal.SIG_IGN:
            signal.signal(number, signal.SIG_DFL)
    moments = random.Random(seed)  # noqa: S311 - not a secret
    found = Endings()
    judged = judge_lot if mode == "lot" else judge_sweep
    with tempfile.TemporaryDirectory() as name, prepared(mode, Path(name)) as run:
        for number in range(count):
            moment = Moment(
                number=number,
                after_s=moments.uniform(0.0, LONGEST_S[mode]),
                driving=moments.random() < 0.5,  # noqa: PLR2004 - a coin
                signal=SIGNALS[number % len(SIGNALS)],
            )
            judged(found, run(moment), Path(name), number)
    return found


def main() -> None:
    """Print the table."""
    mode = sys.argv[1] if len(sys.argv) > 1 else "sweep"
    found = interrupt(int(sys.argv[2]) if len(sys.argv) > 2 else COUNT, mode=mode)  # noqa: PLR2004 - words
    for name in (
        *("stopped", "while_driving", "early", "kept"),
        *("left_on", "lost", "broken", "other"),
    ):
        print(f"{name.replace('_', ' '):16}{getattr(found, name):6d}")
    for sentence in found.said:
        print(f"    {sentence}")


if __name__ == "__main__":
    main()
