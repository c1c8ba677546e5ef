"""Fit a resonance that is not alone in its trace.

With both tanks in one curve where that can be fitted; else with the readings on the
far side of the valley between the peaks left out.
"""

import math
from itertools import product

import numpy as np
from numpy.typing import NDArray

from ..errors import FitError
from .curves import Peak
from .family_fit import FamilyFit, fit_family, peak_starts
from .glitches import fit_without_glitches
from .judgement import misfit_of
from .noise import NoiseModel
from .trace import Trace
from .two_peaks import OtherPeak, TwoPeaks, find_second_peak

__all__ = ["fit_beside_another"]

BoolArray = NDArray[np.bool_]

SECOND_PEAK_GAIN = 0.5  # of the cost that a second peak must take away
MERGED = 5.0  # shared residual over scatter from which a hidden pair is looked for
MERGED_GAIN = 0.05  # of the single peak's cost that a hidden pair may leave
LEAST_MERGED_Q = 3.0  # of the hump: below it no start has two resonances
ALIKE = 4.0  # ratio of Qs: a far broader second is a slope, not a resonance
LEAST_SECOND = 0.2  # of the first's height: a lesser one is a leakage
OFTEN_EQUAL = 0.9  # of the readings: fewer levels than that are steps
ROUNDING = 1e-9  # of the largest reading: levels nearer than that are one
MAD_OF_SECOND_DIFFERENCE = 1.4826 / math.sqrt(6.0)


