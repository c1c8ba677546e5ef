"""The disk is full at any moment: no file by halves, no part lost, one sentence.

Run as root with ``python benchmarks/full_disk.py [sweep | coil | lot] [COUNT]``, on
Linux: so many measurements (50) on a bench served over TCP, each in a folder that is a
disk of 4 MiB by itself (tmpfs). At a random moment between its start and its usual end
another file takes all the room but for none to four pages, and keeps it. Every other
time the document is there already, and is to be replaced (``--overwrite``).

ended well
    measurements that were done before, or in what room was left;
half
    files that are not whole: a document or a picture that is neither the old nor a
    whole new one, a readings file or byte log with a cut line, something beside them;
lost
    readings that were announced as kept and are not in the file; parts that were shown
    with a verdict and are neither in the base nor in its side file;
broken
    bases whose checksums do not hold, once there is room again;
other
    endings with another exit status than 0 to 4, 70 or 130, with a traceback, or with
    anything but one sentence at the end; each is printed.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: one core

import contextlib
import json
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from interruptions import LOT, PATIENCE_S, SEED, command, served_file

from halfpower.records import open_base
from halfpower.sim import RealClock, load_scene, serve

COUNT, PARTS, PAGE, MOST_PAGES = 50, 8, 4096, 4
STATUSES = {0, 1, 2, 3, 4, 70, 130}
OLD = '{"old": true}\n'
WHOLE = {  # how each file ends, and what is asked for
    "r.json": ("--json", b"}\n"),
    "p.png": ("--plot", b"IEND\xaeB`\x82"),  # PNG, ISO/IEC 15948, 11.2.5
    "p.html": ("--page", b"</html>"),
}
SPAN = ("--from", "4MHz", "--to", "10MHz", "--attached")
COIL = ("--capacitor", "150pF +- 1%")


@dataclass(slots=True)
class Found:
    """What came of them."""

    filled: int = 0
    ended_well: int = 0
    kept: int = 0
    half: int = 0
    lost: int = 0
    broken: int = 0
    other: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    said: list[str] = field(default_factory=list)


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """Mount a disk of 4 MiB."""
    folder.mkdir()
    options = ("mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs")
    subprocess.run([*options, str(folder)], check=True)  # noqa: S603 - our own words
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)  # noqa: S603, S607 - as above


def fill(disk: Path, *, but_pages: int) -> Path:
    """Take all its room but some pages."""
    path = disk / "ballast"
    with path.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(bytes(64 * PAGE))
    with path.open("r+b") as file:
        file.truncate(max(0, path.stat().st_size - but_pages * PAGE))
    return path


def words(mode: str) -> list[str]:
    """Write what is asked for."""
    bench = ("--bench", "../bench.toml", "--trace", "t.log", "--overwrite")
    if mode == "lot":
        keeping = ("--records", "base", "--present", "true", "--json", "r.json")
        return command("lot", "run", "../lot.toml", *bench, *keeping)
    files = [word for name, (option, _) in WHOLE.items() for word in (option, name)]
    extra = COIL if mode == "coil" else ()
    return command(mode, *SPAN, *extra, *bench, *files, "--readings", "k.csv")


def half_written(disk: Path) -> list[str]:
    """Name what is not whole."""
    found = [one.name for one in disk.iterdir() if one.name.startswith(".")]
    for name, (_, end) in WHOLE.items():
        path = disk / name
        if path.exists() and path.read_text("utf-8", "replace") != OLD:
            data = path.read_bytes()
            sound = data.rstrip(b"\n").endswith(end.rstrip(b"\n"))
            if name == "r.json":
                sound = sound and "complete" in json.loads(data)
            found += [] if sound else [name]
    for name in ("k.csv", "t.log", "base.side.jsonl"):
        path = disk / name
        text = path.read_text("utf-8") if path.exists() else ""
        found += [name] if text and not text.endswith("\n") else []
    columns = {row.count(",") for row in rows_of(disk / "k.csv")}
    return found + (["k.csv"] if len(columns) > 1 else [])


def rows_of(path: Path) -> list[str]:
    """Give a readings file's rows."""
    text = path.read_text("utf-8") if path.exists() else ""
    return [line for line in text.splitlines() if line[:1].isdigit()]


