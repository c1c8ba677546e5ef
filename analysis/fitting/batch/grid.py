"""Fit many traces on one grid of frequencies at once: lots, re-analysis, Monte Carlo.

The reciprocal power of a peak is linear in three coefficients (closed_form.py), so the
amplitude is ``V = p^(-1/2)`` with ``p = c . b`` and b fixed by the grid. Everything a
Gauss-Newton step in c needs, ``J = -V^3 b/2``, comes out of one product of matrices
for a whole chunk of traces, and the 3x3 systems are solved by formula. The minimum is
the same as that of a fit of f0, Q and A, and so is its bias of second order:
``H = 3/4 V^5 b b^T`` gives it without a further pass.

Chunks are sized to stay in the cache; memory beyond the inputs and outputs is that of
one chunk.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...errors import InputError
from ...quantity import FloatArray, checked_column
from .. import Flag
from .algebra import (
    PAIRS,
    Coefficients,
    invert_symmetric,
    peak_and_slopes,
    times_symmetric,
)

__all__ = ["BatchFit", "fit_batch", "judged"]

BoolArray = NDArray[np.bool_]

CHUNK_ELEMENTS = 100_000  # readings in a chunk: its few arrays stay in the cache
UNKNOWNS = 3
COMMON_STEPS = 2  # Gauss-Newton steps that every trace takes
MAX_STEPS = 12  # further ones, for the traces that have not settled
SETTLED = 0.02**2  # square of a step in standard uncertainties
HIGHEST = 3.0  # the curve is not taken to rise above this many highest readings
WEAK_PEAK = 8.0
LARGEST_Q_DOUBT = 1.0 / 3.0
LOW_Q = 10.0
FEW_FREE = 10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BatchFit:
    """Resonances fitted to M traces, arrays of shape (M,) unless said.

    Attributes
    ----------
    fitted
        False where a trace shows no resonance within the grid, or is not finite; the
        other arrays hold NaN there.
    resonant_frequency_hz, loaded_q, amplitude_v
        f0, loaded Q and height.
    covariance
        Of (f0, Q, A), shape (M, 3, 3).
    noise_v
        Scatter of the readings about the curve in V (with stated uncertainties: the
        factor by which they must be multiplied to match it, so 1 is right).
    flag_masks
        For every flag that a batch can raise, which traces raise it.
    """

    fitted: BoolArray
    resonant_frequency_hz: FloatArray
    loaded_q: FloatArray
    amplitude_v: FloatArray
    covariance: FloatArray
    noise_v: FloatArray
    flag_masks: tuple[tuple[Flag, BoolArray], ...]

    @property
    def u_resonant_frequency_hz(self) -> FloatArray:
        """Standard uncertainty of f0 in Hz."""
        return np.sqrt(self.covariance[:, 0, 0])

    @property
    def u_loaded_q(self) -> FloatArray:
        """Standard uncertainty of Q."""
        return np.sqrt(self.covariance[:, 1, 1])

    @property
    def u_amplitude_v(self) -> FloatArray:
        """Standard uncertainty of the height in V."""
        return np.sqrt(self.covariance[:, 2, 2])

    @property
    def flagged(self) -> BoolArray:
        """Which traces raise any flag at all."""
        result = np.zeros(self.fitted.size, dtype=np.bool_)
        for _, mask in self.flag_masks:
            result |= mask
        return result

    def flags_of(self, index: int) -> tuple[Flag, ...]:
        """Return the flags of one trace."""
        return tuple(flag for flag, mask in self.flag_masks if mask[index])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grid:
    """What the frequencies fix: the rows b/g, their products, and the weights."""

    frequency_hz: FloatArray
    reference_hz: float
    exponent: float
    rows: FloatArray  # (3, N): 1, v, u over g, each scaled to about 1
    pair_rows: FloatArray  # (N, 6): weighted products of two rows
    single_rows: FloatArray  # (N, 3): weighted rows
    weight: FloatArray | None  # (N,): 1/u^2, or None for equal weights
    scale: FloatArray  # (3,): what v and u were divided by


def fit_batch(
    frequency_hz: FloatArray,
    *,
    amplitude_v: FloatArray,
    u_amplitude_v: FloatArray | None = None,
    exponent: float = 0.0,
    chunk: int | None = None,
) -> BatchFit:
    """Fit a peak ``A x^k / sqrt(1 + Q^2 (x - 1/x)^2)`` to each of many traces.

    Parameters
    ----------
    frequency_hz
        Frequencies in Hz that all traces were read at, shape (N,), N >= 4 (3 where
        the uncertainty is stated), > 0.
    amplitude_v
        Amplitudes in V, shape (M, N). Read a chunk at a time: it may be a memory map.
    u_amplitude_v
        Standard uncertainty in V of a reading at each frequency, shape (N,); by
        default each trace's scatter about its curve.
    exponent
        The fixture's k.
    chunk
        Traces in a chunk; by default what fits the cache.

    Raises
    ------
    InputError
        Shapes that do not match, too few or unusable frequencies.

    Notes
    -----
    For clean peaks it gives what `fit` gives, bias of second order included, to a few
    hundredths of a standard uncertainty (test_batch.py). It refuses no glitches and
    knows one family: `fit` is for one trace at a time, and for doubt.
    """
    frequency = checked_column(frequency_hz, name="frequency_hz")
    need = UNKNOWNS + (u_amplitude_v is None)
    if np.unique(frequency).size < UNKNOWNS or frequency.size < need:
        raise InputError(
            f"{frequency.size} readings a trace cannot fix a peak; take {need} or more"
        )
    if amplitude_v.ndim != 2 or amplitude_v.shape[1] != frequency.size:  # noqa: PLR2004 - rows and columns
        raise InputError(
            f"amplitude_v is of shape {amplitude_v.shape}; it must be (M, "
            f"{frequency.size}), a row for each trace"
        )
    weight = None
    if u_amplitude_v is not None:
        u = checked_column(u_amplitude_v, name="u_amplitude_v")
        if u.size != frequency.size:
            raise InputError(
                f"u_amplitude_v has {u.size} values for {frequency.size} frequencies"
            )
        weight = u**-2.0
    grid = _grid(frequency, exponent, weight)
    n_traces = amplitude_v.shape[0]
    if chunk is None:
        chunk = max(CHUNK_ELEMENTS // frequency.size, 1)
    values = np.empty((n_traces, 4))
    covariance = np.empty((n_traces, 3, 3))
    for begin in range(0, n_traces, max(chunk, 1)):
        rows = slice(begin, begin + max(chunk, 1))
        _fit_chunk(grid, amplitude_v[rows], values[rows], covariance[rows])
    return judged(
        values,
        covariance,
        edges=(float(grid.frequency_hz.min()), float(grid.frequency_hz.max())),
        few=grid.weight is None and grid.frequency_hz.size - UNKNOWNS < FEW_FREE,
    )


def _grid(frequency: FloatArray, exponent: float, weight: FloatArray | None) -> _Grid:
    """Work out what all traces share."""
    reference = float(np.sqrt(frequency.min() * frequency.max()))
    xi = np.log1p((frequency - reference) / reference)
    v, u = 2.0 * np.sinh(2.0 * xi), 4.0 * np.sinh(xi) ** 2
    scale = np.array([1.0, float(np.abs(v).max()), float(u.max())])
    gain = np.exp(2.0 * exponent * xi)
    rows = np.stack((np.ones_like(xi), v / scale[1], u / scale[2])) / gain
    weighted = rows if weight is None else rows * weight
    return _Grid(
        frequency_hz=frequency,
        reference_hz=reference,
        exponent=exponent,
        rows=np.ascontiguousarray(rows),
        pair_rows=np.ascontiguousarray(
            np.stack([weighted[i] * rows[j] for i, j in PAIRS], axis=1)
        ),
        single_rows=np.ascontiguousarray(weighted.T),
        weight=weight,
        scale=scale,
    )


def _fit_chunk(
    grid: _Grid, amplitude: FloatArray, values: FloatArray, covariance: FloatArray
) -> None:
    """Fit a chunk, writing (f0, Q, A, noise) and the covariances into place."""
    with np.errstate(all="ignore"):  # a trace that yields no numbers is found below
        top = amplitude.max(axis=1)
        v = amplitude / top[:, None]
        c = _first(grid, v)
        for _ in range(COMMON_STEPS):
            c, normal, cost, gain = _step(grid, v, c)
        open_ = np.flatnonzero(~_settled(grid, cost, gain))
        for _ in range(MAX_STEPS):
            if open_.size == 0:
                break
            c[open_], normal[:, open_], cost[open_], gain[open_] = _step(
                grid, v[open_], c[open_]
            )
            open_ = open_[~_settled(grid, cost[open_], gain[open_])]
        left = np.maximum(cost - gain, 0.0)
        n_free = max(grid.frequency_hz.size - UNKNOWNS, 1)
        variance = left / n_free
        # The weights are 1/u^2 with V in units of its highest reading.
        unit = variance if grid.weight is None else top**-2.0
        inverse = invert_symmetric(normal) * unit
        bias = _bias(grid, c, inverse, unit)
        peak = peak_and_slopes(
            Coefficients(c=c, inverse=inverse, bias=bias, scale=grid.scale),
            exponent=grid.exponent,
        )
        good = np.isfinite(peak.values).all(axis=1) & np.isfinite(top)
        good[open_] = False
        f0 = peak.values[:, 0] * grid.reference_hz
        good &= (f0 >= grid.frequency_hz.min()) & (f0 <= grid.frequency_hz.max())
        size = np.stack(
            (np.full_like(top, grid.reference_hz), np.ones_like(top), top), axis=1
        )
        values[:, :3] = peak.values * size
        values[:, 3] = np.sqrt(variance) * top
        covariance[:] = peak.covariance * size[:, :, None] * size[:, None, :]
        values[~good] = np.nan
        covariance[~good] = np.nan


def _first(grid: _Grid, v: FloatArray) -> FloatArray:
    """Return the closed form's coefficients, weighted by the readings' own V^3."""
    v2 = v * v
    v4 = v2 * v2
    right = v4 @ grid.single_rows
    v4 *= v2
    return times_symmetric(invert_symmetric((v4 @ grid.pair_rows).T), right)


def _step(
    grid: _Grid, v: FloatArray, c: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Take a Gauss-Newton step; return c, the normal matrix, the cost and its gain."""
    p = c @ grid.rows
    np.maximum(p, HIGHEST**-2.0, out=p)
    np.divide(1.0, p, out=p)
    curve = np.sqrt(p)
    p *= curve  # V^3
    np.subtract(v, curve, out=curve)
    if grid.weight is None:
        cost = np.einsum("ij,ij->i", curve, curve)
    else:
        cost = np.square(curve) @ grid.weight
    curve *= p
    gradient = -0.5 * (curve @ grid.single_rows)
    np.multiply(p, p, out=p)
    normal = 0.25 * (p @ grid.pair_rows).T
    step = times_symmetric(invert_symmetric(normal), gradient)
    gain = np.einsum("ij,ij->i", step, gradient)
    moved = c + step
    for _ in range(4):  # a step past where a peak can be is halved
        lost = ~_is_peak(grid, moved) & _is_peak(grid, c)
        if not lost.any():
            break
        step[lost] *= 0.5
        moved[lost] = c[lost] + step[lost]
    return moved, normal, cost, gain


