"""Readings that do not belong to the curve, found so that they cannot hide.

A glitch can draw a least-squares curve to itself. So, where anything looks amiss, the
curve is first fitted with weights that a far reading loses (Geman and McClure 1987,
``1/(1 + (r/cs)^2)^2``, s the median absolute residual), from several starts; then
plain least squares takes the readings near that curve, and a reading is refused when
it lies outside what N normal residuals would show once in a thousand traces
(Student's t, Bonferroni). Refusing is repeated until the set stays the same, so a
reading that was wrongly left out comes back.
"""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from ..errors import FitError
from ..quantity import FloatArray
from .curves import Response
from .family_fit import FamilyFit, fit_family, peak_starts, rough_peak
from .gauss_newton import minimise
from .neighbours import MAD_TO_SIGMA, running_median
from .noise import NoiseModel
from .trace import Trace

__all__ = ["fit_without_glitches", "spikes_of"]

BoolArray = NDArray[np.bool_]

SUSPECT = 3.5  # robust standard deviations that start the search
UNEVEN = 1.3  # r.m.s. over robust scatter; of normal residuals seldom so uneven
NEAR = 5.0  # robust standard deviations within which a reading is first taken
SOFT = 2.5  # where the robust weight has fallen to a quarter
ROBUST_PASSES = 8
STEPS_A_PASS = 4
REFUSAL_RISK = 1e-3  # chance that a trace without glitches loses a reading
MAX_ROUNDS = 8
MAX_SHARE = 1.0 / 3.0  # of the readings; more are no glitches
MAX_RUN = 2  # neighbours refused together; a longer run is another shape
TOWERING = 3.0  # times the highest running median
SPARE = 2  # readings beyond the unknowns that must remain


def fit_without_glitches(
    trace: Trace, found: FamilyFit, *, noise: NoiseModel | None
) -> tuple[FamilyFit, BoolArray]:
    """Fit again without the readings that do not belong, if there are any.

    Parameters
    ----------
    trace
        All readings.
    found
        The least-squares fit to all of them.
    noise
        As it was fitted with.

    Returns
    -------
    tuple
        The fit, and which readings it used, shape (N,).

    Notes
    -----
    Nothing is refused where more than a third would have to be, or three neighbours
    together, or where too few would remain: that is not a trace with glitches.
    """
    everything = np.ones(trace.n_readings, dtype=np.bool_)
    if found.n_free < SPARE + 1 or not _suspicious(trace, found):
        return found, everything
    keep = _near_robust_curve(trace, found)
    best, seen = (found, everything), []
    for _ in range(MAX_ROUNDS):
        if not _bearable(trace, keep, found.response):
            return found, everything
        try:
            refit = fit_family(
                trace.select(keep),
                response=found.response,
                noise=noise,
                starts=_starts(trace, keep, found),
            )
        except FitError:
            return found, everything
        best = (refit, keep)
        seen.append(keep)
        keep = _belongs(trace, keep, refit, noise)
        if any(np.array_equal(keep, old) for old in seen):
            break
    if not _bearable(trace, best[1], found.response):
        return found, everything
    return best


def _residuals(trace: Trace, found: FamilyFit, parameters: FloatArray) -> FloatArray:
    """Return residuals in units of the readings' uncertainty, scale apart."""
    curve = found.response.amplitude(trace.frequency_hz, parameters)
    result: FloatArray = (trace.amplitude_v - curve) * np.sqrt(found.weight)
    return result


def _robust_scale(residual: FloatArray, n_parameters: int) -> float:
    """Return the scatter of the nearer half, as a standard deviation."""
    n = residual.size
    middle = (n + n_parameters) // 2  # the fit makes p residuals small
    size = np.partition(np.abs(residual), min(middle, n - 1))
    return MAD_TO_SIGMA * float(size[min(middle, n - 1)])


def _suspicious(trace: Trace, found: FamilyFit) -> bool:
    """Return whether residuals stand out against the nearer half of them."""
    residual = _residuals(trace, found, found.minimum.parameters)
    scale = _robust_scale(residual, found.minimum.parameters.size)
    if found.noise_known:
        scale = max(scale, np.sqrt(found.variance))
    n = residual.size
    limit = SUSPECT + 0.5 * np.log10(n)  # the largest of n grows with n
    largest = float(np.abs(residual).max())
    spread = math.sqrt(float(residual @ residual) / found.n_free)
    return largest > limit * scale > 0.0 or spread > UNEVEN * scale > 0.0


def _near_robust_curve(trace: Trace, found: FamilyFit) -> BoolArray:
    """Return which readings lie near a curve that far readings do not pull."""
    best_keep, best_scale = np.ones(trace.n_readings, dtype=np.bool_), np.inf
    for start in _robust_starts(trace, found):
        try:
            parameters = _robust_minimum(trace, found, start)
        except FitError:
            continue
        residual = _residuals(trace, found, parameters)
        scale = _robust_scale(residual, parameters.size)
        if scale < best_scale:
            floor = np.sqrt(found.variance) if found.noise_known else 0.0
            best_scale = scale
            best_keep = np.abs(residual) <= NEAR * max(scale, floor)
    return best_keep


