"""Count how often the fit misleads in silence, on traces of every kind.

    python benchmarks/fit_robustness.py [--quick] [--traces N] [--seed S]

Draws traces with a known truth, fits each with the family known (where the kind has
one) and with the family left to the readings, and counts: errors that are not the
package's own; refusals; flagged results; and results without a flag that are off by
more than five standard uncertainties in f0 or Q, or where there is no resonance at
all. At most 1 in 1000 of all traces may be among the last.
"""

import argparse
import os
import sys
from collections import Counter
from dataclasses import dataclass

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np
from numpy.random import Generator

from halfpower.analysis import (
    HalfpowerError,
    LeakyPeak,
    Notch,
    Peak,
    PeakOnFloor,
    Response,
    Trace,
    fit,
)
from halfpower.analysis.fitting.curves import TwoPeaks
from halfpower.analysis.fitting.resonance import AUTO

OFF = 5.0  # standard uncertainties


@dataclass(kw_only=True)
class Case:
    """A drawn trace: the readings, the truth (or None), and the known family."""

    frequency_hz: np.ndarray
    amplitude_v: np.ndarray
    truth: tuple[float, float] | None
    family: Response


def drawn(
    rng: Generator,
    response: Response,
    extras: tuple[float, ...] = (),
    *,
    least_span: float = 1.5,
    shift: float = 0.4,
) -> Case:
    """Draw a grid, a peak and its noise."""
    n = int(rng.integers(15, 201))
    q_factor = float(np.exp(rng.uniform(np.log(10), np.log(2000))))
    f0 = float(10.0 ** rng.uniform(5, 8.5))
    span = rng.uniform(least_span, 15.0)
    q = np.linspace(-span, span, n) + rng.uniform(-shift, shift) * span
    frequency = f0 * np.exp(np.arcsinh(q / (2.0 * q_factor)))
    height = float(10.0 ** rng.uniform(-4, 1))
    snr = float(10.0 ** rng.uniform(1.3, 3))
    if isinstance(response, PeakOnFloor):
        extras = (extras[0] * height**2,)
    parameters = np.array([f0, q_factor, height, *extras])
    clean = response.amplitude(frequency, parameters)
    noisy = np.abs(clean + rng.normal(0.0, height / snr, n))
    return Case(
        frequency_hz=frequency,
        amplitude_v=noisy,
        truth=(f0, q_factor),
        family=response,
    )


def clean(rng: Generator) -> Case:
    """Draw a peak and noise, nothing else."""
    return drawn(rng, Peak(exponent=float(rng.choice((-1, 0, 1, 2)))))


