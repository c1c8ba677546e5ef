"""A record base of 100 000 parts, killed writers, and four benches at once.

Run with ``python benchmarks/record_base.py [large] [commands] [kill] [benches]
[--quick]``; all four without a name. PostgreSQL is a server of the script's own,
flushing at every commit; without one, its figures are left out.

large
    One lot of 100 000 parts with 40 readings each (20 000 on PostgreSQL), a transaction
    a part: what storing costs, how long the list of lots and the lot's summary take,
    how many traces a second the stream gives and how many new results a second are
    stored, in batches of 5000, and how large it is. Medians.
commands
    The same lot in SQLite, and what is done with it: each command in a process of its
    own, the processor's time from its start to its end (which other people's load
    leaves alone), its largest memory, and that time over a bare scan's of the rows it
    needs (sqlite3, fetched and let go) in the same run; medians of three. A base in
    memory (TMPDIR) is filled sooner, and reads alike.
kill
    500 processes, each killed (SIGKILL) at a random moment while it stores: parts lost
    after their store had returned, doubled, or half written.
benches
    Four processes that "measure" 20 ms a part and store it, against one such process;
    in one lot, and each in a lot of its own. Median of three.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: one core

import argparse
import contextlib
import dataclasses
import json
import sqlite3
import subprocess
import sys
import tempfile
import threading
import uuid
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from statistics import median
from time import perf_counter, process_time

import numpy as np
from sqlalchemy import create_engine, text

from halfpower.records import RecordBase, open_base
from halfpower.records.base import PartEntry, ReworkEntry, StoredQuantity

HERE = Path(__file__).parent
sys.path.append(str(HERE.parent / "tests" / "records" / "base"))

import invented  # noqa: E402  the tests', found by the line above
from postgres_server import postgres_programs, running_postgres  # noqa: E402  as well

BATCH = 5000
MEASURE_S = 0.020
AS_MANY = """\
[lot]
name = "large"
procedure = "coil"
size = 100000
[measure]
from = "1MHz"
to = "10MHz"
capacitor = "150pF +- 1%"
[limit.inductance]
nominal = "10uH"
tolerance = "10%"
"""
VALUES = ("entries", "parts", "quantities")
ALL = (*VALUES, "sweeps", "documents")
COMMANDS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "records list": (("records", "list"), ("lots",)),
    "records show": (("records", "show", "large"), VALUES),
    "lot show": (("lot", "show", "large"), VALUES),
    "lot show, json": (("lot", "show", "large", "--json", "{new}.json"), VALUES),
    "lot show, page": (("lot", "show", "large", "--page", "{new}.html"), VALUES),
    "records export, csv": (
        ("records", "export", "large", "{new}"),
        (*VALUES, "sweeps"),
    ),
    "records export, parquet": (
        ("records", "export", "large", "{new}", "--format", "parquet"),
        (*VALUES, "sweeps"),
    ),
    "records verify": (("records", "verify"), ALL),
}
TIMES = 3
QUANTITIES = (("resonant_frequency", "Hz"), ("loaded_q", "1"), ("inductance", "H"))


def document_of(n: int) -> str:
    """Write a result document as long as a real one of `n` readings."""
    reading = {
        "frequency_hz": 7012345.678,
        "amplitude_v": 0.123456789,
        "range_v": 0.5,
        "time_s": 1.234567,
    }
    return json.dumps(
        {"schema": "halfpower.result/1", "evidence": {"readings": [reading] * n}},
        indent=1,
    )


def parts_of(lot: str, count: int) -> Iterator[PartEntry]:
    """Make parts, the making being no part of what is timed."""
    document = document_of(40)
    for number in range(count):
        values = (7e6 + number, 100.0 + number % 50, 1e-5 + 1e-9 * (number % 100))
        yield PartEntry(
            uuid=str(uuid.uuid4()),
            lot=lot,
            label=f"L{number}",
            at=invented.AT,
            station="north",
            procedure="coil",
            verdict=tuple(invented.Verdict)[number % 3],
            circumstances=invented.IN_FORCE,
            quantities=tuple(
                StoredQuantity(
                    name=name, unit=unit, value=value, standard_uncertainty=value / 1e3
                )
                for (name, unit), value in zip(QUANTITIES, values, strict=True)
            ),
            sweeps=(invented.invented_sweep(number),),
            document=document,
        )


def timed(work: Callable[[], object], *, times: int = 5) -> float:
    """Give the median time of some calls, in seconds."""
    taken = []
    for _ in range(times):
        begun = perf_counter()
        work()
        taken.append(perf_counter() - begun)
    return median(taken)


def rework_all(base: RecordBase, lot: str) -> tuple[float, float, int]:
    """Stream every trace and store a new result for it; give the seconds of both."""
    reading, writing, parts = 0.0, 0.0, 0
    batches = base.readings(lot, batch=BATCH)
    while True:
        begun = perf_counter()
        batch = next(batches, None)
        if batch is None:
            return reading, writing, parts
        # Something that looks at every reading, in place of the fit.
        f0 = (batch.frequency_hz * batch.amplitude_v).mean(axis=1)
        reading += perf_counter() - begun
        values = np.column_stack([f0, f0 / 1e5, f0 / 1e12])
        begun = perf_counter()
        base.rework(
            ReworkEntry(
                uuid=str(uuid.uuid4()),
                lot=lot,
                at=invented.AT,
                station="north",
                procedure="coil",
                reason="stray measured again",
                circumstances=invented.IN_FORCE,
                names=QUANTITIES,
                sequences=batch.sequences,
                values=values,
                uncertainties=values / 1e3,
            )
        )
        writing += perf_counter() - begun
        parts += batch.sequences.size


def large(name: str, url: str, count: int, size: Callable[[], float]) -> None:
    """Fill one lot and use it."""
    with open_base(url) as base:
        base.open_lot(invented.invented_lot("large"))
        taken = []
        for part in parts_of("large", count):
            begun = perf_counter()
            base.store(part)
            taken.append(perf_counter() - begun)
        print(f"\n{name}: one lot of {count} parts, 40 readings each")
        print(f"  store, median            {1e3 * median(taken):8.2f} ms a part")
        print(f"  store, 99 of 100 within  {1e3 * np.quantile(taken, 0.99):8.2f} ms")
        print(f"  store                    {count / sum(taken):8.0f} parts/s")
        print(f"  size                     {size() / count / 1e3:8.2f} kB a part")
        print(f"  lots                     {1e3 * timed(base.lots):8.2f} ms")
        print(
            f"  summary                  {timed(lambda: base.summary('large')):8.3f} s"
        )
        rounds = [rework_all(base, "large") for _ in range(3)]
        stream = median(parts / reading for reading, _, parts in rounds)
        write = median(parts / writing for _, writing, parts in rounds)
        both = median(n / (reading + writing) for reading, writing, n in rounds)
        print(f"  rework, stream           {stream:8.0f} traces/s")
        print(f"  rework, write            {write:8.0f} results/s")
        print(f"  rework, both             {both:8.0f} parts/s")
        print(
            f"  summary after rework     {timed(lambda: base.summary('large')):8.3f} s"
        )
        begun = perf_counter()
        found = base.verify()
        print(f"  verify                   {perf_counter() - begun:8.1f} s")
        print(f"  verification             {found.finding or 'all fits'}")


def commands(path: Path, count: int) -> None:
    """Fill one lot, and time what is done with it against bare scans of its rows."""
    with open_base(path) as base:
        lot = invented.invented_lot("large")
        base.open_lot(dataclasses.replace(lot, file_text=AS_MANY))
        for part in parts_of("large", count):
            base.store(part)
    print(f"\nCommands on one lot of {count} parts, 40 readings each (SQLite)")
    print(f"  {'':24}{'command':>9}{'scan':>11}{'ratio':>8}{'memory':>9}")
    start_s, least_mb = run_command(path, ("--version",))
    print(f"  {'start alone':24}{start_s:7.2f} s{'':19}{least_mb:6.0f} MB")
    for name, (words, tables) in COMMANDS.items():
        taken, scans = [], []
        for turn in range(TIMES):
            new = str(path.parent / f"{name}-{turn}")
            filled = tuple(word.format(new=new) for word in words)
            taken.append(run_command(path, (*filled, "--records", str(path))))
            scans.append(scan(path, tables))
        seconds, scan_s = median(s for s, _ in taken), median(scans)
        print(
            f"  {name:24}{seconds:7.2f} s{scan_s:9.3f} s{seconds / scan_s:8.1f}"
            f"{max(mb for _, mb in taken):6.0f} MB"
        )


def run_command(path: Path, words: tuple[str, ...]) -> tuple[float, float]:
    """Run a command; give the processor's seconds and its largest memory in MB."""
    with (path.parent / "said.txt").open("w") as said:
        process = subprocess.Popen(  # noqa: S603  our own program
            [sys.executable, "-m", "halfpower.cli", *words], stdout=said, stderr=said
        )
        _, status, used = os.wait4(process.pid, 0)
    if os.waitstatus_to_exitcode(status) not in {0, 1}:  # 1: parts are rejected
        raise SystemExit((path.parent / "said.txt").read_text(encoding="utf-8"))
    return used.ru_utime + used.ru_stime, used.ru_maxrss * 1024 / 1e6