def fit_beside_another(  # noqa: PLR0911 - each return is one way to end the search
    trace: Trace, found: FamilyFit, keep: BoolArray, *, noise: NoiseModel | None
) -> tuple[FamilyFit, BoolArray, tuple[OtherPeak, ...]]:
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
        where there is no second peak, or where the family is not one over frequency.
    """
    response = found.response
    if not isinstance(response, Peak) or response.abscissa_unit != "Hz":
        return found, keep, ()
    used = trace.select(keep)
    sighting = find_second_peak(used, _local_noise(used, found))
    if sighting is None:
        pair = _merged_pair(trace, found, used, noise)
        if pair is None:
            return found, keep, ()
        pair, keep = fit_without_glitches(trace, pair, noise=noise)
        other = TwoPeaks(exponent=response.exponent).other(pair.minimum.parameters)
        return pair, keep, (other,)
    # Glitches were judged against a single peak: judge all readings again.
    sighting = find_second_peak(trace, _local_noise(used, found)) or sighting
    if sighting.own_side.size != trace.n_readings:
        return found, keep, ()
    mine = trace.select(~sighting.own_side)
    try:
        alone = fit_family(mine, response=Peak(exponent=response.exponent), noise=noise)
    except FitError:
        return found, keep, (_seen(sighting.frequency_hz, sighting.amplitude_v),)
    both = _both_peaks(trace, alone, trace.select(sighting.own_side), noise)
    if both is not None:
        both, keep = fit_without_glitches(trace, both, noise=noise)
        parameters = both.minimum.parameters
        return both, keep, (TwoPeaks(exponent=response.exponent).other(parameters),)
    return (
        alone,
        ~sighting.own_side,
        (_seen(sighting.frequency_hz, sighting.amplitude_v),),
    )


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
    if (
        not misfit > max(MERGED * local, least)
        or found.minimum.parameters[1] < LEAST_MERGED_Q
    ):
        return None
    response = TwoPeaks(exponent=getattr(found.response, "exponent", 0.0))
    f0, q, height = (float(p) for p in found.minimum.parameters[:3])
    best: FamilyFit | None = None
    for apart, narrow in product((0.4, 0.8), (1.0, 2.0)):
        first = np.array([f0 * (1.0 - apart / q), narrow * q, height])
        second = np.array([f0 * (1.0 + apart / q), narrow * q, 0.8 * height])
        try:
            pair = fit_family(
                trace,
                response=response,
                noise=noise,
                starts=[
                    *response.starts_beside(first, second),
                    *response.starts_beside(second, first),
                ],
            )
        except (FitError, OverflowError):  # a trial's second Q may leave all bounds
            continue
        if best is None or pair.minimum.cost < best.minimum.cost:
            best = pair
    return None if best is None else _larger_first(trace, best, found, noise)


def _larger_first(
    trace: Trace, pair: FamilyFit, single: FamilyFit, noise: NoiseModel | None
) -> FamilyFit | None:
    """Return a merged pair, the larger first, or None where it does not convince."""
    response = pair.response
    if not isinstance(response, TwoPeaks):
        return None
    parameters = pair.minimum.parameters
    second = complex(parameters[5], parameters[6])
    if abs(second) > 1.0:
        turned = 1.0 / second
        start = np.array(
            [
                parameters[0] * math.exp(parameters[3]),
                math.exp(parameters[4]),
                parameters[2] * abs(second),
                -parameters[3],
                math.log(parameters[1]),
                turned.real,
                turned.imag,
            ]
        )
        try:
            pair = fit_family(trace, response=response, noise=noise, starts=[start])
        except FitError:
            return None
        parameters = pair.minimum.parameters
    low, high = float(trace.frequency_hz.min()), float(trace.frequency_hz.max())
    other = response.other(parameters)
    inside = low < parameters[0] < high and low < other.frequency_hz < high
    alike = abs(parameters[4] - math.log(parameters[1])) < math.log(ALIKE)
    real = math.hypot(parameters[5], parameters[6]) > LEAST_SECOND
    worth = pair.minimum.cost < MERGED_GAIN * single.minimum.cost
    shared, local = misfit_of(trace, pair)
    good = pair.minimum.settled and shared < local
    return pair if inside and alike and real and worth and good else None


def _seen(frequency_hz: float, amplitude_v: float) -> OtherPeak:
    """Return a second peak that was seen and not fitted."""
    return OtherPeak(frequency_hz=frequency_hz, amplitude_v=amplitude_v, loaded_q=None)


def _both_peaks(
    trace: Trace, alone: FamilyFit, other: Trace, noise: NoiseModel | None
) -> FamilyFit | None:
    """Return the fit of two peaks, the larger first, or None where there is none."""
    exponent = alone.response.exponent if isinstance(alone.response, Peak) else 0.0
    response = TwoPeaks(exponent=exponent)
    first = alone.minimum.parameters
    best: FamilyFit | None = None
    for second in peak_starts(other, response=response):
        try:
            found = fit_family(
                trace,
                response=response,
                noise=noise,
                starts=response.starts_beside(first, second),
            )
        except FitError:
            continue
        if best is None or found.minimum.cost < best.minimum.cost:
            best = found
    if best is None:
        return None
    parameters = best.minimum.parameters
    seen = response.other(parameters)
    low, high = float(trace.frequency_hz.min()), float(trace.frequency_hz.max())
    inside = low <= parameters[0] <= high and low <= seen.frequency_hz <= high
    # Against the single peak everywhere, the second must be worth its parameters.
    curve = alone.response.amplitude(trace.frequency_hz, first)
    single = float(best.weight @ (trace.amplitude_v - curve) ** 2)
    worth = best.minimum.cost < SECOND_PEAK_GAIN * single
    own = response.amplitude(parameters[:1], parameters)
    larger_first = seen.amplitude_v <= float(own[0])
    return best if inside and worth and larger_first and best.minimum.settled else None


def _local_noise(trace: Trace, found: FamilyFit) -> float:
    """Return the noise in V that neighbours show, or a step of the display.

    The scatter about a single peak says little where there are two: a tenth of it
    guards against neighbours that agree by chance.
    """
    order = np.argsort(trace.frequency_hz, kind="stable")
    bend = np.abs(np.diff(trace.amplitude_v[order], n=2))
    local = MAD_OF_SECOND_DIFFERENCE * float(np.median(bend)) if bend.size else 0.0
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
