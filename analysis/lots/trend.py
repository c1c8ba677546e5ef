"""Drift: what creeps from the first part of a lot to the last.

A lot is measured in one go, and the bench warms up meanwhile; or the parts come off a
reel in the order they were wound. Both show as a slope over the order. The slope is
Theil's median of pairwise slopes, which a few bad parts do not turn, with Sen's
interval; and what is left of the values once it is taken out is asked whether
neighbours go together, because then there are fewer independent values than parts.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from ..errors import InputError
from ..quantity import Caution

__all__ = ["Trend", "finite_row", "normal_quantile", "trend_of"]

FloatArray = NDArray[np.float64]
Numbers = FloatArray | Sequence[float]

LEAST = 5  # values; below it Sen's 95 % interval is the whole range of slopes
SURE = 0.01  # chance of a false caution, for each of the two


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """What the order of the parts explains of their values.

    Attributes
    ----------
    n
        Number of values.
    slope, u_slope
        Change from one place to the next (or for each unit of ``places``) and its
        standard uncertainty: Sen's interval over twice the normal quantile.
    slope_interval
        Sen's interval at ``level``, same unit as the slope.
    drift
        The slope times the span of the places, same unit as the values.
    p_value
        Of no trend at all (Kendall's tau, two-sided).
    lag1
        Correlation of neighbours, once the slope is taken out.
    lag1_p_value
        Of that correlation being none.
    level
        Of the interval.
    cautions
        A trend, or neighbours that go together.
    """

    n: int
    slope: float
    u_slope: float
    slope_interval: tuple[float, float]
    drift: float
    p_value: float
    lag1: float
    lag1_p_value: float
    level: float
    cautions: tuple[Caution, ...]


def trend_of(
    values: Numbers, *, places: Numbers | None = None, level: float = 0.95
) -> Trend:
    """Find the drift of values over their order, robustly.

    Parameters
    ----------
    values
        In the order they were measured, shape (N,), N >= 5.
    places
        Where in the order (part number, time), shape (N,), any unit, increasing;
        0, 1, 2... where not given.
    level
        Confidence level of the slope's interval, between 0 and 1.

    Returns
    -------
    Trend
        Slope, its interval, the lag-1 correlation, and what to beware of.

    Raises
    ------
    InputError
        Too few values, one that is not finite, places that do not increase.

    Notes
    -----
    Up to 29 % of the values may be anything without turning the slope at will. The
    interval assumes that neighbours are independent: where the second caution comes,
    it is too narrow.

    References
    ----------
    H. Theil 1950, Proc. Royal Netherlands Academy of Sciences 53, 386. P. K. Sen
    1968, J. Am. Stat. Assoc. 63, 1379, section 4. M. S. Bartlett 1946, Suppl. J. R.
    Stat. Soc. 8, 27 (the lag-1 correlation of independent values varies by 1/N about
    -1/N).
    """
    y = finite_row(values, name="the values", least=LEAST)
    x = np.arange(float(y.size)) if places is None else _places(places, n=y.size)
    z = normal_quantile(level)
    found = stats.theilslopes(y, x, alpha=level)
    slope = float(found.slope)
    low, high = float(found.low_slope), float(found.high_slope)
    left = y - slope * x
    lag1, lag1_p = _neighbours(left - left.mean())
    p_value = float(stats.kendalltau(x, y).pvalue) if np.ptp(y) > 0.0 else 1.0
    return Trend(
        n=y.size,
        slope=slope,
        u_slope=(high - low) / (2.0 * z),
        slope_interval=(low, high),
        drift=slope * float(x[-1] - x[0]),
        p_value=p_value,
        lag1=lag1,
        lag1_p_value=lag1_p,
        level=level,
        cautions=_cautions(p_value, lag1=lag1, lag1_p=lag1_p),
    )


def _places(places: Numbers, *, n: int) -> FloatArray:
    x = finite_row(places, name="the places", least=LEAST)
    if x.size != n or (np.diff(x) <= 0.0).any():
        raise InputError(f"the places must be {n} increasing numbers", n_places=x.size)
    return x


def _neighbours(left: FloatArray) -> tuple[float, float]:
    """Return the lag-1 correlation of residuals about zero and its p-value."""
    total = float(left @ left)
    if total <= 0.0:
        return 0.0, 1.0
    lag1 = float(left[1:] @ left[:-1]) / total
    z = (lag1 + 1.0 / left.size) * math.sqrt(left.size)
    return lag1, 2.0 * float(stats.norm.sf(abs(z)))


def _cautions(p_value: float, *, lag1: float, lag1_p: float) -> tuple[Caution, ...]:
    cautions = []
    if p_value < SURE:
        text = (
            "the values creep over the lot: by chance alone as steady a rise or fall"
            f" comes once in {1.0 / max(p_value, 1e-9):.0f} lots; check the standard"
            " again before the parts are blamed"
        )
        cautions.append(Caution(code="trend", text=text))
    if lag1_p < SURE:
        way = "alike" if lag1 > 0.0 else "opposite"
        text = (
            f"neighbours in the lot are {way} (correlation {lag1:.2f}): the values"
            " are not independent, and intervals that take them so are wrong"
        )
        cautions.append(Caution(code="neighbours_go_together", text=text))
    return tuple(cautions)


def finite_row(values: Numbers, *, name: str, least: int = 1) -> FloatArray:
    """Return a row of finite numbers of either sign, read-only, or refuse it.

    Parameters
    ----------
    values
        Shape (N,).
    name
        What they are, for the sentence of a refusal.
    least
        How many there must be.

    Raises
    ------
    InputError
        Not one row of numbers, too few, or one that is not finite.
    """
    try:
        row = np.array(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"{name} are not a row of numbers: {error}") from error
    if row.ndim != 1 or row.size < least:
        raise InputError(
            f"{name} must be one row of at least {least}, not of shape {row.shape}"
        )
    bad = ~np.isfinite(row)
    if bad.any():
        index = int(np.argmax(bad))
        raise InputError(
            f"number {index + 1} of {row.size} of {name} is {row[index]:g}; leave out "
            "what was not measured",
            index=index,
        )
    row.flags.writeable = False
    return row


def normal_quantile(level: float) -> float:
    """Return z with the share ``level`` of a normal distribution within +/- z.

    Raises
    ------
    InputError
        The level is not between 0 and 1.
    """
    if not 0.0 < level < 1.0:
        raise InputError(f"a confidence level is between 0 and 1, not {level:g}")
    return float(stats.norm.ppf(0.5 + level / 2.0))
