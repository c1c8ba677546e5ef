"""Fit many traces at once, each read at frequencies of its own.

Parts of a lot have no grid in common: each was read where its own peak was thought to
be. The reciprocal power of a peak is linear in three coefficients (closed_form.py), so
the amplitude is ``V = p^(-1/2)`` with ``p = c . b``, and a Gauss-Newton step in c needs
sums over ``J = -V^3 b/2`` alone; the 3x3 systems are solved by formula. The minimum is
the same as that of a fit of f0, Q and A, and so is its bias of second order:
``H = 3/4 V^5 b b^T`` gives it without a further pass.

With s = x - 1/x about a reference of the trace's own, u = s^2 and v = s (x + 1/x) need
no transcendental function, and ``V x^-k = (c0 + c1 v + c2 u)^(-1/2)`` takes the
fixture's slope off readings and weights alike. The six products of two basis functions
come down to five sums, since v^2 = u^2 + 4u.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from ...errors import InputError
from ...quantity import FloatArray
from ..glitches import REFUSAL_RISK
from .algebra import (
    PAIRS,
    Coefficients,
    invert_symmetric,
    peak_and_slopes,
    times_symmetric,
)
from .grid import BatchFit, judged

__all__ = ["fit_rows"]

BoolArray = NDArray[np.bool_]

CHUNK_ELEMENTS = 100_000  # readings in a chunk: fewer calls, and still little memory
UNKNOWNS = 3
COMMON_STEPS = 2  # Gauss-Newton steps that every trace takes
MAX_STEPS = 12  # further ones, for the traces that have not settled
HALVINGS = 4  # of a step past where a peak can be
SETTLED = 0.02**2  # square of a step in standard uncertainties
HIGHEST = 3.0  # the curve is not taken to rise above this many highest readings


def _some(rows: FloatArray, index: NDArray[np.intp]) -> FloatArray:
    """Return some rows; what all traces share, (1, N), as it is."""
    return rows if len(rows) == 1 else rows[index]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Rows:
    """A chunk of traces, the fixture's slope taken off; arrays (m, N).

    Where all were read at the same frequencies, v, u and the weights of the slope are
    (1, N), and sums over a trace come out of products with one vector.
    """

    y: FloatArray  # amplitude over its highest, times x^-k
    v: FloatArray  # x^2 - x^-2, over its scale
    u: FloatArray  # (x - 1/x)^2, over its scale
    weight: FloatArray | None  # None: equal
    scale: FloatArray  # (3,): what 1, v and u were divided by

    def select(self, index: NDArray[np.intp]) -> "_Rows":
        """Return some of the traces."""
        return replace(
            self,
            y=self.y[index],
            v=_some(self.v, index),
            u=_some(self.u, index),
            weight=None if self.weight is None else _some(self.weight, index),
        )

    def power(self, c: FloatArray) -> FloatArray:
        """Return the reciprocal power of the curve."""
        p = c[:, 1:2] * self.v
        p += c[:, 0:1]
        p += c[:, 2:3] * self.u
        np.maximum(p, HIGHEST**-2.0, out=p)
        return p

    def singles(self, a: FloatArray) -> FloatArray:
        """Return the sums of a, a v and a u, shape (m, 3)."""
        if len(self.v) == 1:
            basis = np.stack((np.ones(a.shape[1]), self.v[0], self.u[0]), axis=1)
            products: FloatArray = a @ basis
            return products
        return np.stack(
            (a.sum(axis=1), _dot(a, self.v), _dot(a, self.u)),
            axis=1,
        )

    def pairs(self, a: FloatArray) -> FloatArray:
        """Return the sums of a times the products of two basis functions, (6, m)."""
        if len(self.v) == 1:
            basis = (np.ones(a.shape[1]), self.v[0], self.u[0])
            result: FloatArray = (
                a @ np.stack([basis[i] * basis[j] for i, j in PAIRS], axis=1)
            ).T
            return result
        au = a * self.u
        s_u, s_uu = au.sum(axis=1), _dot(au, self.u)
        sv, su = self.scale[1], self.scale[2]
        s_vv = (su * su * s_uu + 4.0 * su * s_u) / (sv * sv)
        return np.stack(
            (a.sum(axis=1), _dot(a, self.v), s_u, s_vv, _dot(au, self.v), s_uu)
        )


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    result: FloatArray = a @ b[0] if len(b) == 1 else np.einsum("ij,ij->i", a, b)
    return result


def fit_rows(
    frequency_hz: FloatArray,
    *,
    amplitude_v: FloatArray,
    relative_u: FloatArray | None = None,
    exponent: float = 0.0,
) -> BatchFit:
    """Fit a peak to each of many traces, each with its own frequencies.

    Parameters
    ----------
    frequency_hz
        Frequencies in Hz, shape (M, N), or (N,) where all traces were read at the
        same, N >= 4, > 0.
    amplitude_v
        Amplitudes in V, shape (M, N). Read a chunk at a time: it may be a memory map.
    relative_u
        How uncertain the readings of a trace are against one another (the detector's
        ranges), shape (M, N), > 0, any unit; None: all the same. How large the noise
        is, each trace's scatter tells.
    exponent
        The fixture's k.

    Raises
    ------
    InputError
        Shapes that do not match, too few readings, a frequency or doubt that is not
        above zero.

    Notes
    -----
    For clean peaks it gives what `halfpower.analysis.fitting.fit` gives, bias of
    second order included, to a few hundredths of a standard uncertainty
    (test_rows.py). It refuses no glitches and knows one family.
    """
    frequency_hz = np.atleast_2d(frequency_hz)
    _refuse(frequency_hz, amplitude_v, relative_u)
    count, n = amplitude_v.shape
    values, covariance = np.empty((count, 4)), np.empty((count, 3, 3))
    worst, farthest = np.empty(count), np.zeros(count, dtype=np.intp)
    chunk = max(CHUNK_ELEMENTS // n, 1)
    for begin in range(0, count, chunk):
        some = slice(begin, begin + chunk)
        _fit_chunk(
            frequency_hz if len(frequency_hz) == 1 else frequency_hz[some],
            amplitude_v[some],
            None if relative_u is None else relative_u[some],
            exponent,
            out=(values[some], covariance[some], worst[some], farthest[some]),
        )
    with np.errstate(invalid="ignore"):
        glitchy = worst > _grubbs(n)
    return judged(
        values,
        covariance,
        edges=_edges(frequency_hz),
        degrees_of_freedom=n - UNKNOWNS,
        glitchy=glitchy,
        farthest=farthest,
    )


def _refuse(
    f: FloatArray, amplitude: FloatArray, relative_u: FloatArray | None
) -> None:
    same = len(f) == 1
    shapes = {(len(amplitude), f.shape[1]) if same else f.shape, amplitude.shape}
    shapes |= set() if relative_u is None else {relative_u.shape}
    if len(shapes) > 1:
        raise InputError(f"columns of shapes {shapes}: give all (traces, readings)")
    if f.shape[1] <= UNKNOWNS:
        raise InputError(
            f"{f.shape[1]} readings a trace cannot fix a peak; take {UNKNOWNS + 1}"
        )
    doubts = f if relative_u is None else relative_u
    if not (f.min(initial=np.inf) > 0.0 and doubts.min(initial=np.inf) > 0.0):
        raise InputError("frequencies and relative uncertainties must be above zero")


def _edges(f: FloatArray) -> tuple[FloatArray, FloatArray]:
    return f.min(axis=1), f.max(axis=1)


def _rows(
    f: FloatArray,
    amplitude: FloatArray,
    relative_u: FloatArray | None,
    exponent: float,
) -> tuple[_Rows, FloatArray, FloatArray]:
    """Return the chunk, its reference frequencies and its highest readings."""
    low, high = _edges(f)
    reference, top = np.sqrt(low * high), amplitude.max(axis=1)
    d = f / reference[:, None]
    d -= 1.0
    x = 1.0 + d
    s = d * (2.0 + d) / x
    v, u = s * (x + 1.0 / x), s * s
    scale = np.array([1.0, float(np.abs(v).max()), float(u.max())])
    v /= scale[1]
    u /= scale[2]
    y = amplitude / top[:, None]
    weight = None if relative_u is None else (relative_u / relative_u[:, :1]) ** -2.0
    if exponent:
        slope = x if exponent == 1.0 else x**exponent
        y /= slope
        weight = slope**2 if weight is None else weight * slope**2
    return _Rows(y=y, v=v, u=u, weight=weight, scale=scale), reference, top


def _fit_chunk(
    f: FloatArray,
    amplitude: FloatArray,
    relative_u: FloatArray | None,
    exponent: float,
    *,
    out: tuple[FloatArray, FloatArray, FloatArray, NDArray[np.intp]],
) -> None:
    """Fit a chunk; write (f0, Q, A, noise), covariances and worst residuals."""
    values, covariance, worst, farthest = out
    with np.errstate(all="ignore"):  # a trace that yields no numbers is found below
        rows, reference, top = _rows(f, amplitude, relative_u, exponent)
        c, normal, left, settled = _minimum(rows)
        variance = left / (f.shape[1] - UNKNOWNS)
        inverse = invert_symmetric(normal) * variance
        peak = peak_and_slopes(
            Coefficients(
                c=c,
                inverse=inverse,
                bias=_bias(rows, c, inverse, variance),
                scale=rows.scale,
            ),
            exponent=exponent,
        )
        left = _residuals(rows, c)
        farthest[:] = left.argmax(axis=1)
        worst[:] = np.sqrt(left[np.arange(len(left)), farthest] / variance)
        low, high = _edges(f)
        f0 = peak.values[:, 0] * reference
        good = settled & np.isfinite(peak.values).all(axis=1) & np.isfinite(top)
        good &= (f0 >= low) & (f0 <= high)
        # (f0, Q, A) from f0/f_r, Q and A over the highest reading; x^k is 1 at f_r.
        size = np.stack((reference + 0.0 * top, np.ones_like(top), top), axis=1)
        values[:, :3] = peak.values * size
        values[:, 3] = np.sqrt(variance) * top
        covariance[:] = peak.covariance * size[:, :, None] * size[:, None, :]
    values[~good] = np.nan
    covariance[~good] = np.nan


def _minimum(rows: _Rows) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Return c, the normal matrices, what is left of the squares, and who settled."""
    n_free = rows.y.shape[1] - UNKNOWNS
    c = _first(rows)
    for _ in range(COMMON_STEPS):
        c, normal, cost, gain = _step(rows, c)

    def settled(cost: FloatArray, gain: FloatArray) -> BoolArray:
        result: BoolArray = gain <= SETTLED * np.maximum(cost - gain, 1e-28) / n_free
        return result

    open_ = np.flatnonzero(~settled(cost, gain))
    for _ in range(MAX_STEPS):
        if not open_.size:
            break
        c[open_], normal[:, open_], cost[open_], gain[open_] = _step(
            rows.select(open_), c[open_]
        )
        open_ = open_[~settled(cost[open_], gain[open_])]
    done = np.ones(len(c), dtype=np.bool_)
    done[open_] = False
    return c, normal, np.maximum(cost - gain, 0.0), done


