"""Are the stated uncertainties honest? Many seeds of the demo bench against the truth.

Every seed draws another bench from the tolerances that the bench file states. The
table gives, for each quantity, the mean of the error over its stated standard
uncertainty, the scatter of the same, and how often the 95 % interval holds the truth.

    python benchmarks/coverage.py [--seeds 200] [--scene kit-coil]
"""

import argparse
import math
import statistics
from collections.abc import Mapping

from halfpower.analysis import Result, parse_stated
from halfpower.cli.at_bench import bundled_bench_file
from halfpower.drivers import load_bench_file, open_bench
from halfpower.sim import load_scene, open_visa
from halfpower.sweeps import KnownCapacitor, Span, measure_coil
from halfpower.sweeps.procedures import KnownParts

CAPACITOR = KnownCapacitor(
    capacitance_f=parse_stated("150pF +- 1%", "F"),
    loss=parse_stated("0.0001 +- 0.00005", "fraction"),
)
KNOWN = KnownParts(
    capacitors=(CAPACITOR,),
    self_capacitance_f=parse_stated("2pF +- 0.3pF", "F"),
)
SPAN = Span(lowest_hz=4e6, highest_hz=10e6)


def measure(scene: str, *, seed: int) -> tuple[Result, Mapping[str, float]]:
    """Measure one seed's bench; return the result and the truth."""
    simulated = load_scene(scene).build(seed=seed)
    manager = open_visa(simulated)
    path = bundled_bench_file(scene)
    with open_bench(
        load_bench_file(path),
        folder=path.parent,
        manager=manager,
        sleep=simulated.clock.sleep,
        clock=lambda: simulated.clock.now_s,
    ) as bench:
        result = measure_coil(bench, SPAN, known=KNOWN)
    manager.close()
    return result, true_values(simulated.truth, frequency_hz=result_f0(result))


def result_f0(result: Result) -> float:
    """Return the resonant frequency found, in Hz."""
    return result["resonant_frequency"].value


def true_values(truth: Mapping[str, float], *, frequency_hz: float) -> dict[str, float]:
    """Inductance and unloaded Q of the coil that the scene drew.

    The coil's loss is its winding's and that of its self-capacitance, which shares
    the tank's charge with the rest of the tank.
    """
    omega = 2.0 * math.pi * frequency_hz
    inductance_h = truth["coil.inductance_h"]
    rise = (frequency_hz / truth["coil.reference_hz"]) ** truth["coil.rise_exponent"]
    series_ohm = truth["coil.resistance_ohm"] + truth["coil.rise_ohm"] * rise
    total_f = 1.0 / (omega**2 * inductance_h)
    dielectric = (
        truth["coil.self_capacitance_f"]
        * truth["coil.self_capacitance_dissipation"]
        / total_f
    )
    return {
        "resonant_frequency": undamped_hz(truth),
        "inductance": inductance_h,
        "unloaded_q": 1.0 / (series_ohm / (omega * inductance_h) + dielectric),
    }


def undamped_hz(truth: Mapping[str, float]) -> float:
    """Undamped resonance of everything that the scene drew, without its losses."""
    across_f = (
        truth["capacitor.capacitance_f"]
        + truth["fixture.stray.capacitance_f"]
        + truth["fixture.coupling.capacitance_f"]
        + truth.get(
            "fixture.pickup.capacitance_f", truth["detector.input_capacitance_f"]
        )
    )
    inductance_h = truth["coil.inductance_h"]
    self_f = truth["coil.self_capacitance_f"]
    omega = (inductance_h * (across_f + self_f)) ** -0.5
    for _ in range(50):  # the lead in series makes it implicit; a contraction
        coil_h = inductance_h / (1.0 - omega**2 * inductance_h * self_f)
        omega = ((coil_h + truth["fixture.lead.inductance_h"]) * across_f) ** -0.5
    return omega / (2.0 * math.pi)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--scene", default="kit-coil")
    arguments = parser.parse_args()
    names = ("resonant_frequency", "inductance", "unloaded_q")
    errors: dict[str, list[float]] = {name: [] for name in names}
    held = dict.fromkeys(errors, 0)
    readings = []
    for seed in range(arguments.first, arguments.first + arguments.seeds):
        result, truth = measure(arguments.scene, seed=seed)
        readings.append(len(result.evidence.readings))
        for name, scores in errors.items():
            quantity = result[name]
            scores.append(
                (quantity.value - truth[name]) / quantity.standard_uncertainty
            )
            low, high = quantity.interval or (math.nan, math.nan)
            held[name] += low <= truth[name] <= high
    print(
        f"{arguments.scene}: {arguments.seeds} seeds from {arguments.first}, ", end=""
    )
    print(f"median {statistics.median(readings):.0f} readings")
    print(
        "quantity            mean error/u   scatter/u   95 % interval holds the truth"
    )
    for name, scores in errors.items():
        mean, scatter = statistics.fmean(scores), statistics.stdev(scores)
        share = 100.0 * held[name] / arguments.seeds
        print(f"{name:18}  {mean:+12.3f}  {scatter:10.3f}   {share:6.1f} %")


if __name__ == "__main__":
    main()
