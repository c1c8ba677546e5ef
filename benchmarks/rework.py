"""Work a lot of 100 000 parts out again, against the batch fit's own rate.

    python benchmarks/rework.py [--quick] [--parts N]

One thread. An invented lot is stored in SQLite, a transaction a part, each part read at
frequencies of its own; then it is worked out again with another stray and another
capacitor. Rates in parts/s, stage by stage, medians of three; the batch fit's own rate
is that of traces on one grid, of as many readings, already in memory. And how far the
new results lie from those of single fits, in standard uncertainties.
"""

import argparse
import importlib.util
import os
import sys
import tempfile
import uuid
from collections.abc import Callable
from pathlib import Path
from statistics import median
from time import perf_counter
from types import ModuleType

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: one core

import numpy as np

from halfpower.analysis import FitError, Peak, Trace, fit
from halfpower.analysis.fitting.batch import fit_stored
from halfpower.analysis.fitting.batch.rows import fit_rows
from halfpower.analysis.tank import (
    coils_again,
    deduce_coil,
    measured_pair,
    measured_rows,
)
from halfpower.cli.lots import Stamp, rework_lot
from halfpower.cli.lots.reworking import AT_ONCE
from halfpower.records import RecordBase, open_base
from halfpower.sweeps.lots import (
    constants_in_force,
    corrected_by,
    fits_of,
    parse_lot_text,
)

LOT = "large"
CORRECTIONS = [
    "fixture.stray_capacitance=5.4pF +- 0.2pF",
    "measure.capacitor=151pF +- 0.5%",
]
HERE = Path(__file__).parent


def helper() -> ModuleType:
    """Load the tests' invented lot."""
    path = HERE.parent / "tests" / "reports" / "lot" / "invented_lot.py"
    spec = importlib.util.spec_from_file_location("invented_lot", path)
    if spec is None or spec.loader is None:
        raise SystemExit(f"{path} is missing")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # its dataclasses look themselves up there
    spec.loader.exec_module(module)
    return module


invented = helper()


def timed(work: Callable[[], object], *, times: int = 3) -> float:
    """Give the median time of some calls in s."""
    taken = []
    for _ in range(times):
        begun = perf_counter()
        work()
        taken.append(perf_counter() - begun)
    return median(taken)


def store(base: RecordBase, count: int) -> None:
    """Store the lot."""
    made = invented.truth(count)
    text = invented.LOT_FILE.format(name=LOT, size=count)
    entry = invented.LotEntry(
        name=LOT, file_text=text, begun=invented.at(0), station="north"
    )
    base.open_lot(entry)
    for number in range(1, count + 1):
        base.store(
            invented.part_entry(
                number,
                lot=LOT,
                inductance_h=float(made.inductance_h[number - 1]),
                q=float(made.q[number - 1]),
            )
        )


def drain(base: RecordBase) -> int:
    """Read every trace and do nothing with it."""
    return sum(one.sequences.size for one in base.readings(LOT, batch=AT_ONCE))


def own_rate(count: int) -> float:
    """Give the batch fit's rate on one grid, traces/s."""
    n = invented.N - 1
    rng = np.random.default_rng(1)
    x = 1.0 + np.linspace(-4.0, 4.0, n) / 200.0
    clean = 0.3 * x / np.sqrt(1.0 + (100.0 * (x - 1.0 / x)) ** 2)
    traces = clean + 0.0006 * rng.standard_normal((count, n))
    f = 2.2e6 * x
    return count / timed(lambda: fit_rows(f, amplitude_v=traces, exponent=1.0))


