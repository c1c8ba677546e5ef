"""Is the bench today the bench of yesterday? Charts of a check standard.

One part is kept and measured again and again: before a lot, after every so many parts,
each morning. Its readings say what the bench does when nothing is amiss; a new one
that lies too far out, or a row of them on one side, says that something is. The
constants of the charts are computed from the normal distribution, not copied.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

import numpy as np
from scipy import special, stats

from ..errors import AnalysisError, InputError
from ..quantity import Caution
from .trend import FloatArray, Numbers, finite_row

__all__ = [
    "ChartConstants",
    "CheckChart",
    "CheckVerdict",
    "Rule",
    "chart_constants",
    "check_chart",
    "check_reading",
    "pooled_check_chart",
    "unbracketed_parts",
]

SIGMAS = 3.0
SMALLEST_GROUP, LARGEST_GROUP = 2, 1000
RUN = 6  # readings in one direction
REACH = 9.0  # standard deviations a normal distribution is integrated over
TOO_OFTEN = 2.0  # times the false alarms that three sigma stands for


class Rule(Enum):
    """A pattern of readings that chance seldom makes; distances are from the centre."""

    BEYOND_LIMITS = "beyond_limits"
    TWO_OF_THREE = "two_of_three"
    FOUR_OF_FIVE = "four_of_five"
    EIGHT_ON_ONE_SIDE = "eight_on_one_side"
    SIX_IN_ONE_DIRECTION = "six_in_one_direction"

    @property
    def text(self) -> str:
        """The sentence, for a person."""
        return _TEXT[self]


_TEXT = {
    Rule.BEYOND_LIMITS: "the reading lies beyond a control limit",
    Rule.TWO_OF_THREE: (
        "two of the last three readings lie beyond two thirds of the way to a limit,"
        " on one side"
    ),
    Rule.FOUR_OF_FIVE: (
        "four of the last five readings lie beyond a third of the way to a limit, on"
        " one side"
    ),
    Rule.EIGHT_ON_ONE_SIDE: "the last eight readings lie on one side of the centre",
    Rule.SIX_IN_ONE_DIRECTION: (
        "the last six readings rise, or fall, without a turn: something drifts"
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartConstants:
    """Factors of control charts for groups of n normal values, by their usual names.

    Attributes
    ----------
    n
        Values in a group.
    d2, d3
        Mean and standard deviation of the range, in standard deviations of a value.
    c4
        Mean of the sample standard deviation, in the same.
    A2, A3
        Half-width of the limits of a mean, in mean ranges, in mean deviations.
    D3, D4, B3, B4
        Limits of the range in mean ranges, of the deviation in mean deviations.
    """

    n: int
    d2: float
    d3: float
    c4: float
    A2: float
    A3: float
    D3: float
    D4: float
    B3: float
    B4: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckChart:
    """What a check standard reads when nothing is amiss, same unit as its readings.

    Attributes
    ----------
    centre
        The mean.
    sd
        Standard deviation of one reading.
    lower, upper
        Control limits.
    n
        Readings behind it.
    false_alarm
        Chance that a sound reading falls outside the limits, the doubt of centre and
        sd included.
    cautions
        A chart of few readings.
    """

    centre: float
    sd: float
    lower: float
    upper: float
    n: int
    false_alarm: float
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckVerdict:
    """What a chart says of a new reading.

    Attributes
    ----------
    in_control
        No rule is broken.
    deviation
        From the centre, in thirds of the distance to a limit.
    broken
        The rules that the reading, with those before it, breaks.
    """

    in_control: bool
    deviation: float
    broken: tuple[Rule, ...]


def chart_constants(n: int) -> ChartConstants:
    """Compute the factors of control charts for groups of n values.

    Raises
    ------
    InputError
        A group of fewer than 2 or more than 1000.

    References
    ----------
    L. H. C. Tippett 1925, Biometrika 17, 364 (mean and variance of the range, as
    integrals of its distribution). NIST/SEMATECH e-Handbook, 6.3.2.1.
    """
    if not SMALLEST_GROUP <= n <= LARGEST_GROUP:
        raise InputError(f"a chart's group has 2 to {LARGEST_GROUP} values, not {n}")
    d2, d3 = _range_moments(n)
    c4 = _c4(n)
    spread = SIGMAS * math.sqrt(max(0.0, 1.0 - c4**2)) / c4
    return ChartConstants(
        n=n,
        d2=d2,
        d3=d3,
        c4=c4,
        A2=SIGMAS / (d2 * math.sqrt(n)),
        A3=SIGMAS / (c4 * math.sqrt(n)),
        D3=max(0.0, 1.0 - SIGMAS * d3 / d2),
        D4=1.0 + SIGMAS * d3 / d2,
        B3=max(0.0, 1.0 - spread),
        B4=1.0 + spread,
    )


def _range_moments(n: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of n standard normal values.

    F(w) = n Int phi(x) (Phi(x + w) - Phi(x))^(n-1) dx; the mean is Int (1 - F) dw, the
    mean square 2 Int w (1 - F) dw. Trapezoids in x, where all vanishes at both ends;
    Gauss and Legendre's rule in w, which ends at zero.
    """
    x, step = np.linspace(-REACH, REACH, 721, retstep=True)
    nodes, weights = np.polynomial.legendre.leggauss(120)
    w, weights = REACH * (nodes + 1.0), REACH * weights
    within = special.ndtr(x + w[:, np.newaxis]) - special.ndtr(x)
    density = np.exp(-0.5 * x**2) / math.sqrt(2.0 * math.pi)
    beyond = 1.0 - n * step * (within ** (n - 1) @ density)
    mean = float(weights @ beyond)
    return mean, math.sqrt(2.0 * float(weights @ (w * beyond)) - mean**2)