def _robust_starts(trace: Trace, found: FamilyFit) -> list[FloatArray]:
    """Return starts that do not all lean on the same readings."""
    response = found.response
    peaks = [rough_peak(trace)]
    residual = np.abs(_residuals(trace, found, found.minimum.parameters))
    without = residual <= np.quantile(residual, 0.9)
    if np.count_nonzero(without) > response.n_parameters:
        peaks += peak_starts(trace.select(without), response=response)
    starts = [found.minimum.parameters]
    for peak in peaks:
        starts += response.starts(
            peak, frequency_hz=trace.frequency_hz, amplitude_v=trace.amplitude_v
        )
    return starts


def _robust_minimum(trace: Trace, found: FamilyFit, start: FloatArray) -> FloatArray:
    """Return parameters fitted with weights that far readings lose."""
    parameters = start
    for _ in range(ROBUST_PASSES):
        residual = _residuals(trace, found, parameters)
        scale = max(_robust_scale(residual, parameters.size), 1e-12)
        soft = 1.0 / (1.0 + (residual / (SOFT * scale)) ** 2) ** 2
        minimum = minimise(
            found.response,
            parameters,
            frequency_hz=trace.frequency_hz,
            amplitude_v=trace.amplitude_v,
            weight=found.weight * soft,
            max_steps=STEPS_A_PASS,
        )
        parameters = minimum.parameters
    return parameters


def _starts(trace: Trace, keep: BoolArray, found: FamilyFit) -> list[FloatArray]:
    """Return starts for the readings that are kept."""
    kept = trace.select(keep)
    starts = [found.minimum.parameters]
    for peak in peak_starts(kept, response=found.response):
        starts += found.response.starts(
            peak, frequency_hz=kept.frequency_hz, amplitude_v=kept.amplitude_v
        )
    return starts


def _belongs(
    trace: Trace, keep: BoolArray, refit: FamilyFit, noise: NoiseModel | None
) -> BoolArray:
    """Return which readings lie within what normal residuals would show."""
    whole = replace(refit, weight=_weights_everywhere(trace, keep, refit, noise))
    residual = _residuals(trace, whole, refit.minimum.parameters)
    scale2 = refit.minimum.cost / max(refit.n_free, 1)
    if refit.noise_known:
        scale2 = max(scale2, refit.variance)
    # The curve's own uncertainty narrows a fitted residual and widens another's.
    _, slopes = refit.response.amplitude_and_slopes(
        trace.frequency_hz, refit.minimum.parameters
    )
    leverage = whole.weight * np.einsum(
        "in,ij,jn->n", slopes, refit.minimum.inverse_normal, slopes
    )
    spread = np.sqrt(
        scale2 * np.where(keep, np.maximum(1.0 - leverage, 0.05), 1.0 + leverage)
    )
    limit = special.stdtrit(
        max(refit.n_free - 1, 1), 1.0 - 0.5 * REFUSAL_RISK / trace.n_readings
    )
    result: BoolArray = np.abs(residual) <= limit * spread
    return result


def _weights_everywhere(
    trace: Trace, keep: BoolArray, refit: FamilyFit, noise: NoiseModel | None
) -> FloatArray:
    """Return weights for all readings, the refused ones weighed by the curve there."""
    if keep.all():
        return refit.weight
    result: FloatArray
    if noise is not None:
        curve = refit.response.amplitude(trace.frequency_hz, refit.minimum.parameters)
        result = noise.u_v(curve) ** -2.0
    elif trace.u_amplitude_v is not None:
        result = trace.u_amplitude_v**-2.0
    else:
        result = np.ones(trace.n_readings)
    return result * (float(refit.weight[0]) / float(result[keep][0]))


def _bearable(trace: Trace, keep: BoolArray, response: Response) -> bool:
    """Return whether what was left out can still be called glitches."""
    n_left_out = int(np.count_nonzero(~keep))
    if n_left_out > MAX_SHARE * keep.size:
        return False
    if keep.size - n_left_out < response.n_parameters + SPARE:
        return False
    out = ~keep[trace.order]
    edges = np.flatnonzero(np.diff(np.concatenate(([0], out.astype(np.int8), [0]))))
    runs = edges[1::2] - edges[::2]
    return bool(runs.size == 0 or runs.max() <= MAX_RUN)


def spikes_of(trace: Trace) -> BoolArray:
    """Return the lone readings that tower over all that have neighbours like them.

    A spike many times the peak can leave least squares nothing to start from. Whatever
    is above three times the highest running median of three is one, whoever is there.
    """
    highest = float(running_median(trace.amplitude_v[trace.order]).max())
    result: BoolArray = trace.amplitude_v > TOWERING * highest
    return result