def glitches(rng: Generator) -> Case:
    """Draw a peak of which up to one reading in twenty is wrong."""
    case = drawn(rng, Peak())
    n = case.amplitude_v.size
    bad = rng.choice(n, size=int(rng.integers(1, max(2, n // 20) + 1)), replace=False)
    case.amplitude_v[bad] *= rng.choice((0.0, 0.3, 0.7, 1.5, 3.0, 20.0), size=bad.size)
    return case


def floors(rng: Generator) -> Case:
    """Draw a peak on a power floor."""
    return drawn(rng, PeakOnFloor(), (float(10 ** rng.uniform(-4, -1)),), least_span=4)


def leakage(rng: Generator) -> Case:
    """Draw a lopsided peak."""
    size, phase = rng.uniform(0.0, 0.2), rng.uniform(0.0, 2.0 * np.pi)
    s = size * float(np.sin(phase))
    return drawn(rng, LeakyPeak(), (s, size**2 - s**2), least_span=4)


def notches(rng: Generator) -> Case:
    """Draw a notch."""
    return drawn(rng, Notch(), (rng.uniform(0.02, 0.7),), least_span=3)


def edges(rng: Generator) -> Case:
    """Draw a peak near the edge of the readings, or beyond it."""
    case = drawn(rng, Peak(), shift=0.0)
    cut = rng.uniform(0.3, 0.9)
    order = np.argsort(case.frequency_hz)
    keep = (
        order[int(cut * order.size) :]
        if rng.integers(2) == 0
        else order[: int((1 - cut) * order.size)]
    )
    case.frequency_hz = case.frequency_hz[keep]
    case.amplitude_v = case.amplitude_v[keep]
    return case


def two_peaks(rng: Generator) -> Case:
    """Draw two resonances, the second up to nine tenths of the first."""
    apart = rng.uniform(4.0, 12.0) * rng.choice((-1, 1))
    case = drawn(rng, Peak(), shift=0.0)
    f0, q_factor = case.truth or (1.0, 1.0)
    q = np.linspace(-15.0, 15.0, int(rng.integers(60, 300)))
    frequency = f0 * np.exp(np.arcsinh(q / (2.0 * q_factor)))
    size, phase = rng.uniform(0.05, 0.9), rng.uniform(0.0, 2.0 * np.pi)
    extras = (
        apart / (2.0 * q_factor),
        float(np.log(q_factor * rng.uniform(0.5, 2.0))),
        float(size * np.cos(phase)),
        float(size * np.sin(phase)),
    )
    height = 0.3
    v = TwoPeaks().amplitude(frequency, np.array([f0, q_factor, height, *extras]))
    snr = float(10.0 ** rng.uniform(1.3, 3))
    return Case(
        frequency_hz=frequency,
        amplitude_v=np.abs(v + rng.normal(0.0, height / snr, v.size)),
        truth=(f0, q_factor),
        family=Peak(),
    )


def none(rng: Generator) -> Case:
    """Draw noise about a level, or about zero."""
    case = drawn(rng, Peak())
    level = rng.choice((0.0, 1.0))
    case.amplitude_v = np.abs(level + rng.normal(0.0, 0.03, case.frequency_hz.size))
    case.truth = None
    return case


def constant(rng: Generator) -> Case:
    """Draw the same reading everywhere, zero at times."""
    case = drawn(rng, Peak())
    case.amplitude_v = np.full_like(case.frequency_hz, rng.choice((0.0, 0.37)))
    case.truth = None
    return case


def slope(rng: Generator) -> Case:
    """Draw a straight slope and noise."""
    case = drawn(rng, Peak())
    n = case.frequency_hz.size
    case.amplitude_v = np.abs(
        np.linspace(0.5, rng.uniform(0.5, 2.0), n) + rng.normal(0.0, 0.01, n)
    )
    case.truth = None
    return case


def clipped(rng: Generator) -> Case:
    """Draw a peak whose top the detector cuts off."""
    case = drawn(rng, Peak())
    ceiling = rng.uniform(0.5, 0.95) * case.amplitude_v.max()
    case.amplitude_v = np.minimum(case.amplitude_v, ceiling)
    return case


def coarse(rng: Generator) -> Case:
    """Draw a peak read in steps of 1/256 to 1/20 of its height."""
    case = drawn(rng, Peak())
    step = case.amplitude_v.max() / rng.uniform(20, 256)
    case.amplitude_v = np.round(case.amplitude_v / step) * step
    return case


def reversed_order(rng: Generator) -> Case:
    """Draw a peak swept downwards."""
    case = drawn(rng, Peak())
    case.frequency_hz = case.frequency_hz[::-1].copy()
    case.amplitude_v = case.amplitude_v[::-1].copy()
    return case


def repeats(rng: Generator) -> Case:
    """Draw a few frequencies read many times, in any order."""
    case = drawn(rng, Peak())
    n = case.frequency_hz.size
    pick = rng.integers(0, n, n // 3)
    f0, q_factor = case.truth or (1.0, 1.0)
    frequency = np.repeat(case.frequency_hz[pick], 3)
    clean_v = Peak().amplitude(frequency, np.array([f0, q_factor, 1.0]))
    case.frequency_hz = frequency
    case.amplitude_v = np.abs(clean_v + rng.normal(0.0, 0.02, frequency.size))
    return case


def all_nan(rng: Generator) -> Case:
    """Draw no reading at all."""
    case = drawn(rng, Peak())
    case.amplitude_v = np.full_like(case.frequency_hz, np.nan)
    case.truth = None
    return case


def few(rng: Generator) -> Case:
    """Draw one to six readings."""
    case = drawn(rng, Peak())
    pick = rng.choice(case.frequency_hz.size, size=int(rng.integers(1, 7)))
    case.frequency_hz, case.amplitude_v = (
        case.frequency_hz[pick],
        case.amplitude_v[pick],
    )
    return case


KINDS = (
    clean, glitches, floors, leakage, notches, edges, two_peaks, none, constant, slope,
    clipped, coarse, reversed_order, repeats, all_nan, few,
)  # fmt: skip


def outcome(case: Case, response: Response | str) -> str:
    """Fit a case and say how it ended."""
    try:
        result = fit(
            Trace(frequency_hz=case.frequency_hz, amplitude_v=case.amplitude_v),
            response=response,  # type: ignore[arg-type] # "auto" among them
        )
    except HalfpowerError:
        return "refused"
    except Exception as error:  # noqa: BLE001 - this is what is counted
        print(f"  {type(error).__name__}: {error}", file=sys.stderr)
        return "foreign error"
    if case.truth is None:
        wrong = True
    else:
        wrong = (
            abs(result.resonant_frequency_hz - case.truth[0])
            > OFF * result.u_resonant_frequency_hz
            or abs(result.loaded_q - case.truth[1]) > OFF * result.u_loaded_q
        )
    if result.flags:
        return "flagged, wrong" if wrong else "flagged, right"
    return "silent, wrong" if wrong else "silent, right"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--traces", type=int, default=10_000, help="in all")
    parser.add_argument("--quick", action="store_true", help="a tenth of them")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    each = max((options.traces // (10 if options.quick else 1)) // len(KINDS), 1)
    columns = (
        "silent, right", "silent, wrong", "flagged, right", "flagged, wrong", "refused",
        "foreign error",
    )  # fmt: skip
    for mode in ("family known", "family left to the readings"):
        print(f"\n{mode}: {each} traces of each kind, seed {options.seed}")
        print(f"{'kind':16s}" + "".join(f"{name:>16s}" for name in columns))
        total: Counter[str] = Counter()
        for number, kind in enumerate(KINDS):
            rng = np.random.default_rng((options.seed, number))
            count: Counter[str] = Counter()
            for _ in range(each):
                case = kind(rng)
                known = mode == "family known"
                count[outcome(case, case.family if known else AUTO)] += 1
            total += count
            row = "".join(f"{count[name]:16d}" for name in columns)
            print(f"{kind.__name__:16s}{row}", flush=True)
        print(f"{'all':16s}" + "".join(f"{total[name]:16d}" for name in columns))
        share = total["silent, wrong"] / total.total()
        print(f"silent and wrong: {1000.0 * share:.2f} in 1000 (at most 1 wanted)")


if __name__ == "__main__":
    main()
