"""Charts of a check standard: limits and rules."""

import math

import numpy as np
import pytest
from scipy import stats

from halfpower.analysis import AnalysisError, InputError
from halfpower.analysis.lots import (
    CheckChart,
    Rule,
    check_chart,
    check_reading,
    pooled_check_chart,
)

UNIT = CheckChart(
    centre=0.0, sd=1.0, lower=-3.0, upper=3.0, n=100, false_alarm=0.0027, cautions=()
)


@pytest.mark.parametrize("n", [4, 10, 60])
@pytest.mark.parametrize("allow_for_few", [False, True])
def test_false_alarms_come_as_often_as_the_chart_says(
    n: int, *, allow_for_few: bool
) -> None:
    """1000 histories, one sound reading each; within 4.5 standard errors."""
    rng = np.random.default_rng(n)
    drawn = rng.normal(50.0, 0.2, (1000, n + 1))
    alarms, said = 0, 0.0
    for row in drawn:
        chart = check_chart(row[:-1], allow_for_few=allow_for_few)
        alarms += not chart.lower <= row[-1] <= chart.upper
        said = chart.false_alarm
    error = math.sqrt(said / 1000)
    assert alarms / 1000 == pytest.approx(said, abs=4.5 * error)
    if allow_for_few:
        assert said == pytest.approx(0.0027, abs=1e-4)  # of three sigma: any table


def test_a_short_history_is_called_so() -> None:
    """Five readings are, and a hundred are not; allowing for them mends it."""
    row = np.random.default_rng(1).normal(0.0, 1.0, 100)
    assert [one.code for one in check_chart(row[:5]).cautions] == ["short_history"]
    assert not check_chart(row).cautions
    assert not check_chart(row[:5], allow_for_few=True).cautions


def test_three_readings_make_the_chart_that_theory_says() -> None:
    """0, 1, 2: s = 1, c4 of three 0.886227 (any table); Student's t of two."""
    plain = check_chart([0.0, 1.0, 2.0])
    assert plain.sd == pytest.approx(1.0 / 0.886227, rel=1e-6)
    assert plain.upper - plain.centre == pytest.approx(3.0 / 0.886227, rel=1e-6)
    t = 3.0 / 0.886227 / math.sqrt(4.0 / 3.0)
    assert plain.false_alarm == pytest.approx(2.0 * stats.t.sf(t, 2), rel=1e-5)
    wide = check_chart([0.0, 1.0, 2.0], allow_for_few=True)
    t = stats.t.isf(stats.norm.sf(3.0), 2)
    assert wide.upper - 1.0 == pytest.approx(t * math.sqrt(4.0 / 3.0))


def test_a_known_deviation_needs_one_reading() -> None:
    """Limits 3 sd sqrt(1 + 1/n) about the mean, derived."""
    chart = pooled_check_chart([10.0], sd=0.5)
    assert chart.upper - 10.0 == pytest.approx(3.0 * 0.5 * math.sqrt(2.0))
    assert chart.false_alarm == pytest.approx(0.0027, abs=1e-6)


@pytest.mark.parametrize(
    ("before", "value", "rules"),
    [
        ((), 3.01, {Rule.BEYOND_LIMITS}),
        ((), -3.01, {Rule.BEYOND_LIMITS}),
        ((), 2.99, set()),
        ((2.1, 0.0), 2.1, {Rule.TWO_OF_THREE}),
        ((2.1, 0.0), -2.1, set()),
        ((2.1, 2.1), 0.5, set()),  # the new reading is not one of the two
        ((2.1, 0.0, 0.0), 2.1, set()),
        ((1.1, 1.3, 0.0, 1.2), 1.1, {Rule.FOUR_OF_FIVE}),
        ((1.1, 1.3, 0.0, 0.0), 1.1, set()),
        ((0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1), 0.2, {Rule.EIGHT_ON_ONE_SIDE}),
        ((-0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1), 0.2, set()),
        ((0.1, 0.2, 0.1, 0.2, 0.1, 0.2), 0.1, set()),
        ((-0.5, -0.3, -0.1, 0.1, 0.2), 0.3, {Rule.SIX_IN_ONE_DIRECTION}),
        ((0.5, 0.3, 0.1, -0.1, -0.2), -0.3, {Rule.SIX_IN_ONE_DIRECTION}),
        ((-0.3, -0.1, 0.1, 0.2), 0.3, set()),
        ((-0.5, -0.3, -0.3, 0.1, 0.2), 0.3, set()),
        ((), 0.0, set()),
    ],
)
def test_each_rule_is_broken_by_its_pattern_alone(
    before: tuple[float, ...], value: float, rules: set[Rule]
) -> None:
    """One pattern each, and its near misses."""
    found = check_reading(value, chart=UNIT, before=before)
    assert set(found.broken) == rules
    assert found.in_control is not bool(rules)
    assert found.deviation == pytest.approx(value)
    assert all(rule.text for rule in found.broken)


def test_rules_can_be_left_out() -> None:
    """The limits alone do not mind a run."""
    run = (0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1)
    found = check_reading(0.2, chart=UNIT, before=run, rules=(Rule.BEYOND_LIMITS,))
    assert found.in_control


def test_false_alarms_of_the_rules_are_as_documented() -> None:
    """All rules: about one sound reading in 90 begins a complaint; one in 370 alone."""
    rng = np.random.default_rng(7)
    lengths, readings = [], rng.standard_normal(8_000)
    start = 0
    for i in range(readings.size):
        before = readings[max(start, i - 8) : i]
        if not check_reading(float(readings[i]), chart=UNIT, before=before).in_control:
            lengths.append(i + 1 - start)
            start = i + 1
    # Runs are about exponential: their mean scatters by itself over sqrt(runs).
    assert np.mean(lengths) == pytest.approx(90.0, rel=4.0 / math.sqrt(len(lengths)))


def test_histories_that_make_no_chart_are_refused() -> None:
    """Two readings, readings all the same, a gap, no deviation."""
    with pytest.raises(InputError):
        check_chart([1.0, 2.0])
    with pytest.raises(AnalysisError, match="all the same"):
        check_chart([1.0, 1.0, 1.0])
    with pytest.raises(InputError):
        check_reading(math.nan, chart=UNIT)
    with pytest.raises(InputError):
        pooled_check_chart([1.0], sd=0.0)