def stages(base: RecordBase, count: int) -> None:
    """Time each stage by itself, and the whole."""
    own = own_rate(min(count, 20_000))
    print(f"batch fit on one grid    {own:9.0f} traces/s, {invented.N - 1} readings")
    batches = list(base.readings(LOT, batch=AT_ONCE))
    lot = parse_lot_text(base.lot(LOT).file_text, LOT)
    constants = corrected_by(constants_in_force(invented.IN_FORCE, lot), CORRECTIONS)
    sequences = np.sort(np.concatenate([one.sequences for one in batches]))
    exponents = np.ones(sequences.size)

    def rows() -> None:
        for one in batches:
            f, a = one.frequency_hz[:, 1:], one.amplitude_v[:, 1:]
            fit_rows(f, amplitude_v=a, exponent=1.0)

    def stored() -> None:
        for one in batches:
            fit_stored(
                one.frequency_hz,
                amplitude_v=one.amplitude_v,
                range_v=one.range_v,
                used=one.used,
                exponent=1.0,
            )

    found = fits_of(
        base.readings(LOT, sweep="peak", batch=AT_ONCE),
        sequences=sequences,
        exponents=exponents,
    )
    tank = constants.tank()
    stamp = Stamp(
        reason="stray measured again",
        at=invented.at(10**6),
        station="here",
        uuid=lambda: str(uuid.uuid4()),
    )

    def whole() -> None:
        rework_lot(
            base, LOT, correct=lambda one: corrected_by(one, CORRECTIONS), stamp=stamp
        )

    measured = measured_rows(found)
    table = (
        ("read from the base", lambda: drain(base)),
        ("fit, own grids", rows),
        ("fit, doubtful singly", stored),
        ("deduce, with u", lambda: coils_again(tank, measured=measured)),
        ("the whole rework", whole),
    )
    for name, work in table:
        rate = count / timed(work)
        print(f"{name:24} {rate:9.0f} parts/s, {rate / own:5.2f} of the batch fit's")
    print(f"fitted singly            {int(found.singly.sum())} of {count}")
    finding = base.verify().finding if count <= AT_ONCE else "not walked"
    print(f"verification             {finding or 'all fits'}")


def differences(base: RecordBase, most: int) -> None:
    """Compare with the public fit and propagation, part by part."""
    lot = parse_lot_text(base.lot(LOT).file_text, LOT)
    tank = corrected_by(constants_in_force(invented.IN_FORCE, lot), CORRECTIONS).tank()
    batch = next(base.readings(LOT, batch=most))
    rows = fit_stored(
        batch.frequency_hz,
        amplitude_v=batch.amplitude_v,
        range_v=batch.range_v,
        used=batch.used,
        exponent=1.0,
    )
    again = coils_again(tank, measured=measured_rows(rows))
    away, ratio = [], []
    for i in range(len(batch.sequences)):
        keep = batch.used[i]
        trace = Trace(
            frequency_hz=batch.frequency_hz[i, keep],
            amplitude_v=batch.amplitude_v[i, keep],
            u_amplitude_v=batch.range_v[i, keep],
            u_scale_known=False,
        )
        try:
            one = fit(trace, response=Peak(exponent=1.0))
        except FitError:
            continue
        single = deduce_coil(tank, measured=measured_pair(one))
        u = np.array([q.standard_uncertainty for q in single])
        away.append(np.abs(again.values[i] - [q.value for q in single]) / u)
        ratio.append(again.u[i] / u - 1.0)
    worst = np.max(away, axis=0)
    print(
        f"\nagainst single fits, {len(away)} parts: largest difference over u, and of u"
    )
    for name, value, part in zip(
        again.names, worst, np.max(np.abs(ratio), axis=0), strict=True
    ):
        print(f"  {name:20} {value:8.1e} {part:10.1e}")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="2000 parts")
    parser.add_argument("--parts", type=int, default=100_000)
    given = parser.parse_args()
    count = 2000 if given.quick else given.parts
    with (
        tempfile.TemporaryDirectory() as folder,
        open_base(Path(folder) / "records.sqlite3") as base,
    ):
        begun = perf_counter()
        store(base, count)
        print(f"stored {count} parts in {perf_counter() - begun:.0f} s")
        stages(base, count)
        differences(base, 100 if given.quick else 400)


if __name__ == "__main__":
    main()
