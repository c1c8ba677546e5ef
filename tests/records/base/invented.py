"""Invented parts, and processes that store them and are killed while they do.

Run with ``python invented.py store URL LOT COUNT`` (prints what was stored, a line
each) or ``python invented.py kill URL LOT COUNT SEED`` (kills COUNT children that store
for ever, each at a random moment, and prints the UUIDs whose store had returned).
"""

import os
import random
import signal
import sys
import threading
import uuid
from collections.abc import Iterator

import numpy as np

from halfpower.analysis.lots import Verdict
from halfpower.analysis.quantity import Caution
from halfpower.records import open_base
from halfpower.records.base import (
    CheckEntry,
    Circumstances,
    LotEntry,
    PartEntry,
    ReworkEntry,
    StoredQuantity,
    SweepColumns,
)

AT = "2026-03-04T05:06:07+00:00"
IN_FORCE = Circumstances(
    bench='{"generator": {"source_ohm": 50}}',
    fixture='{"stray_f": 4.2e-12}',
    instruments={"generator": "invented generator 1"},
    software={"halfpower": "0.1.0"},
)
LONGEST_S = 0.04  # from a child's first stored part to its end


def invented_lot(name: str = "chokes") -> LotEntry:
    """A lot of invented chokes."""
    return LotEntry(name=name, file_text="count = 3\n", begun=AT, station="north")


def invented_sweep(number: int, *, n: int = 40) -> SweepColumns:
    """Readings over a peak near 7 MHz, different for every number."""
    frequency = 7e6 * (1.0 + np.linspace(-0.01, 0.01, n)) + number
    return SweepColumns(
        name="peak",
        frequency_hz=frequency,
        amplitude_v=0.3 / np.sqrt(1.0 + (300.0 * (frequency / 7e6 - 1.0)) ** 2),
        range_v=np.full(n, 0.5),
        time_s=0.02 * np.arange(n),
        used=np.arange(1, n),
    )


def invented_part(
    number: int,
    *,
    lot: str = "chokes",
    verdict: Verdict = Verdict.ACCEPTED,
    again: int | None = None,
    label: str | None = None,
) -> PartEntry:
    """A choke of `number` microhenries and Q = 100 + number."""
    return PartEntry(
        uuid=str(uuid.uuid4()),
        lot=lot,
        label=f"L{number}" if label is None else label,
        at=AT,
        station="north",
        procedure="coil",
        verdict=verdict,
        circumstances=IN_FORCE,
        reasons=(Caution(code="invented", text="as the example says"),),
        quantities=(
            StoredQuantity(
                name="inductance",
                value=number / 1e6,
                unit="H",
                standard_uncertainty=1e-8,
            ),
            StoredQuantity(name="loaded_q", value=100.0 + number, unit="1"),
        ),
        sweeps=(invented_sweep(number),),
        document='{"schema": "halfpower.result/1", "procedure": "coil"}',
        again=again,
    )


def invented_check(*, in_control: bool, lot: str = "chokes") -> CheckEntry:
    """A reading of the check standard."""
    return CheckEntry(
        uuid=str(uuid.uuid4()),
        lot=lot,
        standard="reference coil",
        at=AT,
        station="north",
        procedure="coil",
        in_control=in_control,
        circumstances=IN_FORCE,
        quantities=(StoredQuantity(name="inductance", value=1e-5, unit="H"),),
        sweeps=(invented_sweep(0),),
    )


def invented_rework(
    sequences: list[int],
    inductance_h: list[float],
    *,
    lot: str = "chokes",
    verdicts: list[Verdict] | None = None,
) -> ReworkEntry:
    """New inductances, as if the fixture's stray had been measured again."""
    return ReworkEntry(
        uuid=str(uuid.uuid4()),
        lot=lot,
        at=AT,
        station="north",
        procedure="coil",
        reason="stray measured again",
        circumstances=Circumstances(fixture='{"stray_f": 4.9e-12}'),
        names=(("inductance", "H"),),
        sequences=np.array(sequences),
        values=np.array(inductance_h)[:, None],
        uncertainties=np.full((len(sequences), 1), 2e-8),
        verdicts=verdicts,
    )


def store_some(url: str, lot: str, numbers: Iterator[int], *, out: int) -> None:
    """Store parts and say each one's UUID, position and sequence once it is stored."""
    with open_base(url) as base:
        for number in numbers:
            part = invented_part(number, lot=lot)
            at = base.store(part)
            os.write(out, f"{part.uuid} {at.position} {at.sequence}\n".encode())


def kill_some(url: str, lot: str, *, count: int, seed: int) -> list[str]:
    """Kill `count` children while they store; give the lines they had said."""
    rng = random.Random(seed)  # noqa: S311  moments, not secrets
    said = b""
    for _ in range(count):
        read, write = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(read)
            store_some(url, lot, iter(range(1, 10**9)), out=write)
            os._exit(0)
        os.close(write)
        said += os.read(read, 80)  # it has begun
        threading.Event().wait(rng.uniform(0.0, LONGEST_S))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        while more := os.read(read, 65536):
            said += more
        os.close(read)
    return said.decode().splitlines()


def main(arguments: list[str]) -> None:
    """Do what the command line says."""
    what, url, lot, count = arguments[:4]
    if what == "store":
        store_some(url, lot, iter(range(1, int(count) + 1)), out=sys.stdout.fileno())
    else:
        lines = kill_some(url, lot, count=int(count), seed=int(arguments[4]))
        sys.stdout.write("".join(f"{line}\n" for line in lines))


if __name__ == "__main__":
    main(sys.argv[1:])
