"""3x3 algebra for many traces at once, and the way from coefficients to a peak.

A symmetric matrix per trace is held as its six numbers in the order of
:data:`PAIRS`, shape (6, M).
"""

from dataclasses import dataclass

import numpy as np

from ...quantity import FloatArray

__all__ = [
    "PAIRS",
    "Coefficients",
    "PeakRows",
    "invert_symmetric",
    "peak_and_slopes",
    "times_symmetric",
]

PAIRS = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))


def invert_symmetric(m: FloatArray) -> FloatArray:
    """Return the inverses of symmetric 3x3 matrices, shape (6, M), by cofactors."""
    a, b, c, d, e, f = m
    out = np.empty_like(m)
    out[0] = d * f - e * e
    out[1] = c * e - b * f
    out[2] = b * e - c * d
    out[3] = a * f - c * c
    out[4] = b * c - a * e
    out[5] = a * d - b * b
    out /= a * out[0] + b * out[1] + c * out[2]
    return out


def times_symmetric(m: FloatArray, x: FloatArray) -> FloatArray:
    """Return the products of symmetric 3x3 matrices, (6, M), and vectors, (M, 3)."""
    a, b, c, d, e, f = m
    x0, x1, x2 = x.T
    return np.stack(
        (a * x0 + b * x1 + c * x2, b * x0 + d * x1 + e * x2, c * x0 + e * x1 + f * x2),
        axis=1,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coefficients:
    """Coefficients of reciprocal powers.

    Attributes
    ----------
    c, bias
        c0, c1, c2 of each trace in scaled units, and their bias, shape (M, 3).
    inverse
        Their covariances, shape (6, M).
    scale
        What the basis functions were divided by, shape (3,).
    """

    c: FloatArray
    bias: FloatArray
    inverse: FloatArray
    scale: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PeakRows:
    """Peaks as (f0/f_r, Q, A), shape (M, 3), and covariances, shape (M, 3, 3)."""

    values: FloatArray
    covariance: FloatArray


def peak_and_slopes(found: Coefficients, *, exponent: float) -> PeakRows:
    """Return the peaks of coefficients, less their bias of second order.

    Notes
    -----
    The mean of a function of noisy coefficients is ``h(c) + h' . bias + tr(h'' C)/2``;
    the trace is taken as second differences along the columns of a root of C.
    """
    values = _log_peak(found.c, found.scale, exponent)
    slopes = _slopes(found.c, found.scale, exponent)
    drift = np.einsum("mij,mj->mi", slopes, found.bias)
    bend = -6.0 * values
    for column in _root_columns(found.inverse):
        bend += _log_peak(found.c + column, found.scale, exponent)
        bend += _log_peak(found.c - column, found.scale, exponent)
    a, b, c, d, e, f = found.inverse
    full = np.empty((a.size, 3, 3))
    for (i, j), entry in zip(PAIRS, (a, b, c, d, e, f), strict=True):
        full[:, i, j] = entry
        full[:, j, i] = entry
    covariance = slopes @ full @ slopes.transpose(0, 2, 1)
    variance = np.einsum("mii->mi", covariance)
    # From logarithms to values: E exp(d) = 1 + E d + var(d)/2
    bias = drift + 0.5 * bend + 0.5 * variance
    usable = np.abs(bias) <= 0.5 * np.sqrt(variance)
    values = np.exp(values - np.where(usable, bias, 0.0))
    return PeakRows(
        values=values,
        covariance=covariance * values[:, :, None] * values[:, None, :],
    )


def _log_peak(c: FloatArray, scale: FloatArray, exponent: float) -> FloatArray:
    """Return the logarithms of f0/f_r, Q and A, shape (M, 3)."""
    c0, c1, c2 = (c / scale).T
    root = np.sqrt((c2 - c1) * (c2 + c1))
    inverse_power = c0 - 2.0 * c1 * c1 / (c2 + root)
    log_f = 0.25 * (np.log1p(-c1 / c2) - np.log1p(c1 / c2))
    log_ip = np.log(inverse_power)
    return np.stack(
        (log_f, 0.5 * (np.log(root) - log_ip), exponent * log_f - 0.5 * log_ip), axis=1
    )


def _slopes(c: FloatArray, scale: FloatArray, exponent: float) -> FloatArray:
    """Return d(ln f0, ln Q, ln A)/d(c), shape (M, 3, 3)."""
    c0, c1, c2 = (c / scale).T
    square = (c2 - c1) * (c2 + c1)
    root = np.sqrt(square)
    inverse_power = c0 - 2.0 * c1 * c1 / (c2 + root)
    d_ip = (
        np.stack(
            (np.ones_like(c0), -2.0 * c1 / root, 2.0 * c1 * c1 / (root * (c2 + root)))
        )
        / inverse_power
    )
    d_root = np.stack((np.zeros_like(c0), -c1 / square, c2 / square))
    d_f = np.stack((np.zeros_like(c0), -0.5 * c2 / square, 0.5 * c1 / square))
    slopes = np.stack((d_f, 0.5 * (d_root - d_ip), exponent * d_f - 0.5 * d_ip))
    result: FloatArray = slopes.transpose(2, 0, 1) / scale
    return result


def _root_columns(m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the columns, each (M, 3), of Cholesky roots of covariances (6, M)."""
    a, b, c, d, e, f = m
    zero = np.zeros_like(a)
    r00 = np.sqrt(a)
    r10, r20 = b / r00, c / r00
    r11 = np.sqrt(d - r10 * r10)
    r21 = (e - r10 * r20) / r11
    r22 = np.sqrt(np.maximum(f - r20 * r20 - r21 * r21, 0.0))
    return (
        np.stack((r00, r10, r20), axis=1),
        np.stack((zero, r11, r21), axis=1),
        np.stack((zero, zero, r22), axis=1),
    )
