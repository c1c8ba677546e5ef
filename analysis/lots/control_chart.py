"""Is the bench today the bench of yesterday? Charts of a check standard.

One part is kept and measured again and again: before a lot, after every so many parts,
each morning. Its readings say what the bench does when nothing is amiss; a new one
that lies too far out, or a row of them on one side, says that something is.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from scipy import special, stats

from ..errors import AnalysisError, InputError
from ..quantity import Caution
from .trend import FloatArray, Numbers, finite_row

__all__ = [
    "SIGMAS",
    "CheckChart",
    "CheckVerdict",
    "Rule",
    "check_chart",
    "check_reading",
    "pooled_check_chart",
]

SIGMAS = 3.0  # Shewhart's limits
RUN = 6  # readings in one direction
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
