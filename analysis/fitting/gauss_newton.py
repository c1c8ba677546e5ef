"""Weighted least squares on amplitudes by damped Gauss-Newton steps.

The damping is Marquardt's (1963): the diagonal of the normal matrix grows when a step
fails and shrinks when it succeeds. Steps end when the next one would be a millionth
of a standard uncertainty, so that nothing is spent on digits that mean nothing.

The second-order bias of the estimates is Box's (1971, eq. 2.24):
``b = -1/2 N^-1 J^T W m`` with ``m_i = tr(H_i N^-1)``, H_i the curvature of reading i.
"""

from dataclasses import dataclass

import numpy as np

from ..errors import FitError
from ..quantity import FloatArray
from .curves import Response

__all__ = ["Minimum", "minimise", "second_order_bias"]

MAX_STEPS = 60
LOWEST_Q, HIGHEST_Q = 0.05, 1e9  # beyond them a curve is no resonance's
MAX_DAMPING = 1e9
START_DAMPING = 1e-4
SETTLED = 1e-12  # square of a step in standard uncertainties
ROUNDING = 1e-26  # of the readings' own sum of squares: exact data stop here


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Minimum:
    """Where least squares ended.

    Attributes
    ----------
    parameters
        Shape (p,).
    amplitude_v, slopes
        The curve there, shape (N,), and its slopes per step, shape (p, N).
    inverse_normal
        Inverse of the weighted normal matrix per step, shape (p, p).
    cost
        Weighted sum of squared residuals.
    settled
        Whether the last step was small enough to stop at.
    """

    parameters: FloatArray
    amplitude_v: FloatArray
    slopes: FloatArray
    inverse_normal: FloatArray
    cost: float
    settled: bool


def minimise(
    response: Response,
    start: FloatArray,
    *,
    frequency_hz: FloatArray,
    amplitude_v: FloatArray,
    weight: FloatArray,
    max_steps: int = MAX_STEPS,
) -> Minimum:
    """Fit a response to amplitudes from a start vector.

    Parameters
    ----------
    response
        The family of curves.
    start
        Parameter vector to start from, shape (p,).
    frequency_hz, amplitude_v
        Readings, shape (N,), N >= p.
    weight
        1/u^2 of each reading up to a common factor, shape (N,).
    max_steps
        How many steps are tried at most.

    Raises
    ------
    FitError
        The readings leave a parameter undetermined.
    """
    theta = start
    curve, slopes = response.amplitude_and_slopes(frequency_hz, theta)
    residual = amplitude_v - curve
    cost = float(weight @ (residual * residual))
    rounding = ROUNDING * float(weight @ (amplitude_v * amplitude_v))
    n_free = max(amplitude_v.size - theta.size, 1)
    damping, settled, fresh, normal = START_DAMPING, False, True, np.empty(0)
    for _ in range(max_steps):
        if fresh:
            weighted = slopes * weight
            normal = weighted @ slopes.T
            gradient = weighted @ residual
        step = _solve(normal, gradient, damping)
        gain = float(step @ gradient)
        if gain <= SETTLED * cost / n_free + rounding:
            settled = True
            break
        theta_new = response.step(theta, step)
        curve_new, slopes_new = response.amplitude_and_slopes(frequency_hz, theta_new)
        residual_new = amplitude_v - curve_new
        cost_new = float(weight @ (residual_new * residual_new))
        fresh = cost_new <= cost and LOWEST_Q < theta_new[1] < HIGHEST_Q
        if fresh:
            theta, curve, slopes = theta_new, curve_new, slopes_new
            residual, cost = residual_new, cost_new
            damping *= 0.1
        else:
            damping *= 10.0
            if damping > MAX_DAMPING:
                settled = gain <= 1e-6 * cost / n_free
                break
    weighted = slopes * weight
    return Minimum(
        parameters=theta,
        amplitude_v=curve,
        slopes=slopes,
        inverse_normal=_inverse(weighted @ slopes.T),
        cost=cost,
        settled=settled,
    )


def _solve(normal: FloatArray, gradient: FloatArray, damping: float) -> FloatArray:
    """Solve the damped normal equations."""
    damped = normal.copy()
    damped.flat[:: normal.shape[0] + 1] *= 1.0 + damping
    try:
        step = np.linalg.solve(damped, gradient).astype(np.float64, copy=False)
    except np.linalg.LinAlgError as error:
        raise FitError("the readings leave a parameter undetermined") from error
    return step


def _inverse(normal: FloatArray) -> FloatArray:
    """Invert the normal matrix, scaled so that unequal units do no harm."""
    size = np.sqrt(np.diagonal(normal))
    if not np.all(size > 0.0) or not np.all(np.isfinite(size)):
        raise FitError("the readings leave a parameter undetermined")
    try:
        inverse = np.linalg.inv(normal / np.outer(size, size))
    except np.linalg.LinAlgError as error:
        raise FitError("the readings leave a parameter undetermined") from error
    if not np.all(np.diagonal(inverse) > 0.0):
        raise FitError("the readings leave a parameter undetermined")
    result: FloatArray = inverse / np.outer(size, size)
    return result


def second_order_bias(
    response: Response,
    minimum: Minimum,
    *,
    frequency_hz: FloatArray,
    weight: FloatArray,
    variance: float,
) -> FloatArray:
    """Return the bias, in steps, that curvature and noise give the estimates.

    Parameters
    ----------
    response, minimum
        The family and where least squares ended.
    frequency_hz, weight
        As they were fitted, shape (N,).
    variance
        Variance of a reading of unit weight.

    Returns
    -------
    numpy.ndarray
        E(estimate) - truth to second order in the noise, shape (p,).

    Notes
    -----
    The traces of the curvatures are taken as second differences over one standard
    uncertainty along the columns of a root of the covariance, so that they see the
    curve's bend over the width that matters.
    """
    root = np.linalg.cholesky(minimum.inverse_normal * variance)
    bend = (-2.0 * root.shape[0]) * minimum.amplitude_v
    for column in root.T:
        for step in (column, -column):
            moved = response.step(minimum.parameters, step)
            bend = bend + response.amplitude(frequency_hz, moved)
    bias: FloatArray = (
        -0.5 * minimum.inverse_normal @ (minimum.slopes @ (weight * bend))
    )
    return bias
