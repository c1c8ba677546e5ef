"""Whether the scatter about a curve is the same everywhere or goes with the amplitude.

A detector's own noise is constant; a level that wanders, a gain that scatters, readings
on a scale of decibels have noise in proportion. Taken as constant, such a noise leans a
fit on the skirts' small residuals for its size and on the top's large ones for its
answer, and both come out wrong. The variance is ``s^2 h`` with ``h = 1 + (r V/A)^2``.

r is chosen by the restricted likelihood (Patterson and Thompson 1971), which counts
that a curve passes close to the few readings that fix it:
``-2 ln L = (n - p) ln(cost) + sum ln h + ln det(J' H^-1 J)``,
with the curve moved to each law's own minimum in one linear step.
"""

import math

import numpy as np

from .family_fit import FamilyFit
from .noise import NoiseModel
from .trace import FloatArray, Trace

__all__ = ["PROPORTIONAL", "law_of_residuals"]

RATIOS = (3.0, 10.0, 30.0, math.inf)  # proportional noise at the peak over constant
PROPORTIONAL = NoiseModel(proportional=1.0, scale_known=False)
EVIDENCE = 9.0  # of -2 ln L: 0.3 % by chance for one parameter more; a law taken for
# nothing costs more where the readings are few than one missed
MIN_FREE = 4  # residuals beyond the parameters before their law can be told


def law_of_residuals(
    trace: Trace, found: FamilyFit, *, assumed: NoiseModel | None
) -> NoiseModel | None:
    """Tell from a fit's residuals how the noise goes with the amplitude.

    Parameters
    ----------
    trace
        The readings that the fit used.
    found
        The fit.
    assumed
        The law to keep unless another one is better by more than chance gives; None
        is constant noise.

    Returns
    -------
    NoiseModel or None
        The law, its size left to the scatter; None is constant noise.
    """
    missed = trace.amplitude_v - found.minimum.amplitude_v
    if found.n_free < MIN_FREE or not np.any(missed):
        return assumed
    laws: list[tuple[float, NoiseModel | None]] = [(_misfit(trace, found, 0.0), None)]
    laws.extend((_misfit(trace, found, ratio), _law(found, ratio)) for ratio in RATIOS)
    best = min(laws, key=lambda law: law[0])
    own = laws[0] if assumed is None else laws[-1]
    return best[1] if own[0] - best[0] > EVIDENCE else assumed


def _law(found: FamilyFit, ratio: float) -> NoiseModel:
    if math.isinf(ratio):
        return PROPORTIONAL
    peak_v = float(np.max(np.abs(found.minimum.amplitude_v)))
    return NoiseModel(constant_v=peak_v / ratio, proportional=1.0, scale_known=False)


def _misfit(trace: Trace, found: FamilyFit, ratio: float) -> float:
    """Return -2 ln L, restricted, of residuals of variance s^2 h."""
    curve, slopes = found.response.amplitude_and_slopes(
        trace.frequency_hz, found.minimum.parameters
    )
    residual = trace.amplitude_v - curve
    h = _variance(curve, ratio)
    weighted = slopes / h
    normal = weighted @ slopes.T
    pull = weighted @ residual
    try:
        step = np.linalg.solve(normal, pull)
    except np.linalg.LinAlgError:
        return math.inf
    cost = float(residual @ (residual / h) - pull @ step)
    if cost <= 0.0:
        return math.inf
    n_free = residual.size - pull.size
    logdet = float(np.linalg.slogdet(normal)[1])
    return n_free * math.log(cost) + float(np.log(h).sum()) + logdet


def _variance(curve: FloatArray, ratio: float) -> FloatArray:
    level = np.maximum(np.abs(curve) / float(np.max(np.abs(curve))), 1e-3)
    result: FloatArray = level**2 if math.isinf(ratio) else 1.0 + (ratio * level) ** 2
    return result