def _first(rows: _Rows) -> FloatArray:
    """Return the closed form's coefficients, weighted by the readings' own V^3."""
    y2 = rows.y * rows.y
    y4 = y2 * y2
    if rows.weight is not None:
        y4 *= rows.weight
    right = rows.singles(y4)
    y4 *= y2
    return times_symmetric(invert_symmetric(rows.pairs(y4)), right)


def _step(
    rows: _Rows, c: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Take a Gauss-Newton step; return c, the normal matrix, the cost and its gain."""
    p = rows.power(c)
    np.divide(1.0, p, out=p)
    curve = np.sqrt(p)
    p *= curve  # V^3
    left = np.subtract(rows.y, curve, out=curve)
    if rows.weight is None:
        cost = _dot(left, left)
        weighted = p
    else:
        weighted = rows.weight * p
        cost = _dot(rows.weight * left, left)
    gradient = -0.5 * rows.singles(left * weighted)
    normal = 0.25 * rows.pairs(weighted * p)
    step = times_symmetric(invert_symmetric(normal), gradient)
    gain = np.einsum("ij,ij->i", step, gradient)
    moved = c + step
    for _ in range(HALVINGS):
        lost = ~_is_peak(moved, rows.scale) & _is_peak(c, rows.scale)
        if not lost.any():
            break
        step[lost] *= 0.5
        moved[lost] = c[lost] + step[lost]
    return moved, normal, cost, gain


def _is_peak(c: FloatArray, scale: FloatArray) -> BoolArray:
    """Return which coefficients are those of a peak."""
    c0, c1, c2 = (c / scale).T
    root = np.sqrt(np.maximum(c2 * c2 - c1 * c1, 0.0))
    result: BoolArray = (c2 > np.abs(c1)) & (c0 > 2.0 * c1 * c1 / (c2 + root))
    return result


def _bias(
    rows: _Rows, c: FloatArray, inverse: FloatArray, unit: FloatArray
) -> FloatArray:
    """Return the second-order bias of the coefficients (Box 1971, eq. 2.24)."""
    c00, c01, c02, c11, c12, c22 = inverse[:, :, None]
    # The variance of p at each reading, b^T C b with b = (1, v, u).
    along_u = c22 * rows.u
    along_u += 2.0 * c02
    spread = c11 * rows.v
    spread += 2.0 * c01
    spread += 2.0 * c12 * rows.u
    spread *= rows.v
    along_u *= rows.u
    spread += along_u
    spread += c00
    p = rows.power(c)
    p *= p
    p *= p
    spread /= p  # V^8 b^T C b
    if rows.weight is not None:
        spread *= rows.weight
    right = (0.5 * 0.5 * 0.75) * rows.singles(spread)
    return times_symmetric(inverse / unit, right)


def _residuals(rows: _Rows, c: FloatArray) -> FloatArray:
    """Return the squares of all weighted residuals."""
    curve = np.sqrt(rows.power(c))
    np.divide(1.0, curve, out=curve)
    left = np.subtract(rows.y, curve, out=curve)
    left *= left
    if rows.weight is not None:
        left *= rows.weight
    return left


def _grubbs(n: int) -> float:
    """Return how many standard deviations the largest of n residuals may be.

    F. E. Grubbs 1950, Ann. Math. Stat. 21, 27, with the fit's degrees of freedom.
    """
    free = n - UNKNOWNS
    t = float(stats.t.isf(REFUSAL_RISK / (2.0 * n), max(free - 1, 1)))
    return float(np.sqrt(free) * t / np.sqrt(free - 1 + t * t))