def scan(path: Path, tables: tuple[str, ...]) -> float:
    """Fetch every row of some tables; give the processor's seconds."""
    begun = process_time()
    with contextlib.closing(sqlite3.connect(path)) as connection:
        for table in tables:
            for _ in connection.execute(f"SELECT * FROM {table}"):  # noqa: S608  ours
                pass
    return process_time() - begun


def kill(name: str, url: str, count: int) -> None:
    """Kill writers and look at what they leave."""
    with open_base(url) as base:
        base.open_lot(invented.invented_lot())
    begun = perf_counter()
    lines = invented.kill_some(url, "chokes", count=count, seed=1)
    with open_base(url) as base:
        stored = {(one.position, one.sequence) for one in base.parts("chokes")}
        said = [tuple(map(int, line.split()[1:])) for line in lines]
        lost = sum(one not in stored for one in said)
        doubled = len(said) - len(set(said))
        unsaid = len(stored) - len(set(said))
        finding = base.verify().finding
    print(f"\n{name}: {count} writers killed in {perf_counter() - begun:.0f} s")
    print(f"  parts whose store had returned   {len(said)}")
    print(f"  of these lost / doubled          {lost} / {doubled}")
    print(f"  stored, killed before it said so {unsaid}")
    print(f"  half written, chain              {finding or 'none, unbroken'}")