def _is_peak(grid: _Grid, c: FloatArray) -> BoolArray:
    """Return which coefficients are those of a peak."""
    c1, c2 = c[:, 1] / grid.scale[1], c[:, 2] / grid.scale[2]
    curved = c2 > np.abs(c1)
    root = np.sqrt(np.maximum(c2 * c2 - c1 * c1, 0.0))
    result: BoolArray = curved & (c[:, 0] > 2.0 * c1 * c1 / (c2 + root))
    return result


def _settled(grid: _Grid, cost: FloatArray, gain: FloatArray) -> BoolArray:
    """Return which traces would move by less than matters."""
    n_free = max(grid.frequency_hz.size - UNKNOWNS, 1)
    result: BoolArray = gain <= SETTLED * np.maximum(cost - gain, 1e-28) / n_free
    return result


def _bias(
    grid: _Grid, c: FloatArray, inverse: FloatArray, unit: FloatArray
) -> FloatArray:
    """Return the second-order bias of the coefficients (Box 1971, eq. 2.24)."""
    # The variance of p at each reading, b^T C b, from the six products of two rows.
    twice = np.array([1.0 if i == j else 2.0 for i, j in PAIRS])
    pairs = np.stack([grid.rows[i] * grid.rows[j] for i, j in PAIRS]) * twice[:, None]
    spread = inverse.T @ pairs
    p = np.maximum(c @ grid.rows, HIGHEST**-2.0)
    np.multiply(p, p, out=p)
    np.multiply(p, p, out=p)
    spread /= p  # V^8 b^T C b
    right = (0.5 * 0.5 * 0.75) * (spread @ grid.single_rows)
    return times_symmetric(inverse / unit, right)