def check_chart(history: Numbers, *, allow_for_few: bool = False) -> CheckChart:
    """Make a chart of a check standard from its readings so far.

    Parameters
    ----------
    history
        Readings taken when all was well, shape (N,), N >= 3, any unit. They must span
        what a new reading will (days, re-connections), or the chart is too narrow.
    allow_for_few
        False: limits at three standard deviations. True: so much wider that a sound
        reading passes them as seldom as it would those of an endless history
        (Student's t, prediction of one more reading).

    Raises
    ------
    InputError
        Fewer than three readings, or one that is not finite.
    AnalysisError
        The readings do not differ: their resolution hides the scatter.

    References
    ----------
    G. J. Hahn, W. Q. Meeker 1991, Statistical Intervals, 4.7 (one future value). The
    standard deviation is s/c4, without bias.
    """
    row = finite_row(history, name="the check standard's readings", least=3)
    s = _spread(row)
    c4 = _c4(row.size)
    widening = math.sqrt(1.0 + 1.0 / row.size)
    half = SIGMAS * s / c4
    if allow_for_few:
        half = s * widening * float(stats.t.isf(stats.norm.sf(SIGMAS), row.size - 1))
    return _chart(row, sd=s / c4, half=half, t=half / (s * widening), free=row.size - 1)


def pooled_check_chart(history: Numbers, *, sd: float) -> CheckChart:
    """Make a chart about the mean of a few readings, with a known deviation.

    Parameters
    ----------
    history
        Readings of this standard, shape (N,), N >= 1, any unit.
    sd
        Standard deviation of one reading, known from elsewhere (other standards on
        the same fixture, pooled), same unit, > 0. The limits allow for the doubt of
        the mean.

    Raises
    ------
    InputError
        No readings, one that is not finite, or a deviation that is not above zero.
    """
    row = finite_row(history, name="the check standard's readings")
    if not (math.isfinite(sd) and sd > 0.0):
        raise InputError(f"a standard deviation is above zero, not {sd:g}", sd=sd)
    half = SIGMAS * sd * math.sqrt(1.0 + 1.0 / row.size)
    return _chart(row, sd=sd, half=half, t=SIGMAS, free=math.inf)


def _spread(row: FloatArray) -> float:
    if np.ptp(row) <= 0.0:
        raise AnalysisError(
            "the check standard's readings are all the same: no limits can be had from"
            " them; read to more digits"
        )
    return float(row.std(ddof=1))


def _c4(n: int) -> float:
    half = (n - 1) / 2.0
    return math.exp(special.gammaln(half + 0.5) - special.gammaln(half)) / math.sqrt(
        half
    )


