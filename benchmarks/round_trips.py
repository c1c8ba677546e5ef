"""Are the intervals of C, D, permittivity honest? Whole procedures on random parts.

Every trial draws another part over the range that the procedure is for, another fixture
and other instruments from the tolerances that the bench file states, and measures it
with the program's own procedure. The table gives the mean and the scatter of the error
over its stated standard uncertainty, how often the 95 % interval (or limit) holds the
truth, and the median relative uncertainty.

    python benchmarks/round_trips.py [NAME ...] [--trials 200]
"""

import argparse
import math
import re
import statistics
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path

import numpy as np

from halfpower.analysis import HalfpowerError, Result, Stated, parse_stated
from halfpower.analysis.tank import SheetSample
from halfpower.cli.at_bench import SceneAttendant, bundled_bench_file
from halfpower.cli.at_bench.attendant import SceneCapacitor
from halfpower.drivers import Bench, load_bench_file, open_bench
from halfpower.sim import SimulatedBench, load_scene, open_visa
from halfpower.sweeps import (
    CapacitorJob,
    FixtureJob,
    KnownCapacitor,
    KnownParts,
    Session,
    SheetJob,
    Span,
    WorkCoil,
    measure_capacitor,
    measure_coil,
    measure_fixture,
    measure_sheet,
)

Truth = Mapping[str, float]
TANK = KnownCapacitor(
    capacitance_f=parse_stated("150pF +- 1%", "F"),
    loss=parse_stated("0.0001 +- 0.00005", "fraction"),
)
SELF = parse_stated("4pF +- 0.4pF", "F")
SPAN = Span(lowest_hz=1.5e6, highest_hz=4e6)
DIAL_HZ = 2e6
EPS0 = 8.8541878128e-12


@dataclass
class Tally:
    """Errors over u, and what the intervals held, for one quantity."""

    scores: list[float] = field(default_factory=list)
    relative: list[float] = field(default_factory=list)
    held: int = 0
    limits: int = 0
    limits_held: int = 0

    def add(self, result: Result, name: str, true: float) -> None:
        """Count one result."""
        quantity = result[name]
        if quantity.at_most is not None:
            self.limits += 1
            self.limits_held += true <= quantity.at_most
            return
        u = quantity.standard_uncertainty
        self.scores.append((quantity.value - true) / u)
        self.relative.append(u / quantity.value)
        low, high = quantity.interval or (math.nan, math.nan)
        self.held += low <= true <= high


@contextmanager
def opened(
    scene: str, *, seed: int, changed: Mapping[str, str] | None = None
) -> Iterator[tuple[Bench, SimulatedBench]]:
    """Open the bench of a scene whose text was changed."""
    source = resources.files("halfpower.sim") / "scenes" / f"{scene}.toml"
    text = source.read_text(encoding="utf-8")
    for pattern, new in (changed or {}).items():
        text, count = re.subn(pattern, new, text, count=1, flags=re.DOTALL)
        if count != 1:
            raise ValueError(pattern)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{scene}.toml"
        path.write_text(text, encoding="utf-8")
        simulated = load_scene(path).build(seed=seed)
    manager = open_visa(simulated)
    bench_path = bundled_bench_file(scene)
    file = load_bench_file(bench_path)
    capacitor = None if file.capacitor is None else SceneCapacitor(simulated)
    with open_bench(
        file,
        folder=bench_path.parent,
        manager=manager,
        sleep=simulated.clock.sleep,
        clock=lambda: simulated.clock.now_s,
        capacitor=capacitor,
    ) as bench:
        yield bench, simulated
    manager.close()


def session(simulated: SimulatedBench) -> Session:
    """Let the simulated hand do what a person would."""
    return Session(attendant=SceneAttendant(simulated, tell=lambda _: None))


def exponent(rng: np.random.Generator) -> dict[str, str]:
    """Draw how the coil's loss goes with frequency, as the program takes it."""
    drawn = float(np.clip(rng.normal(0.5, 0.25), 0.0, 1.2))
    return {
        r"resistance_ohm = 0.3\nrise": "resistance_ohm = 0.02\nrise",
        "rise_exponent = 0.55": f"rise_exponent = {drawn!r}",
    }