def judged(
    values: FloatArray,
    covariance: FloatArray,
    *,
    edges: tuple[FloatArray | float, FloatArray | float],
    few: bool,
) -> BatchFit:
    """Put the result together and raise its flags.

    Parameters
    ----------
    values
        f0, Q, A and the noise of each trace, shape (M, 4); NaN: not fitted.
    covariance
        Of f0, Q and A, shape (M, 3, 3).
    edges
        Lowest and highest frequency read, in Hz, shape (M,) or the same for all.
    few
        Whether there are too few readings to tell their own noise.
    """
    f0, q_factor, height, noise = (np.ascontiguousarray(column) for column in values.T)
    fitted = np.isfinite(f0)
    with np.errstate(invalid="ignore"):
        low, high = edges[0] / f0, edges[1] / f0
        open_ends = q_factor * np.minimum(1.0 / low - low, high - 1.0 / high) < 1.0
        doubt = np.sqrt(covariance[:, 1, 1]) > LARGEST_Q_DOUBT * q_factor
        weak = height < WEAK_PEAK * np.sqrt(covariance[:, 2, 2])
        masks: list[tuple[Flag, BoolArray]] = [
            (Flag.NOT_BRACKETED, open_ends & fitted),
            (Flag.Q_UNCERTAIN, doubt & fitted),
            (Flag.WEAK_PEAK, weak & fitted),
            (Flag.LOW_Q, (q_factor < LOW_Q) & fitted),
        ]
    if few:
        masks.append((Flag.FEW_READINGS, fitted.copy()))
    for array in (f0, q_factor, height, noise, covariance, fitted):
        array.flags.writeable = False
    return BatchFit(
        fitted=fitted,
        resonant_frequency_hz=f0,
        loaded_q=q_factor,
        amplitude_v=height,
        covariance=covariance,
        noise_v=noise,
        flag_masks=tuple(masks),
    )
