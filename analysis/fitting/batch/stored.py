"""Fit the stored readings of many parts at once, and the doubtful ones singly.

The batch fit is quick, and knows one family and no glitches. A trace with one reading
far off its curve is fitted once more without it, as the single fit would. Traces that
are still doubtful then, or not fitted, or fitted to a peak that is not bracketed,
hardly resolved or of low Q, are fitted by themselves, as the part was when it was
measured: readings weighted by the detector's ranges, where it has them.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...errors import FitError, InputError
from ...quantity import FloatArray
from .. import Flag, Trace, fit
from ..curves import Peak
from .rows import UNKNOWNS, fit_rows

__all__ = ["StoredFits", "fit_stored"]

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

# A trace with few readings is as doubtful to the single fit; the others are not.
DOUBTS = (Flag.NOT_BRACKETED, Flag.Q_UNCERTAIN, Flag.WEAK_PEAK, Flag.LOW_Q)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StoredFits:
    """Resonances of M traces.

    Attributes
    ----------
    values
        f0 in Hz and loaded Q, shape (M, 2); NaN where none can be fitted.
    covariance
        Of these, shape (M, 2, 2).
    degrees_of_freedom
        Of the noise, shape (M,).
    singly
        Which were fitted by themselves, shape (M,).
    """

    values: FloatArray
    covariance: FloatArray
    degrees_of_freedom: FloatArray
    singly: BoolArray

    @classmethod
    def none(cls, count: int) -> "StoredFits":
        """Return room for so many, nothing fitted yet; its arrays can be written."""
        return cls(
            values=np.full((count, 2), np.nan),
            covariance=np.full((count, 2, 2), np.nan),
            degrees_of_freedom=np.full(count, np.inf),
            singly=np.zeros(count, dtype=np.bool_),
        )

    @property
    def fitted(self) -> BoolArray:
        """Which traces show a resonance."""
        return np.asarray(np.isfinite(self.values).all(axis=1))

    def select(self, where: NDArray[np.intp]) -> "StoredFits":
        """Return the fits of some traces."""
        return StoredFits(
            values=self.values[where],
            covariance=self.covariance[where],
            degrees_of_freedom=self.degrees_of_freedom[where],
            singly=self.singly[where],
        )

    def put(self, where: NDArray[np.intp], found: "StoredFits") -> None:
        """Write fits into their places."""
        self.values[where] = found.values
        self.covariance[where] = found.covariance
        self.degrees_of_freedom[where] = found.degrees_of_freedom
        self.singly[where] = found.singly


def fit_stored(
    frequency_hz: FloatArray,
    *,
    amplitude_v: FloatArray,
    range_v: FloatArray,
    used: BoolArray,
    exponent: float,
) -> StoredFits:
    """Fit a peak to the readings that each part's result rests on.

    Parameters
    ----------
    frequency_hz, amplitude_v
        In Hz and V, shape (M, N).
    range_v
        The detector's full scale in V; NaN where it has none. Where all readings of a
        trace have one, their noise is taken to be in proportion to it.
    used
        Which readings to fit.
    exponent
        The fixture's k.

    Raises
    ------
    InputError
        Arrays of different shapes.
    """
    if len({a.shape for a in (frequency_hz, amplitude_v, range_v, used)}) != 1:
        raise InputError("stored readings come in columns of one shape")
    found = StoredFits.none(len(amplitude_v))
    counts = used.sum(axis=1)
    for count in np.unique(counts[counts > UNKNOWNS]):  # nothing is fitted to fewer
        rows = np.flatnonzero(counts == count)
        mask = used if rows.size == len(used) else used & (counts == count)[:, None]
        f, a, r = (
            array[mask].reshape(rows.size, int(count))
            for array in (frequency_hz, amplitude_v, range_v)
        )
        for some, weighted in _weighted_alike(r):
            columns_of = _Columns(f=f, a=a, ranges=r).select(some)
            part = _fitted(columns_of, weighted=weighted, exponent=exponent)
            _fit_singly(part, columns_of, exponent=exponent)
            found.put(rows[some], part)
    return found


def _weighted_alike(ranges: FloatArray) -> Iterator[tuple[IntArray, bool]]:
    """Give rows that are weighted alike, and whether they are: by several ranges."""
    # NaN, for no range, is neither above zero nor different.
    several = (ranges.min(axis=1) > 0.0) & (ranges.max(axis=1) > ranges.min(axis=1))
    for mask, weighted in ((~several, False), (several, True)):
        if mask.any():
            yield np.flatnonzero(mask), weighted


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Columns:
    """Frequencies, amplitudes and ranges of traces with equally many readings."""

    f: FloatArray
    a: FloatArray
    ranges: FloatArray

    def select(self, rows: IntArray) -> "_Columns":
        """Return some traces; without a copy where these are all."""
        if rows.size == len(self.f):
            return self
        return _Columns(f=self.f[rows], a=self.a[rows], ranges=self.ranges[rows])

    def without(self, rows: IntArray, reading: IntArray) -> "_Columns":
        """Return some traces, one reading of each left out."""
        keep = np.ones((rows.size, self.f.shape[1]), dtype=np.bool_)
        keep[np.arange(rows.size), reading] = False
        shape = (rows.size, -1)
        f, a, r = (x[rows][keep].reshape(shape) for x in (self.f, self.a, self.ranges))
        return _Columns(f=f, a=a, ranges=r)


def _fitted(
    columns: _Columns, *, weighted: bool, exponent: float, whole: bool = True
) -> StoredFits:
    """Fit traces; not ``whole``: a glitch was taken out of them already.

    Those marked `singly` are still to be fitted so.
    """
    rows = fit_rows(
        columns.f,
        amplitude_v=columns.a,
        relative_u=columns.ranges if weighted else None,
        exponent=exponent,
    )
    singly = ~rows.fitted
    for flag, mask in rows.flag_masks.items():
        if flag in DOUBTS:
            singly |= mask
    found = StoredFits(
        values=np.stack((rows.resonant_frequency_hz, rows.loaded_q), axis=1),
        covariance=rows.covariance[:, :2, :2].copy(),
        degrees_of_freedom=np.full(singly.size, rows.degrees_of_freedom),
        singly=singly,
    )
    glitchy = np.flatnonzero(rows.glitchy & ~singly)
    if not glitchy.size:
        return found
    if not whole or columns.f.shape[1] <= UNKNOWNS + 1:
        singly[glitchy] = True
        return found
    rest = columns.without(glitchy, rows.farthest[glitchy])
    again = _fitted(rest, weighted=weighted, exponent=exponent, whole=False)
    found.put(glitchy, again)
    return found


def _fit_singly(found: StoredFits, columns: _Columns, *, exponent: float) -> None:
    """Fit the doubtful traces by themselves, in place."""
    for place in np.flatnonzero(found.singly):
        found.values[place] = found.covariance[place] = np.nan
        ranges = columns.ranges[place]
        try:
            trace = Trace(
                frequency_hz=columns.f[place],
                amplitude_v=columns.a[place],
                u_amplitude_v=ranges if (ranges > 0.0).all() else None,
                u_scale_known=False,
            )
            one = fit(trace, response=Peak(exponent=exponent))
        except (FitError, InputError):
            continue
        found.values[place] = one.resonant_frequency_hz, one.loaded_q
        found.covariance[place] = one.covariance[:2, :2]
        found.degrees_of_freedom[place] = one.degrees_of_freedom