def judge_lot(found: Found, disk: Path, said: str) -> None:
    """Hold the parts that were shown against those that are kept."""
    shown = set(re.findall(rf"(?m)^\d+/{PARTS}  (L\d+)", said))
    if not (disk / "base").exists():
        found.lost += len(shown)
        return
    with open_base(disk / "base") as base:
        if base.side_file.path.exists():
            base.adopt(base.side_file.path)
        kept = {one.label for row in base.lots() for one in base.parts(row.name)}
        found.broken += base.verify().finding is not None
    found.kept += len(kept)
    found.lost += len(shown - kept)


def judge(found: Found, mode: str, disk: Path, *, status: int, said: str) -> None:
    """Count how one ended; the disk is still full."""
    found.filled += 1
    found.statuses[status] += 1
    found.ended_well += status == 0
    half = half_written(disk)
    found.half += len(half)
    last = said.strip().splitlines()[-1:] or [""]
    sentences = len(re.findall(r"(?m)^halfpower: ", said))
    sound = status in STATUSES and "Traceback" not in said
    sound = sound and sentences == (status not in {0, 1})
    sound = sound and (status in {0, 1} or last[0].startswith("halfpower: "))
    found.other += not sound
    if half or not sound:
        found.said.append(f"{status}: {half} {said[-600:]}")
    (disk / "ballast").unlink(missing_ok=True)
    if mode == "lot":
        judge_lot(found, disk, said)
        return
    kept = len(rows_of(disk / "k.csv"))
    announced = re.search(r"Kept (\d+) readings", said)
    found.kept += kept
    found.lost += abs(kept - (int(announced[1]) if announced else 0))


def run_full(mode: str, count: int, *, seed: int = SEED) -> Found:
    """Fill the disk so many times."""
    moments, found = random.Random(seed), Found()  # noqa: S311 - not a secret
    scene = "choke-lot" if mode == "lot" else "kit-coil"
    bench = load_scene(scene).build(seed=SEED, clock=RealClock())
    with tempfile.TemporaryDirectory() as name, serve(bench) as served:
        folder = Path(name)
        served_file(folder, bench, served, scene=scene)
        lot = LOT.format(number=1).replace("size = 500", f"size = {PARTS}")
        (folder / "lot.toml").write_text(lot, encoding="utf-8")
        usual_s = 0.0
        for number in range(-1, count):  # the first is left alone, and timed
            with small_disk(folder / f"disk{number}") as disk:
                if number % 2:
                    (disk / "r.json").write_text(OLD, encoding="utf-8")
                began = time.monotonic()
                process = subprocess.Popen(  # noqa: S603 - our own command line
                    words(mode),
                    cwd=disk,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.PIPE,
                    text=True,
                )
                if number >= 0:
                    time.sleep(moments.uniform(0.0, usual_s))  # noqa: TID251 - another process
                    fill(disk, but_pages=moments.randint(0, MOST_PAGES))
                _, said = process.communicate(timeout=PATIENCE_S)
                if number < 0:
                    usual_s = time.monotonic() - began
                    assert process.returncode in {0, 1}, said  # noqa: S101 - a script's
                else:
                    judge(found, mode, disk, status=process.returncode, said=said)
            shutil.rmtree(folder / f"disk{number}")
    return found


def main() -> None:
    """Print the table."""
    mode = sys.argv[1] if len(sys.argv) > 1 else "sweep"
    found = run_full(mode, int(sys.argv[2]) if len(sys.argv) > 2 else COUNT)  # noqa: PLR2004 - words
    for name in ("filled", "ended_well", "kept", "half", "lost", "broken", "other"):
        print(f"{name.replace('_', ' '):12}{getattr(found, name):6d}")
    endings = sorted(found.statuses.items())
    print("statuses   ", ", ".join(f"{n} x {status}" for status, n in endings))
    for sentence in found.said:
        print(f"    {sentence}")


if __name__ == "__main__":
    main()
