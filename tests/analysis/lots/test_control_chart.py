"""Charts of a check standard: limits, rules, and the parts a bad check condemns."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from halfpower.analysis import AnalysisError, InputError
from halfpower.analysis.lots import (
    CheckChart,
    Rule,
    check_chart,
    check_reading,
    pooled_check_chart,
)
from halfpower.analysis.lots.control_chart import chart_constants, unbracketed_parts

UNIT = CheckChart(
    centre=0.0, sd=1.0, lower=-3.0, upper=3.0, n=100, false_alarm=0.0027, cautions=()
)


@pytest.mark.parametrize("n", [2, 5, 30])
def test_constants_are_what_drawn_groups_show(n: int) -> None:
    """20 000 groups of normal values; within 4.5 standard errors."""
    drawn = np.random.default_rng(2).standard_normal((20_000, n))
    k = chart_constants(n)
    spread, s = np.ptp(drawn, axis=1), drawn.std(axis=1, ddof=1)
    error = 4.5 / math.sqrt(20_000)
    assert spread.mean() == pytest.approx(k.d2, abs=error * k.d3)
    assert spread.std() == pytest.approx(k.d3, rel=error)
    assert s.mean() == pytest.approx(k.c4, abs=error * math.sqrt(1.0 - k.c4**2))


def test_a_pair_s_constants_are_known_exactly() -> None:
    """Derived: the range of two is |x - y|: d2 = 2/sqrt(pi), d3 = sqrt(2 - 4/pi)."""
    k = chart_constants(2)
    assert k.d2 == pytest.approx(2.0 / math.sqrt(math.pi), rel=1e-12)
    assert k.d3 == pytest.approx(math.sqrt(2.0 - 4.0 / math.pi), rel=1e-11)
    assert k.c4 == pytest.approx(math.sqrt(2.0 / math.pi), rel=1e-14)


def test_three_values_range_is_known_exactly() -> None:
    """Derived: d2 of three is 3/sqrt(pi) (Tippett 1925)."""
    assert chart_constants(3).d2 == pytest.approx(3.0 / math.sqrt(math.pi), rel=1e-12)


def test_constants_move_steadily_with_the_group() -> None:
    """Mean range grows, all limits close in, up to the largest group."""
    many = [chart_constants(n) for n in (2, 3, 8, 25, 100, 1000)]
    for one, next_one in pairwise(many):
        assert next_one.d2 > one.d2
        assert next_one.c4 > one.c4
        assert (next_one.A2, next_one.D4, next_one.B4) < (one.A2, one.D4, one.B4)
        assert next_one.D3 >= one.D3


@pytest.mark.parametrize("n", [1, 1001])
def test_groups_without_constants_are_refused(n: int) -> None:
    """One value has no range."""
    with pytest.raises(InputError):
        chart_constants(n)


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


@given(st.integers(0, 30), st.data())
@settings(max_examples=25)
def test_parts_between_good_checks_and_no_others_are_kept(
    n: int, data: st.DataObject
) -> None:
    """Brute force: the nearest checks before and after a part are both good."""
    places = sorted(data.draw(st.sets(st.integers(0, n))))
    good = data.draw(
        st.lists(st.booleans(), min_size=len(places), max_size=len(places))
    )
    bad = []
    for part in range(n):
        before = [ok for at, ok in zip(places, good, strict=True) if at <= part]
        after = [ok for at, ok in zip(places, good, strict=True) if at > part]
        if not (before and after and before[-1] and after[0]):
            bad.append(part)
    found = unbracketed_parts(n, checked_after=places, in_control=good)
    assert found == tuple(bad)


@pytest.mark.parametrize(
    ("places", "good"),
    [
        ((5, 0), (True, True)),
        ((0, 11), (True, True)),
        ((0, 5), (True,)),
        ((0, 0), (1, 1)),
    ],
)
def test_checks_out_of_order_are_refused(
    places: tuple[int, ...], good: tuple[bool, ...]
) -> None:
    """Backwards, beyond the lot, without a verdict, twice at one place."""
    with pytest.raises(InputError, match="in order"):
        unbracketed_parts(10, checked_after=places, in_control=good)


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
