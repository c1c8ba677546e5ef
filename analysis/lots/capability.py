"""How well a lot keeps its limits: the yield, and the indices Cp and Cpk.

The yield counts and assumes nothing. Cp and Cpk speak of parts never measured, by way
of a normal distribution; so they come with an interval, which is wide for a few dozen
parts, and with a test of that normality, since one long tail makes them worthless.

What is measured is spread by the measurement too. Its variance can be taken off: only
of the doubt that is drawn anew for every part, not of what they all share.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import stats

from ..errors import AnalysisError, InputError
from ..quantity import Caution
from .conformity import Limits
from .trend import FloatArray, Numbers, finite_row, normal_quantile

__all__ = ["Capability", "Yield", "capability_of", "normality_of", "yield_of"]

Interval = tuple[float, float]

LEAST_NORMALITY, MOST_NORMALITY = 3, 5000  # what Royston's algorithm was made for
NOT_NORMAL = 0.01  # p-value below which the indices are doubted
FEW = 25  # parts; see the notes of `capability_of`


@dataclass(frozen=True, slots=True, kw_only=True)
class Yield:
    """The share of conforming parts, and how far the parts tested tell it.

    Attributes
    ----------
    conforming, tested
        Numbers of parts.
    share
        Their ratio.
    interval
        Of the share in the population the parts were drawn from, at ``level``.
    level
        Confidence level of the interval.
    """

    conforming: int
    tested: int
    share: float
    interval: Interval
    level: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """A lot's spread against its limits.

    Attributes
    ----------
    n
        Number of parts.
    mean
        Same unit as the values.
    sd_observed
        Sample standard deviation, same unit, the measurement's share included.
    sd
        What the indices use: the parts' own, once the measurement is taken off.
    cp, cp_interval
        Tolerance over 6 sd; None where there is one limit.
    cpk, cpk_interval
        Distance of the mean from the nearer limit over 3 sd; negative outside.
    cpl, cpu
        The same for each limit; None where there is none.
    level
        Confidence level of both intervals.
    normality_p_value
        Of the values being normal (Shapiro and Wilk); None where not tested.
    cautions
        What the indices are not to be trusted for.
    """

    n: int
    mean: float
    sd_observed: float
    sd: float
    cp: float | None
    cp_interval: Interval | None
    cpk: float
    cpk_interval: Interval
    cpl: float | None
    cpu: float | None
    level: float
    normality_p_value: float | None
    cautions: tuple[Caution, ...]


def yield_of(
    conforming: int,
    *,
    tested: int,
    level: float = 0.95,
    method: Literal["exact", "wilson"] = "exact",
) -> Yield:
    """Give the yield its confidence interval.

    Parameters
    ----------
    conforming, tested
        Numbers of parts, 0 <= conforming <= tested, tested >= 1.
    level
        Confidence level, between 0 and 1.
    method
        ``exact`` (Clopper and Pearson 1934) never covers less than the level;
        ``wilson`` (Wilson 1927) covers it on the average and is narrower.

    Raises
    ------
    InputError
        Numbers that are no share, a level outside 0 to 1, another method.

    References
    ----------
    C. J. Clopper, E. S. Pearson 1934, Biometrika 26, 404. E. B. Wilson 1927, J. Am.
    Stat. Assoc. 22, 209.
    """
    if not 0 <= conforming <= tested or tested < 1:
        raise InputError(f"{conforming} of {tested} parts is no share")
    if method not in {"exact", "wilson"}:
        raise InputError(f"there is no interval {method!r}; take exact or wilson")
    normal_quantile(level)  # refuses what is no level
    found = stats.binomtest(int(conforming), int(tested))
    interval = found.proportion_ci(confidence_level=level, method=method)
    return Yield(
        conforming=conforming,
        tested=tested,
        share=conforming / tested,
        interval=(float(interval.low), float(interval.high)),
        level=level,
    )


def normality_of(values: Numbers) -> float | None:
    """Return the p-value of the values being normal; None where it cannot be had.

    Shapiro and Wilk's test by Royston's algorithm, for 3 to 5000 values that are not
    all the same (P. Royston 1995, Applied Statistics 44, 547).
    """
    row = finite_row(values, name="the values")
    if not LEAST_NORMALITY <= row.size <= MOST_NORMALITY or np.ptp(row) <= 0.0:
        return None
    # Scaled, because the algorithm takes a range below 1e-19 for none at all.
    scaled = (row - np.median(row)) / np.ptp(row)
    return float(stats.shapiro(scaled).pvalue)


def capability_of(
    values: Numbers,
    *,
    limits: Limits,
    u: float | Numbers = 0.0,
    level: float = 0.95,
) -> Capability:
    """Compare a lot's mean and spread with its limits.

    Parameters
    ----------
    values
        One for each part, shape (N,), N >= 2, same unit as the limits.
    limits
        On one side or both.
    u
        Standard uncertainty to be taken off the spread, same unit: of what varies
        from part to part alone (repeatability), not of what all share (the standard).
        One number or one for each part. Zero takes nothing off.
    level
        Confidence level of the intervals, between 0 and 1.

    Raises
    ------
    InputError
        Fewer than two values, one that is not finite, u below zero.
    AnalysisError
        The values do not differ, or by no more than their uncertainty explains.

    Notes
    -----
    Cp's interval is exact for normal values (chi-squared). Cpk's is Bissell's normal
    approximation; where the measurement is taken off, it is carried on to first
    order. Below 25 parts a caution says that it covers less than the level, and that
    the index itself leans high.

    References
    ----------
    NIST/SEMATECH e-Handbook, 6.1.6 (definitions). A. F. Bissell 1990, Applied
    Statistics 39, 331 (interval of Cpk).
    """
    row = finite_row(values, name="the values", least=2)
    z = normal_quantile(level)
    noise = _mean_variance(u, n=row.size)
    mean, observed = float(row.mean()), float(row.std(ddof=1))
    left = observed**2 - noise
    if np.ptp(row) <= 0.0 or left <= 0.0:
        raise AnalysisError(
            "the values differ by no more than the measurement explains: the parts'"
            " own spread is too small to be seen, and no index can be had",
            sd_observed=observed,
            u=math.sqrt(noise),
        )
    sd = math.sqrt(left)
    cpl = None if limits.lower is None else (mean - limits.lower) / (3.0 * sd)
    cpu = None if limits.upper is None else (limits.upper - mean) / (3.0 * sd)
    cpk = min(one for one in (cpl, cpu) if one is not None)
    both = cpl is not None and cpu is not None
    ratio = observed**2 / left
    half = z * math.sqrt(
        ratio / (9.0 * row.size) + (cpk * ratio) ** 2 / (2.0 * (row.size - 1))
    )
    p_value = normality_of(row)
    return Capability(
        n=row.size,
        mean=mean,
        sd_observed=observed,
        sd=sd,
        cp=limits.tolerance / (6.0 * sd) if both else None,
        cp_interval=_cp_interval(row, limits=limits, noise=noise, level=level)
        if both
        else None,
        cpk=cpk,
        cpk_interval=(cpk - half, cpk + half),
        cpl=cpl,
        cpu=cpu,
        level=level,
        normality_p_value=p_value,
        cautions=_cautions(row, p_value=p_value),
    )


def _mean_variance(u: float | Numbers, *, n: int) -> float:
    row = finite_row(np.atleast_1d(u), name="the uncertainties")
    if row.size not in {1, n} or (row < 0.0).any():
        raise InputError(f"give one uncertainty >= 0, or {n}, not {row.size}")
    return float(np.mean(row**2))


def _cp_interval(
    row: FloatArray, *, limits: Limits, noise: float, level: float
) -> Interval:
    """Cp at the ends of the interval of the variance; infinite where that is none."""
    free = row.size - 1
    squares = float(row.var(ddof=1)) * free
    tail = (1.0 - level) / 2.0
    ends = (stats.chi2.ppf(tail, free), stats.chi2.isf(tail, free))
    variances = [squares / float(quantile) - noise for quantile in ends]
    low, high = (
        limits.tolerance / (6.0 * math.sqrt(one)) if one > 0.0 else math.inf
        for one in variances
    )
    return low, high


def _cautions(row: FloatArray, *, p_value: float | None) -> tuple[Caution, ...]:
    cautions = []
    if p_value is not None and p_value < NOT_NORMAL:
        skew = float(stats.skew(row / np.ptp(row)))
        text = (
            f"the values are not spread as a normal distribution (p = {p_value:.1g},"
            f" skewness {skew:.2f}): Cp and Cpk mislead; look at the yield instead"
        )
        cautions.append(Caution(code="not_normal", text=text))
    if row.size < FEW:
        text = (
            f"{row.size} parts are few for an index: Cpk leans high and its interval"
            " is somewhat too narrow"
        )
        cautions.append(Caution(code="few_parts", text=text))
    return tuple(cautions)