def unknown(farad: float, loss: float) -> dict[str, str]:
    """Put another unknown capacitor into a scene's text."""
    return {
        r"\[parts.unknown\].*": "[parts.unknown]\nkind = 'capacitor'\n"
        f"capacitance_f = {farad!r}\ndissipation_factor = {loss!r}\n"
    }


def capacitor(
    rng: np.random.Generator, seed: int, *, method: str = "parallel"
) -> tuple[Result, Truth]:
    """Measure a capacitor of 5 pF to 5 nF and D of 1e-4 to 0.05."""
    low = 5e-12 if method == "parallel" else 0.5e-9
    farad = float(np.exp(rng.uniform(math.log(low), math.log(5e-9))))
    loss = float(np.exp(rng.uniform(math.log(1e-4), math.log(0.05))))
    changed = exponent(rng) | unknown(farad, loss)
    with opened("capacitor-drawer", seed=seed, changed=changed) as (
        bench,
        simulated,
    ):
        job = CapacitorJob(
            tank=TANK,
            self_capacitance_f=SELF,
            method=method,  # type: ignore[arg-type] # a str that is one
        )
        result = measure_capacitor(bench, SPAN, job=job, session=session(simulated))
    return result, {"capacitance": farad, "dissipation_factor": loss}


def series(rng: np.random.Generator, seed: int) -> tuple[Result, Truth]:
    """Measure a large capacitor in series with the coil."""
    return capacitor(rng, seed, method="series")


def dial(rng: np.random.Generator, seed: int) -> tuple[Result, Truth]:
    """Measure a capacitor of 5 to 200 pF with the variable one."""
    farad = float(np.exp(rng.uniform(math.log(5e-12), math.log(200e-12))))
    loss = float(np.exp(rng.uniform(math.log(1e-4), math.log(0.05))))
    coil = {r"inductance_h = 12e-9": f"inductance_h = {rng.uniform(9e-9, 15e-9)!r}"}
    changed = coil | unknown(farad, loss)
    with opened("mica-capacitor", seed=seed, changed=changed) as (bench, simulated):
        job = CapacitorJob(method="dial", frequency_hz=DIAL_HZ)
        span = Span(lowest_hz=1e6, highest_hz=4e6, target=0.005, most_readings=60)
        result = measure_capacitor(bench, span, job=job, session=session(simulated))
    return result, {"capacitance": farad, "dissipation_factor": loss}


def sheet(rng: np.random.Generator, seed: int) -> tuple[Result, Truth]:
    """Measure a sheet of permittivity 2 to 10, flush with plates of 60 by 60 mm.

    The edge field and leads of the scene are 1.5 to 2.5 pF, whatever the calculated
    edge is: the method with air must not mind.
    """
    permittivity = float(rng.uniform(2.0, 10.0))
    loss = float(np.exp(rng.uniform(math.log(1e-4), math.log(0.05))))
    thickness_mm = float(rng.uniform(1.0, 3.0))
    edge_pf = float(rng.uniform(1.5, 2.5))
    part = (
        "[parts.unknown]\nkind = 'sheet'\n"
        f"relative_permittivity = {permittivity!r}\nloss_tangent = {loss!r}\n"
        "area_m2 = { nominal = 3.6e-3, half_width_relative = 1.4e-3 }\n"
        f"thickness_m = {{ nominal = {thickness_mm * 1e-3!r}, half_width = 0.02e-3 }}\n"
        f"edge_capacitance_f = {edge_pf * 1e-12!r}\n"
    )
    changed = exponent(rng) | {r"\[parts.unknown\].*": part}
    with opened("board-sheet", seed=seed, changed=changed) as (
        bench,
        simulated,
    ):
        side = Stated.within(60e-3, half_width=0.06e-3)
        sample = SheetSample(
            thickness_m=Stated.within(thickness_mm * 1e-3, half_width=0.02e-3),
            width_m=side,
            length_m=side,
        )
        job = SheetJob(sample=sample, method="air", tank=TANK, self_capacitance_f=SELF)
        result = measure_sheet(bench, SPAN, job=job, session=session(simulated))
    return result, {"relative_permittivity": permittivity, "loss_tangent": loss}


