"""Make a detector its own standard: its law from known steps of the generator.

At a fixed frequency nothing between generator and detector changes, so the amplitude
at the detector is proportional to the generator's level, whatever the factor. Stepping
the level by known ratios and noting what the detector indicates gives its law up to
that factor, which a resonance's frequency and Q do not depend on.

The law is a monotone cubic through the mean of every level, in logarithms of both: a
detector follows a power law at either end, which is a straight line there, and the
step between is smooth. A monotone cubic cannot overshoot, and rises wherever the
readings do.

References
----------
F. N. Fritsch, J. Butland (1984), SIAM J. Sci. Stat. Comput. 5(2), the harmonic mean
for the slopes (scipy's `PchipInterpolator`).
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from ..errors import AnalysisError, InputError
from ..quantity import FloatArray
from .law import WITHIN_DB, DetectorLaw

__all__ = ["LinearityFit", "fit_law"]

LEAST_LEVELS = 5
# A mean whose own standard error is above this share tells little of the law; the
# levels from there down are left out.
NOISY = 0.05
COVERAGE = 3.0  # standard errors that noise is given as a limit


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearityFit:
    """A detector's law and how well it is known.

    Attributes
    ----------
    law
        The law; at its highest level true and indicated agree.
    left_over
        Limits of the relative error of a ratio of two amplitudes within 20 dB of the
        highest, from the law and its readings alone.
    steepest, flattest
        Slope d ln(indicated) / d ln(true) at its extremes: 2 is square law.
    n_left_out
        Levels left out at the bottom, too noisy to tell.
    """

    law: DetectorLaw
    left_over: float
    steepest: float
    flattest: float
    n_left_out: int


def fit_law(level: FloatArray, *, indicated_v: FloatArray) -> LinearityFit:
    """Fit a detector's law to readings at known levels.

    Parameters
    ----------
    level
        The generator's level at each reading, proportional to volts, shape (N,), > 0.
        Levels are told apart by their values, so a repeated one must repeat exactly.
    indicated_v
        What the detector indicated, in V of its own scale, shape (N,), >= 0.

    Raises
    ------
    InputError
        The columns do not belong together.
    AnalysisError
        Fewer than 5 levels above the noise, or what is indicated does not rise.

    Notes
    -----
    The left-over is the sum of two, both within 20 dB of the top. One is the largest
    error with which a law that lacks a level predicts it: leaving it out doubles the
    spacing there, so this is more than the law's own error between its nodes. The
    other is three standard errors of the means, as a ratio to the top has them. It does
    not hold the generator's errors: add the limits of its level ratios.
    """
    if level.shape != indicated_v.shape or level.ndim != 1:
        raise InputError("a law needs one level for every reading")
    if not (np.all(level > 0.0) and np.all(np.isfinite(indicated_v))):
        raise InputError("a law needs levels above zero and finite readings")
    levels, mean, error = _means(level, indicated_v)
    first = _first_quiet(mean, error)
    levels, mean, error = levels[first:], mean[first:], error[first:]
    _refuse_few(levels.size, of=levels.size + first)
    _refuse_falling(levels, mean)
    x, y = np.log(mean), np.log(levels * (mean[-1] / levels[-1]))
    slope = PchipInterpolator(x, y).derivative()(x)
    # An end's slope may come out as nought; the law must go on from there.
    secant = np.gradient(y, x)
    slope = np.where(slope > 0.0, slope, np.maximum(secant, 0.0))
    near = y >= y[-1] - WITHIN_DB / 20.0 * math.log(10.0)
    rises = np.diff(x) / np.diff(y)
    noise = error / mean * slope
    scatter = COVERAGE * np.hypot(noise, noise[-1])[near].max()
    return LinearityFit(
        law=DetectorLaw(
            indicated_v=tuple(mean.tolist()),
            true_v=tuple(np.exp(y).tolist()),
            slope=tuple(slope.tolist()),
        ),
        left_over=float(np.abs(_left_out(x, y))[near[1:-1]].max() + scatter),
        steepest=float(rises.max()),
        flattest=float(rises.min()),
        n_left_out=first,
    )


def _means(
    level: FloatArray, indicated_v: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the levels in order, the mean indicated at each, and its error."""
    levels, which = np.unique(level, return_inverse=True)
    count = np.bincount(which)
    mean = np.bincount(which, weights=indicated_v) / count
    square = np.bincount(which, weights=(indicated_v - mean[which]) ** 2)
    error = np.sqrt(square / np.maximum(count - 1, 1) / count)
    return levels, mean, error


def _first_quiet(mean: FloatArray, error: FloatArray) -> int:
    """Index of the lowest level from which all upwards stand above the noise."""
    noisy = (mean <= 0.0) | (error > NOISY * mean)
    return int(np.flatnonzero(noisy).max()) + 1 if noisy.any() else 0


def _refuse_few(n_levels: int, *, of: int) -> None:
    if n_levels < LEAST_LEVELS:
        raise AnalysisError(
            f"{n_levels} of {of} levels stand above the detector's noise and "
            f"{LEAST_LEVELS} are needed: raise the highest level, or move the "
            "frequency nearer to the peak",
            n_levels=n_levels,
        )


def _refuse_falling(levels: FloatArray, mean: FloatArray) -> None:
    falls = np.flatnonzero(np.diff(mean) <= 0.0)
    if falls.size:
        at = int(falls[0])
        step_db = 20.0 * math.log10(levels[at + 1] / levels[at])
        raise AnalysisError(
            f"the detector indicates {mean[at]:.4g} V at one level and not more at the "
            f"next, {step_db:.2g} dB higher: it is overloaded, drifts, or did not see "
            "the step",
            indicated_v=float(mean[at]),
        )


def _left_out(x: FloatArray, y: FloatArray) -> FloatArray:
    """Error at every inner node of the law that lacks it, shape (N - 2,)."""
    errors = [
        float(PchipInterpolator(np.delete(x, j), np.delete(y, j))(x[j])) - y[j]
        for j in range(1, x.size - 1)
    ]
    return np.array(errors)