def _chart(
    row: FloatArray, *, sd: float, half: float, t: float, free: float
) -> CheckChart:
    centre = float(row.mean())
    alarm = 2.0 * float(
        stats.t.sf(t, free) if math.isfinite(free) else special.ndtr(-t)
    )
    cautions: tuple[Caution, ...] = ()
    if alarm > TOO_OFTEN * 2.0 * special.ndtr(-SIGMAS):
        text = (
            f"{row.size} readings are few for a chart: a sound reading would fall"
            f" outside its limits {100.0 * alarm:.2g} % of the time"
        )
        cautions = (Caution(code="short_history", text=text),)
    return CheckChart(
        centre=centre,
        sd=sd,
        lower=centre - half,
        upper=centre + half,
        n=row.size,
        false_alarm=alarm,
        cautions=cautions,
    )


def check_reading(
    value: float,
    *,
    chart: CheckChart,
    before: Numbers = (),
    rules: Sequence[Rule] = tuple(Rule),
) -> CheckVerdict:
    """Judge a new reading of a check standard by its chart.

    Parameters
    ----------
    value
        The new reading, same unit as the chart.
    chart
        From `check_chart` or `pooled_check_chart`.
    before
        Readings since the chart was made, the oldest first, without the new one.
    rules
        Which rules to keep; all of them raise a false alarm about once in 90 readings,
        the first alone once in 370 (both of an endless history; test_control_chart.py).

    Raises
    ------
    InputError
        A reading that is not finite.

    References
    ----------
    NIST/SEMATECH e-Handbook, 6.3.2 (the rules).
    """
    row = finite_row([*before, value], name="the check standard's readings")
    third = (chart.upper - chart.lower) / (2.0 * SIGMAS)
    deviations = (row - chart.centre) / third
    broken = tuple(rule for rule in Rule if rule in rules and _BROKEN[rule](deviations))
    return CheckVerdict(
        in_control=not broken, deviation=float(deviations[-1]), broken=broken
    )


def _most_beyond(
    of: int, *, most: int, distance: float
) -> Callable[[FloatArray], bool]:
    """Make a rule: ``most`` of the last ``of`` beyond a distance, the new one too."""

    def broken(deviations: FloatArray) -> bool:
        last = deviations[-of:] * np.sign(deviations[-1])
        return bool(last[-1] > distance and (last > distance).sum() >= most)

    return broken


def _one_direction(deviations: FloatArray) -> bool:
    steps = np.diff(deviations[-RUN:])
    return steps.size == RUN - 1 and bool((steps > 0.0).all() or (steps < 0.0).all())


_BROKEN: Mapping[Rule, Callable[[FloatArray], bool]] = {
    Rule.BEYOND_LIMITS: _most_beyond(1, most=1, distance=SIGMAS),
    Rule.TWO_OF_THREE: _most_beyond(3, most=2, distance=2.0),
    Rule.FOUR_OF_FIVE: _most_beyond(5, most=4, distance=1.0),
    Rule.EIGHT_ON_ONE_SIDE: _most_beyond(8, most=8, distance=0.0),
    Rule.SIX_IN_ONE_DIRECTION: _one_direction,
}


def unbracketed_parts(
    n_parts: int, *, checked_after: Sequence[int], in_control: Sequence[bool]
) -> tuple[int, ...]:
    """List the parts of a lot that do not lie between two good checks.

    Parameters
    ----------
    n_parts
        Parts measured.
    checked_after
        For each check of the standard, how many parts had been measured before it;
        0 is the check before the first. In order, none given twice.
    in_control
        What each check said.

    Returns
    -------
    tuple of int
        Indices of the parts to be measured again, from 0.

    Raises
    ------
    InputError
        Checks that are not in order, not within the lot, or without a verdict.
    """
    places = list(checked_after)
    ordered = all(a < b for a, b in pairwise(places))
    inside = all(0 <= one <= n_parts for one in places)
    if not ordered or not inside or len(places) != len(in_control):
        raise InputError(
            f"checks of a lot of {n_parts} must be in order, with a verdict each"
        )
    checks = list(zip(places, in_control, strict=True))
    sound: set[int] = set()
    for (start, good), (end, good_too) in pairwise(checks):
        if good and good_too:
            sound.update(range(start, end))
    return tuple(part for part in range(n_parts) if part not in sound)
