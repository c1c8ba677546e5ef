"""What the residuals of a fit show: another shape, or repeats that disagree."""

import math

import numpy as np
from scipy import special

from ..quantity import FloatArray
from .curves import LeakyPeak, Peak
from .family_fit import FamilyFit
from .neighbours import MAD_TO_SIGMA, local_scatter
from .trace import Trace

__all__ = [
    "RISK",
    "growth_of_pattern",
    "misfit_of",
    "repeats_disagree",
    "show_pattern",
]

RISK = 5e-4  # of a false flag, for each test of its own
LEAST_FREE = 3  # degrees of freedom that a test takes
LEAST_NEIGHBOURS = 9
MOST_TOGETHER = 0.95
APART = 8.0  # times the others' scatter that repeats may differ by
ROUNDING = 1e-20  # of the readings' power: residuals below it are arithmetic


def _weighted(trace: Trace, found: FamilyFit) -> FloatArray:
    """Return the residuals in units of the readings' own weights, shape (N,)."""
    apart: FloatArray = trace.amplitude_v - found.minimum.amplitude_v
    return apart * np.sqrt(found.weight)


def misfit_of(trace: Trace, found: FamilyFit) -> tuple[float, float]:
    """Return the r.m.s. residual that neighbours share, and the scatter they do not.

    Both in units of the readings' own weights. Lone far readings count in neither.
    """
    residual = _weighted(trace, found)[trace.order]
    if residual.size < LEAST_NEIGHBOURS:
        return 0.0, math.inf
    shared = float(np.mean(residual[1:] * residual[:-1]))
    return math.sqrt(max(shared, 0.0)), local_scatter(residual)


def growth_of_pattern(trace: Trace, found: FamilyFit) -> float:
    """Return by what neighbours that go together multiply a variance.

    With a first autocorrelation r, N readings count as N (1 - r)/(1 + r).
    """
    residual = _weighted(trace, found)[trace.order]
    power = float(residual @ residual)
    if power <= 0.0:
        return 1.0
    together = float(residual[1:] @ residual[:-1]) / power
    together = min(max(together, 0.0), MOST_TOGETHER)
    return (1.0 + together) / (1.0 - together)


def show_pattern(trace: Trace, found: FamilyFit) -> bool:
    """Return whether the residuals are not those of noise about the right curve."""
    power = float(found.weight @ trace.amplitude_v**2)
    if found.n_free < 1 or found.minimum.cost <= ROUNDING * power:
        return False
    residual = _weighted(trace, found)
    return (
        _neighbours_agree(residual[trace.order], found.minimum.parameters.size)
        or _other_shape(trace, residual, found)
        or _lack_of_fit(trace.frequency_hz, residual, found)
    )


def _neighbours_agree(residual: FloatArray, n_parameters: int) -> bool:
    """Return whether neighbouring residuals share their sign and size too often.

    The first autocorrelation of N white residuals has the variance 1/N nearly; a fit
    of p parameters lowers its mean by about p/N, which is not made use of.
    """
    power = float(residual @ residual)
    n_free = residual.size - n_parameters
    if power <= 0.0 or n_free < LEAST_FREE:
        return False
    together = float(residual[1:] @ residual[:-1]) / power
    return together * math.sqrt(residual.size) > float(special.ndtri(1.0 - RISK))


def _other_shape(trace: Trace, residual: FloatArray, found: FamilyFit) -> bool:
    """Return whether a floor, leakage or another slope would take up the residuals.

    A score test: residuals are projected on what those shapes would add, less what
    the fitted parameters take up already. Beside the flag of neighbours it sees the
    faults that cost Q most, on few readings too.
    """
    response = found.response
    if type(response) is not Peak or found.n_free < 2 * LEAST_FREE:
        return False
    leaky = LeakyPeak(exponent=response.exponent)
    _, slopes = leaky.amplitude_and_slopes(
        trace.frequency_hz, np.append(found.minimum.parameters, (0.0, 0.0))
    )
    root = np.sqrt(found.weight)
    basis = np.linalg.qr((slopes * root).T)[0][:, 3:]
    taken = float(np.sum((basis.T @ residual) ** 2))
    left = max(float(residual @ residual) - taken, 1e-300)
    n_left = found.n_free - basis.shape[1]
    ratio = (taken / basis.shape[1]) / (left / n_left)
    return bool(special.fdtrc(basis.shape[1], n_left, ratio) < RISK)


def _lack_of_fit(frequency: FloatArray, residual: FloatArray, found: FamilyFit) -> bool:
    """Return whether repeated readings agree better among themselves than with it."""
    _, where, count = np.unique(frequency, return_inverse=True, return_counts=True)
    pure_dof = int(frequency.size - count.size)
    lack_dof = int(count.size) - found.minimum.parameters.size
    if pure_dof < LEAST_FREE or lack_dof < 1:
        return False
    mean = np.bincount(where, weights=residual) / count
    pure = float(np.sum((residual - mean[where]) ** 2))
    lack = float(residual @ residual) - pure
    if pure <= 0.0:
        return False
    ratio = (lack / lack_dof) / (pure / pure_dof)
    return bool(special.fdtrc(lack_dof, pure_dof, ratio) < RISK)


def repeats_disagree(trace: Trace, found: FamilyFit) -> bool:
    """Return whether repeats at a frequency fall into groups far apart.

    Far is eight times the scatter of the residuals at all other frequencies, robustly
    taken; a lone far repeat is a glitch and no group, unless it is one of two.
    """
    curve = found.response.amplitude(trace.frequency_hz, found.minimum.parameters)
    residual = trace.amplitude_v - curve
    _, where, count = np.unique(
        trace.frequency_hz, return_inverse=True, return_counts=True
    )
    for group in np.flatnonzero(count >= 4):  # noqa: PLR2004 - two and two
        own = np.sort(residual[where == group])
        gaps = np.diff(own)[1:-1]  # two readings at least on either side
        others = residual[where != group]
        if others.size < LEAST_NEIGHBOURS:
            continue
        scatter = MAD_TO_SIGMA * float(np.median(np.abs(others - np.median(others))))
        inside = float(own[-1] - own[0] - gaps.max())
        if gaps.max() > max(APART * scatter, 2.0 * inside):
            return True
    return False
