"""A resonance that is not alone in its trace: see the second, fit beside it.

With both tanks in one curve where that can be fitted; else with the readings on the
far side of the valley between the peaks left out.
"""

import math
from dataclasses import dataclass
from itertools import product
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..errors import FitError
from ..quantity import FloatArray
from .curves import OtherPeak, Peak, TwoPeaks
from .family_fit import FamilyFit, fit_family, peak_starts
from .glitches import fit_without_glitches
from .neighbours import local_scatter, running_median
from .noise import NoiseModel
from .residuals import misfit_of
from .trace import Trace

__all__ = ["find_second_peak", "fit_beside_another"]

BoolArray = NDArray[np.bool_]
# The fit, which readings it used, and the other peaks.
Beside: TypeAlias = tuple[FamilyFit, BoolArray, tuple[OtherPeak, ...]]
# Pairs of peaks (f0, Q, A) to start from, those of one trial together.
Trials: TypeAlias = list[list[tuple[FloatArray, FloatArray]]]

MIN_WIDTH = 3  # readings that a peak must lift: fewer are glitches
PROMINENCE = 6.0  # times the noise that a second peak stands above its valley
SECOND_PEAK_GAIN = 0.5  # of the cost that a second peak must take away
MERGED = 5.0  # shared residual over scatter from which a hidden pair is looked for
MERGED_GAIN = 0.05  # of the single peak's cost that a hidden pair may leave
LEAST_MERGED_Q = 3.0  # of the hump: below it no start has two resonances
ALIKE = 4.0  # ratio of Qs: a far broader second is a slope, not a resonance
LEAST_SECOND = 0.2  # of the first's height: a lesser one is a leakage
OFTEN_EQUAL = 0.9  # of the readings: fewer levels than that are steps
ROUNDING = 1e-9  # of the largest reading: levels nearer than that are one


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A second peak as the eye sees it: its place, and its side of the valley."""

    frequency_hz: float
    amplitude_v: float
    own_side: NDArray[np.bool_]


def fit_beside_another(
    trace: Trace, found: FamilyFit, keep: BoolArray, *, noise: NoiseModel | None
) -> Beside:
    """Fit the larger of two resonances with the other modelled, or else masked.

    Parameters
    ----------
    trace
        All readings.
    found, keep
        The fit of one peak so far, and which readings it used, shape (N,).
    noise
        As it was fitted with.

    Returns
    -------
    tuple
        The fit, which readings it used, and the other peaks. What came in comes back
        where there is no second peak, or where the family is no peak over frequency.
    """
    response = found.response
    if not isinstance(response, Peak):
        return found, keep, ()
    used = trace.select(keep)
    noise_v = _local_noise(used, found)
    sighting = find_second_peak(used, noise_v)
    if sighting is None:
        pair = _merged_pair(trace, found, used, noise)
        return (found, keep, ()) if pair is None else _cleaned(trace, pair, noise)
    # Glitches were judged against a single peak: judge all readings again.
    sighting = find_second_peak(trace, noise_v) or sighting
    if sighting.own_side.size != trace.n_readings:
        return found, keep, ()
    seen = OtherPeak(
        frequency_hz=sighting.frequency_hz,
        amplitude_v=sighting.amplitude_v,
        loaded_q=None,
    )
    mine = ~sighting.own_side
    try:
        alone = fit_family(
            trace.select(mine), response=Peak(exponent=response.exponent), noise=noise
        )
    except FitError:
        return found, keep, (seen,)
    both = _both_peaks(trace, alone, trace.select(sighting.own_side), noise)
    return (alone, mine, (seen,)) if both is None else _cleaned(trace, both, noise)


def _cleaned(trace: Trace, pair: FamilyFit, noise: NoiseModel | None) -> Beside:
    """Return a fit of two peaks without glitches."""
    pair, keep = fit_without_glitches(trace, pair, noise=noise)
    return pair, keep, (_second_of(pair),)


def _second_of(pair: FamilyFit) -> OtherPeak:
    """Return the second peak of a fit of two."""
    exponent = getattr(pair.response, "exponent", 0.0)
    return TwoPeaks(exponent=exponent).other(pair.minimum.parameters)


def _best_pair(
    trace: Trace, noise: NoiseModel | None, *, exponent: float, trials: Trials
) -> FamilyFit | None:
    """Return the lowest fit of two peaks (f0, Q, A) to start from, or None."""
    response = TwoPeaks(exponent=exponent)
    best: FamilyFit | None = None
    for trial in trials:
        starts = [start for one in trial for start in response.starts_beside(*one)]
        try:
            pair = fit_family(trace, response=response, noise=noise, starts=starts)
        except (FitError, OverflowError):  # a trial's second Q may leave all bounds
            continue
        if best is None or pair.minimum.cost < best.minimum.cost:
            best = pair
    return best


def _inside(trace: Trace, pair: FamilyFit) -> bool:
    """Return whether both peaks stand within the readings."""
    low, high = trace.span
    first, second = float(pair.minimum.parameters[0]), _second_of(pair).frequency_hz
    return low <= first <= high and low <= second <= high


def _merged_pair(
    trace: Trace, found: FamilyFit, used: Trace, noise: NoiseModel | None
) -> FamilyFit | None:
    """Return the fit of two peaks that no valley parts, where one peak plainly misses.

    Tanks that drive a detector in opposite phase add up between their resonances and
    leave one broad hump there. It is looked for only where the residuals that
    neighbours share exceed their scatter many times, and taken only where it leaves
    little more than that scatter, which leakage or a floor cannot.
    """
    misfit, local = misfit_of(used, found)
    least = ROUNDING * float(np.sqrt(found.weight).max() * used.amplitude_v.max())
    f0, q, height = (float(p) for p in found.minimum.parameters[:3])
    if not misfit > max(MERGED * local, least) or q < LEAST_MERGED_Q:
        return None
    trials = []
    for apart, narrow in product((0.4, 0.8), (1.0, 2.0)):
        first = np.array([f0 * (1.0 - apart / q), narrow * q, height])
        second = np.array([f0 * (1.0 + apart / q), narrow * q, 0.8 * height])
        trials.append([(first, second), (second, first)])
    exponent = getattr(found.response, "exponent", 0.0)
    pair = _best_pair(trace, noise, exponent=exponent, trials=trials)
    if pair is not None:
        pair = _larger_first(trace, pair, noise)
    if pair is None or not pair.minimum.cost < MERGED_GAIN * found.minimum.cost:
        return None
    return pair if _convinces(trace, pair) else None


def _larger_first(
    trace: Trace, pair: FamilyFit, noise: NoiseModel | None
) -> FamilyFit | None:
    """Return a pair fitted with the larger first, or None where that fails."""
    response, parameters = pair.response, pair.minimum.parameters
    if not isinstance(response, TwoPeaks):
        return None
    if abs(complex(parameters[5], parameters[6])) <= 1.0:
        return pair
    start = response.swapped(parameters)
    try:
        return fit_family(trace, response=response, noise=noise, starts=[start])
    except FitError:
        return None


def _convinces(trace: Trace, pair: FamilyFit) -> bool:
    """Return whether a merged pair is two resonances, and leaves only noise."""
    parameters = pair.minimum.parameters
    alike = abs(parameters[4] - math.log(parameters[1])) < math.log(ALIKE)
    real = math.hypot(parameters[5], parameters[6]) > LEAST_SECOND
    shared, local = misfit_of(trace, pair)
    good = pair.minimum.settled and shared < local
    return bool(_inside(trace, pair) and alike and real and good)


def _both_peaks(
    trace: Trace, alone: FamilyFit, other: Trace, noise: NoiseModel | None
) -> FamilyFit | None:
    """Return the fit of two peaks, the larger first, or None where there is none."""
    exponent = alone.response.exponent if isinstance(alone.response, Peak) else 0.0
    response = TwoPeaks(exponent=exponent)
    first = alone.minimum.parameters
    trials = [[(first, second)] for second in peak_starts(other, response=response)]
    pair = _best_pair(trace, noise, exponent=exponent, trials=trials)
    if pair is None or not (pair.minimum.settled and _inside(trace, pair)):
        return None
    # Against the single peak everywhere, the second must be worth its parameters.
    curve = alone.response.amplitude(trace.frequency_hz, first)
    single = float(pair.weight @ (trace.amplitude_v - curve) ** 2)
    worth = pair.minimum.cost < SECOND_PEAK_GAIN * single
    parameters = pair.minimum.parameters
    own = response.amplitude(parameters[:1], parameters)
    larger_first = _second_of(pair).amplitude_v <= float(own[0])
    return pair if worth and larger_first else None


def _local_noise(trace: Trace, found: FamilyFit) -> float:
    """Return the noise in V that neighbours show, or a step of the display.

    The scatter about a single peak says little where there are two: a tenth of it
    guards against neighbours that agree by chance.
    """
    order = trace.order
    local = local_scatter(trace.amplitude_v[order]) if order.size > 2 else 0.0  # noqa: PLR2004 - a bend takes three
    typical = float(np.median(found.weight))
    scatter = math.sqrt(found.minimum.cost / max(found.n_free, 1) / typical)
    stated = math.sqrt(found.variance / typical) if found.noise_known else 0.0
    return max(local, scatter / 10.0, stated, _step(trace))


def _step(trace: Trace) -> float:
    """Return the step in V that readings come in, or 0 where they vary freely."""
    levels = np.unique(trace.amplitude_v)
    if levels.size > OFTEN_EQUAL * trace.n_readings or levels.size < 2:  # noqa: PLR2004 - a step takes two
        return 0.0
    gaps = np.diff(levels)
    return float(gaps[gaps > ROUNDING * levels[-1]].min(initial=np.inf))


def find_second_peak(trace: Trace, noise_v: float) -> Sighting | None:
    """Look for a second peak that stands out of the noise beside the highest.

    Parameters
    ----------
    trace
        The readings.
    noise_v
        Standard uncertainty of a reading in V.

    Returns
    -------
    Sighting or None
        The most prominent peak beside the highest that lifts three readings or more
        above the valley between them by six times the noise.
    """
    frequency, where = np.unique(trace.frequency_hz, return_inverse=True)
    mean = np.bincount(where, weights=trace.amplitude_v) / np.bincount(where)
    smooth = running_median(mean)
    top = int(np.argmax(smooth))
    best: tuple[float, int, int] | None = None
    for side in (range(top + 1, smooth.size), range(top - 1, -1, -1)):
        found = _beyond(smooth, list(side), noise_v)
        if found is not None and (best is None or found[0] > best[0]):
            best = found
    if best is None:
        return None
    _, at, valley = best
    inside = (
        frequency > frequency[valley] if at > top else frequency < frequency[valley]
    )
    return Sighting(
        frequency_hz=float(frequency[at]),
        amplitude_v=float(smooth[at]),
        own_side=inside[where],
    )


def _beyond(
    smooth: FloatArray, side: list[int], noise_v: float
) -> tuple[float, int, int] | None:
    """Return prominence, place and valley of the best peak walking outwards."""
    if len(side) < MIN_WIDTH:
        return None
    walk = smooth[side]
    floor = np.minimum.accumulate(walk)
    rise = walk - floor
    at = int(np.argmax(rise))
    if rise[at] <= PROMINENCE * noise_v or at == len(side) - 1:
        return None  # a rise to the very end is another peak's skirt or a floor's
    valley = int(np.argmin(walk[: at + 1]))
    lifted = np.count_nonzero(walk[valley:] > floor[at] + 0.5 * rise[at])
    if lifted < MIN_WIDTH:
        return None
    return float(rise[at]), side[at], side[valley]