def worker(url: str, lot: str, count: int) -> None:
    """Measure and store, once told to begin."""
    parts = list(parts_of(lot, count))
    clock = threading.Event()
    with open_base(url) as base:
        base.lots()
        print("ready", flush=True)
        sys.stdin.readline()
        for part in parts:
            clock.wait(MEASURE_S)
            base.store(part)
    print("done", flush=True)


def throughput(url: str, lots: list[str], count: int) -> float:
    """Give the parts a second of one process a lot named."""
    with open_base(url) as base:
        for lot in lots:
            base.open_lot(invented.invented_lot(lot))
    command = [sys.executable, __file__, "--worker", url]
    with ExitStack() as stack:
        pipes = []
        for lot in lots:
            process = subprocess.Popen(  # noqa: S603  this script
                [*command, lot, str(count)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
            )
            stack.enter_context(process)
            if process.stdin and process.stdout:  # both are asked for above
                pipes.append((process.stdin, process.stdout))
        for _, said in pipes:
            said.readline()
        begun = perf_counter()
        for told, _ in pipes:
            told.write("go\n")
            told.flush()
        for _, said in pipes:
            said.readline()
        return count * len(lots) / (perf_counter() - begun)


def benches(name: str, url: str, count: int) -> None:
    """Compare four benches with one."""
    ratios: dict[str, list[float]] = {"one lot": [], "lots of their own": []}
    single = []
    for turn in range(3):
        alone = throughput(url, [f"alone {turn}"], count)
        single.append(alone)
        same = throughput(url, [f"same {turn}"] * 4, count)
        own = throughput(url, [f"own {turn} {n}" for n in range(4)], count)
        ratios["one lot"].append(same / alone)
        ratios["lots of their own"].append(own / alone)
    print(f"\n{name}: four benches, {1e3 * MEASURE_S:.0f} ms a part and its storing")
    print(f"  one bench                {median(single):8.1f} parts/s")
    for where, found in ratios.items():
        print(f"  four in {where:17}{median(found):8.2f} times that")
    with open_base(url) as base:
        print(f"  verification             {base.verify().finding or 'all fits'}")


def file_size(path: Path) -> Callable[[], float]:
    """Give what measures a SQLite base with its log."""
    return lambda: float(sum(one.stat().st_size for one in path.parent.iterdir()))


def server_size(url: str) -> Callable[[], float]:
    """Give what measures a database."""

    def size() -> float:
        engine = create_engine(url)
        statement = text("SELECT pg_database_size(current_database())")
        with engine.connect() as connection:
            found = float(connection.execute(statement).scalar_one())
        engine.dispose()
        return found

    return size


def main() -> None:
    """Run what the command line names."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", nargs="*", help="large, commands, kill, benches")
    parser.add_argument("--quick", action="store_true", help="a fiftieth of it")
    parser.add_argument("--worker", nargs=3, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.worker:
        url, lot, count = given.worker
        worker(url, lot, int(count))
        return
    what, share = (
        given.what or ["large", "commands", "kill", "benches"],
        50 if given.quick else 1,
    )
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        urls = dict.fromkeys(what, "")
        programs = postgres_programs()
        if programs is not None:
            server = stack.enter_context(running_postgres(programs, durable=True))
            urls = {one: new_database(server, one) for one in what}
        for one in what:
            path = folder / one / "records.sqlite3"
            path.parent.mkdir()
            run(one, "SQLite", str(path), share=share, size=file_size(path))
            if urls[one]:
                size = server_size(urls[one])
                run(one, "PostgreSQL", urls[one], share=share, size=size)


def run(
    what: str, name: str, url: str, *, share: int, size: Callable[[], float]
) -> None:
    """Run one part of the benchmark on one database."""
    if what == "commands":
        if name == "SQLite":
            commands(Path(url), 100_000 // share)
    elif what == "large":
        large(name, url, (100_000 if name == "SQLite" else 20_000) // share, size)
    elif what == "kill":
        kill(name, url, 500 // share)
    elif what == "benches":
        benches(name, url, 200 // (4 if share > 1 else 1))
    else:
        raise SystemExit(
            f"there is no part {what!r}; name large, commands, kill or benches"
        )


def new_database(server: str, name: str) -> str:
    """Make a database on the server and give its URL."""
    engine = create_engine(server.format("postgres"), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    return server.format(name)


if __name__ == "__main__":
    main()