# Edge capacitance of discs of 50 mm in pF per mm of perimeter, by an axisymmetric
# finite-volume solution made apart from the program: thickness in mm, then air, then
# permittivity to what a wide sheet makes of it.
EDGES = {
    0.5: (0.00977, {2.1: 0.01227, 2.55: 0.01322, 4.5: 0.01720, 9.8: 0.02772}),
    1.0: (0.00888, {2.1: 0.01136, 2.55: 0.01231, 4.5: 0.01628, 9.8: 0.02682}),
    2.0: (0.00804, {2.1: 0.01050, 2.55: 0.01145, 4.5: 0.01542, 9.8: 0.02600}),
    5.0: (0.00705, {2.1: 0.00948, 2.55: 0.01043, 4.5: 0.01443, 9.8: 0.02512}),
}


def overhang(rng: np.random.Generator, seed: int) -> tuple[Result, Truth]:
    """Measure a sheet that is wider than its plates, discs of 50 mm."""
    thickness_mm = float(rng.choice(list(EDGES)))
    air, wide = EDGES[thickness_mm]
    permittivity = float(rng.choice(list(wide)))
    loss = float(np.exp(rng.uniform(math.log(1e-4), math.log(0.05))))
    around_mm, lead_pf = math.pi * 50.0, float(rng.uniform(0.1, 0.5))
    edge_pf, air_pf = (one * around_mm + lead_pf for one in (wide[permittivity], air))
    # Of the edge the part that goes with the permittivity is as lossy as the sheet;
    # the scene's is not, so that its loss tangent is not compared.
    part = (
        "[parts.unknown]\nkind = 'sheet'\n"
        f"relative_permittivity = {permittivity!r}\nloss_tangent = {loss!r}\n"
        "area_m2 = { nominal = 1.9634954e-3, half_width_relative = 2.8e-3 }\n"
        f"thickness_m = {{ nominal = {thickness_mm * 1e-3!r}, "
        f"half_width_relative = 0.01 }}\n"
        f"edge_capacitance_f = {edge_pf * 1e-12!r}\n"
        f"edge_capacitance_in_air_f = {air_pf * 1e-12!r}\n"
    )
    changed = exponent(rng) | {r"\[parts.unknown\].*": part}
    with opened("board-sheet", seed=seed, changed=changed) as (bench, simulated):
        sample = SheetSample(
            thickness_m=Stated.within(
                thickness_mm * 1e-3, half_width=thickness_mm * 1e-5
            ),
            diameter_m=Stated.within(50e-3, half_width=0.07e-3),
            overhang_m=20e-3,
        )
        job = SheetJob(sample=sample, method="air", tank=TANK, self_capacitance_f=SELF)
        result = measure_sheet(bench, SPAN, job=job, session=session(simulated))
    return result, {"relative_permittivity": permittivity}


def fixture(rng: np.random.Generator, seed: int) -> tuple[Result, Truth]:
    """Measure the stray with two coils and four capacitors, the probe with a second."""
    del rng
    with opened("coil-set", seed=seed) as (bench, simulated):
        job = FixtureJob(
            coils=(
                WorkCoil(name="A", self_capacitance_f=SELF),
                WorkCoil(
                    name="B", self_capacitance_f=parse_stated("2pF +- 0.3pF", "F")
                ),
            ),
            capacitors=tuple(
                KnownCapacitor(
                    capacitance_f=parse_stated(f"{pf}pF +- 1%", "F"), loss=TANK.loss
                )
                for pf in (68, 150, 330, 680)
            ),
            second_probe=True,
            alike=0.3,  # 10 % of C and 15 % of D, of two probes
        )
        result = measure_fixture(
            bench,
            Span(lowest_hz=2e6, highest_hz=9e6),
            job=job,
            session=session(simulated),
        )
        truth = simulated.truth
    f0 = result.evidence.sweeps[-1].found.resonant_frequency_hz
    farad = truth["detector.input_capacitance_f"]
    conductance = (
        1.0 / truth["detector.input_resistance_ohm"]
        + 2.0 * math.pi * f0 * farad * truth["detector.input_dissipation"]
    )
    return result, {
        "stray_capacitance": truth["fixture.stray.capacitance_f"],
        "probe_capacitance": farad,
        "probe_resistance": 1.0 / conductance,
    }


