"""A lot in figures: spread against limits, drift, who stands apart, what is the matter.

It puts the statistics of single questions together for one column of values a quantity,
each with NaN where a part has none, and says why a figure cannot be had instead of
leaving it out in silence.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import AnalysisError, InputError
from ..quantity import Caution
from .capability import Capability, capability_of
from .conformity import Limits
from .outliers import (
    LEAST_ESD,
    LEAST_LOT,
    OUTLYING,
    LikelyDefect,
    esd_outliers,
    likely_defects,
    modified_z_scores,
)
from .trend import Trend, trend_of

__all__ = ["Column", "QuantityFigures", "column_figures", "defects_of", "thinned"]

FloatArray = NDArray[np.float64]

LEAST_TREND = 5
MOST_FOR_TREND = 1500  # values; Theil's slope looks at every pair of them
SHARE_OUTLYING, MOST_OUTLYING = 20, 100  # a twentieth of the lot, and never more


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Column:
    """One quantity of a lot's parts, in the order they were measured.

    Attributes
    ----------
    quantity, unit
        As result documents name them.
    values, u
        SI values and standard uncertainties, shape (N,); NaN where a part has none.
    limits, nominal
        What they are held against, same unit; None where nothing is said.
    """

    quantity: str
    unit: str
    values: FloatArray
    u: FloatArray
    limits: Limits | None = None
    nominal: float | None = None

    def __post_init__(self) -> None:
        """Refuse columns of two lengths."""
        for name in ("values", "u"):
            array = np.array(getattr(self, name), dtype=np.float64)
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        if self.values.ndim != 1 or self.values.shape != self.u.shape:
            raise InputError(f"{self.quantity}: an uncertainty a value, NaN for none")

    @property
    def known(self) -> NDArray[np.intp]:
        """Indices of the parts that have a value."""
        return np.flatnonzero(np.isfinite(self.values))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class QuantityFigures:
    """A column in figures, SI.

    Attributes
    ----------
    column
        What they are of.
    n
        Parts that have a value.
    mean, sd, least, greatest
        Of these; sd is NaN of a single one.
    median_u
        Of the standard uncertainties; NaN where none is known.
    capability
        Against the limits; None where there are none, or it cannot be had.
    trend
        Over the order; None below five values.
    outliers
        Indices of parts, the most extreme first.
    cautions
        Of all of these; and why a figure is missing.
    """

    column: Column
    n: int
    mean: float
    sd: float
    least: float
    greatest: float
    median_u: float
    capability: Capability | None
    trend: Trend | None
    outliers: tuple[int, ...]
    cautions: tuple[Caution, ...]


def column_figures(column: Column, *, level: float = 0.95) -> QuantityFigures | None:
    """Work out a column's figures; None where no part has a value.

    Parameters
    ----------
    column
        One quantity of all parts.
    level
        Confidence level of the intervals, between 0 and 1.

    Notes
    -----
    Capability is that of the values as measured: what part of the uncertainty all
    parts share, and must not be taken off, only a gauge study tells. Outliers are those
    of the generalised extreme deviate test, among a twentieth of the lot and a hundred
    parts at most; below 15 values, those beyond 3.5 robust deviations.
    """
    known = column.known
    if not known.size:
        return None
    values = column.values[known]
    cautions: list[Caution] = []
    capability = _capability(column, values, level=level, cautions=cautions)
    trend = None
    if known.size >= LEAST_TREND:
        thin, places = thinned(values)
        trend = trend_of(thin, places=places, level=level)
        cautions += trend.cautions
    doubts = column.u[known]
    doubts = doubts[np.isfinite(doubts)]
    return QuantityFigures(
        column=column,
        n=int(known.size),
        mean=float(values.mean()),
        sd=float(values.std(ddof=1)) if known.size > 1 else math.nan,
        least=float(values.min()),
        greatest=float(values.max()),
        median_u=float(np.median(doubts)) if doubts.size else math.nan,
        capability=capability,
        trend=trend,
        outliers=tuple(int(known[i]) for i in _outliers(values)),
        cautions=tuple(cautions),
    )


def _capability(
    column: Column, values: FloatArray, *, level: float, cautions: list[Caution]
) -> Capability | None:
    if column.limits is None:
        return None
    try:
        found = capability_of(values, limits=column.limits, level=level)
    except (AnalysisError, InputError) as error:
        cautions.append(Caution(code="no_capability", text=f"no Cp or Cpk: {error}"))
        return None
    cautions += found.cautions
    return found


def thinned(
    values: FloatArray, *, most: int = MOST_FOR_TREND
) -> tuple[FloatArray, FloatArray]:
    """Give at most so many values and their places: of a long row medians.

    A median of many follows a slow drift as its members do, and a few bad ones do not
    move it.
    """
    places = np.arange(float(values.size))
    if values.size <= most:
        return values, places
    blocks = np.array_split(np.arange(values.size), most)
    return (
        np.array([np.median(values[one]) for one in blocks]),
        np.array([places[one].mean() for one in blocks]),
    )


def _outliers(values: FloatArray) -> Sequence[int]:
    if values.size >= LEAST_ESD and np.ptp(values) > 0.0:
        most = min(max(values.size // SHARE_OUTLYING, 2), MOST_OUTLYING)
        return esd_outliers(values, most=most)
    scores = np.abs(modified_z_scores(values))
    apart = np.flatnonzero(scores > OUTLYING)
    return [int(i) for i in apart[np.argsort(-scores[apart], kind="stable")]]


def defects_of(
    inductance: Column, *, q: Column | None = None
) -> tuple[LikelyDefect, ...]:
    """Name what is likely the matter with a lot's coils; none in a lot below five.

    Parameters
    ----------
    inductance
        In H; NaN: no resonance was found. Its nominal value, where it has one, tells
        which other values the part may have.
    q
        Quality factors.
    """
    values = np.where(inductance.values > 0.0, inductance.values, np.nan)
    if np.isfinite(values).sum() < LEAST_LOT:
        return ()
    figure = None if q is None else np.where(q.values > 0.0, q.values, np.nan)
    return likely_defects(values, q=figure, nominal=inductance.nominal)
