"""Stopped at any moment, the output is off and the readings are kept.

Run with ``python benchmarks/interruptions.py [COUNT]``: 200 sweeps, each a process of
its own on a simulated bench over TCP, each stopped by SIGTERM or SIGINT at a random
moment between its start and its end. About a second each.

left on
    outputs that were on after the process had gone;
lost
    readings that were announced as kept and are not in the file, and readings that
    are in the file and were not counted;
other
    endings that are neither 130 nor, for a process that had not come to its own
    handlers yet (nothing is driven by then), the signal's own, nor 0 for a sweep that
    was done first.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: one core

import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

from halfpower.cli.at_bench import bundled_bench_file
from halfpower.sim import RealClock, ServedBench, SimulatedBench, load_scene, serve

SCENE = "kit-coil"
COUNT, SEED = 200, 1
LONGEST_S = 2.5  # from a process's start to its last signal
PATIENCE_S = 60.0


@dataclass(slots=True)
class Endings:
    """What came of the sweeps."""

    stopped: int = 0
    while_driving: int = 0
    left_on: int = 0
    lost: int = 0
    other: int = 0
    early: int = 0
    said: list[str] = field(default_factory=list)


def served_file(folder: Path, bench: SimulatedBench, served: ServedBench) -> Path:
    """Write the scene's bench file for the served instruments."""
    text = bundled_bench_file(SCENE).read_text(encoding="utf-8")
    for role, resource in served.resources.items():
        text = text.replace(bench.resources[role], resource)
    path = folder / "bench.toml"
    path.write_text(text, encoding="utf-8")
    return path


def start(folder: Path, bench_file: Path, kept: Path) -> "subprocess.Popen[str]":
    """Start a sweep that does not end by itself in the time."""
    sweep = [sys.executable, "-m", "halfpower.cli", "sweep", "--attached"]
    span = ["--from", "4MHz", "--to", "10MHz", "--readings", str(kept)]
    goal = ["--target", "0.0001%", "--most-readings", "5000"]
    return subprocess.Popen(  # noqa: S603 - our own command line
        [*sweep, "--bench", str(bench_file), *span, *goal],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )


def stop_one(
    bench: SimulatedBench, process: "subprocess.Popen[str]", kept: Path, found: Endings
) -> None:
    """Judge a sweep that has been sent its signal."""
    generator = bench.instruments["generator"]
    found.while_driving += generator.execute(b"OUTP?") == b"1"
    _, said = process.communicate(timeout=PATIENCE_S)
    found.stopped += 1
    found.left_on += generator.execute(b"OUTP?") != b"0"
    text = kept.read_text(encoding="utf-8") if kept.exists() else ""
    rows = [line for line in text.splitlines() if line[:1].isdigit()]
    announced = re.search(r"Kept (\d+) readings", said)
    if process.returncode == 130:  # noqa: PLR2004 - the exit status of an interrupt
        found.lost += abs(len(rows) - (int(announced[1]) if announced else 0))
    elif process.returncode in {-signal.SIGTERM, -signal.SIGINT} or (
        "KeyboardInterrupt" in said and not kept.exists()  # among its imports
    ):
        found.early += 1
        found.lost += len(rows)
    elif process.returncode != 0:
        found.other += 1
        found.said.append(f"{process.returncode}: {said[-300:]}")


def interrupt(count: int, *, seed: int = SEED, longest_s: float = LONGEST_S) -> Endings:
    """Stop so many sweeps at random moments."""
    moments = random.Random(seed)  # noqa: S311 - not a secret
    found = Endings()
    bench = load_scene(SCENE).build(seed=seed, clock=RealClock())
    with serve(bench) as served, tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = served_file(folder, bench, served)
        for number in range(count):
            kept = folder / f"kept-{number}.csv"
            process = start(folder, path, kept)
            time.sleep(moments.uniform(0.0, longest_s))  # noqa: TID251 - another process
            process.send_signal(moments.choice((signal.SIGTERM, signal.SIGINT)))
            stop_one(bench, process, kept, found)
    return found


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    found = interrupt(count)
    for name in (
        "stopped",
        "while_driving",
        "early",
        "left_on",
        "lost",
        "other",
    ):
        print(f"{name.replace('_', ' '):16}{getattr(found, name):6d}")
    for sentence in found.said:
        print(f"    {sentence}")


if __name__ == "__main__":
    main()