def line(rng: np.random.Generator, seed: int) -> tuple[Result, Truth]:
    """Measure a coil of 10 to 60 uH on four capacitors."""
    henry = float(np.exp(rng.uniform(math.log(10e-6), math.log(60e-6))))
    own = float(rng.uniform(2e-12, 8e-12))
    changed = {
        r"inductance_h = \{ nominal = 25e-6, sd_relative = 0.02 \}": (
            f"inductance_h = {henry!r}"
        ),
        r"self_capacitance_f = \{ nominal = 4.0e-12, half_width = 0.4e-12 \}": (
            f"self_capacitance_f = {own!r}"
        ),
    }
    with opened("coil-set", seed=seed, changed=changed) as (bench, simulated):
        known = KnownParts(
            capacitors=tuple(
                KnownCapacitor(
                    capacitance_f=parse_stated(f"{pf}pF +- 1%", "F"), loss=TANK.loss
                )
                for pf in (68, 150, 330, 680)
            )
        )
        f0 = 1.0 / (2.0 * math.pi * math.sqrt(henry * 85e-12))
        result = measure_coil(
            bench,
            Span(lowest_hz=f0 / 1.5, highest_hz=f0 * 1.4),
            known=known,
            session=session(simulated),
        )
    return result, {"inductance": henry, "self_capacitance": own}


TRIALS: dict[str, Callable[[np.random.Generator, int], tuple[Result, Truth]]] = {
    "capacitor": capacitor,
    "series": series,
    "dial": dial,
    "sheet": sheet,
    "overhang": overhang,
    "line": line,
    "fixture": fixture,
}


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("which", nargs="*", choices=[*TRIALS, []], default=[])
    parser.add_argument("--trials", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    arguments = parser.parse_args()
    for name in arguments.which or TRIALS:
        tallies: dict[str, Tally] = {}
        refused: dict[str, int] = {}
        counts = []
        for seed in range(arguments.first, arguments.first + arguments.trials):
            rng = np.random.default_rng([seed, 6])
            try:
                result, truth = TRIALS[name](rng, seed)
            except HalfpowerError as error:
                key = f"{type(error).__name__}: {str(error)[:150]}"
                refused[key] = refused.get(key, 0) + 1
                continue
            counts.append(len(result.evidence.readings))
            for quantity, true in truth.items():
                tallies.setdefault(quantity, Tally()).add(result, quantity, true)
        _show(name, tallies, refused, counts)


def _show(
    name: str,
    tallies: Mapping[str, Tally],
    refused: Mapping[str, int],
    counts: list[int],
) -> None:
    print(
        f"{name}: {len(counts)} measured, median {statistics.median(counts):.0f}",
        end="",
    )
    print(f" readings, {sum(refused.values())} refused")
    for key, count in refused.items():
        print(f"    {count} x {key}")
    print("  quantity               n   mean err/u  scatter/u  95 % holds  median u/x")
    for quantity, tally in tallies.items():
        n = len(tally.scores)
        if n > 1:
            print(
                f"  {quantity:21}{n:4d}  {statistics.fmean(tally.scores):+10.3f} "
                f"{statistics.stdev(tally.scores):10.3f} {100 * tally.held / n:9.1f} % "
                f"{100 * statistics.median(tally.relative):9.2g} %"
            )
        if tally.limits:
            share = 100.0 * tally.limits_held / tally.limits
            print(f"  {'':21}{tally.limits:4d}  limits, {share:.1f} % hold the truth")


if __name__ == "__main__":
    main()
