"""Matched sets: the most, the tightest of those, and none that is not alike."""

import math
import time
from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from halfpower.analysis import InputError
from halfpower.analysis.lots import Criterion, Matching, matched_sets

WITHIN = 0.02
# Steps of 0.4 %: ties, exact limits and near misses are common.
steps = st.integers(0, 14).map(lambda step: 100.0 * 1.004**step)
lots = st.lists(st.tuples(steps, steps), min_size=0, max_size=7)
sizes = st.sampled_from([2, 3])


def columns(lot: list[tuple[float, float]], n: int) -> list[np.ndarray]:
    """Return the first n columns of a lot of two."""
    return [np.array([part[i] for part in lot], dtype=float) for i in range(n)]


def partitions(parts: tuple[int, ...], size: int) -> Iterator[list[tuple[int, ...]]]:
    """List every way to take disjoint sets of a size from parts."""
    if len(parts) < size:
        yield []
        return
    first, rest = parts[0], parts[1:]
    yield from partitions(rest, size)
    for others in combinations(rest, size - 1):
        left = tuple(one for one in rest if one not in others)
        for more in partitions(left, size):
            yield [(first, *others), *more]


def apart(x: np.ndarray, one: tuple[int, ...]) -> float:
    """Logarithm of the largest of a set over its smallest."""
    return float(np.ptp(np.log(x[list(one)])))


def best_by_brute_force(
    rows: list[np.ndarray], size: int, u: np.ndarray | None = None
) -> tuple[int, float]:
    """Return the most sets and the least spread, in shares of the limit, of any way."""
    limit = math.log1p(WITHIN)

    def alike(one: tuple[int, ...]) -> bool:
        for x in rows:
            r = np.zeros(len(x)) if u is None else 2.0 * u / x
            for a, b in combinations(one, 2):
                doubt = math.hypot(r[a], r[b])
                if abs(math.log(x[a] / x[b])) + doubt > limit + 1e-12:
                    return False
        return True

    n = rows[0].size if rows else 0
    ways = [
        way
        for way in partitions(tuple(range(n)), size)
        if all(alike(one) for one in way)
    ]
    most = max(len(way) for way in ways)
    spreads = [
        sum(apart(x, one) / limit for x in rows for one in way)
        for way in ways
        if len(way) == most
    ]
    return most, min(spreads)


def total(found: Matching) -> float:
    """Total spread of a matching, in shares of the limit."""
    return sum(
        math.log1p(spread) / math.log1p(WITHIN)
        for one in found.sets
        for spread in one.spread_relative
    )


def check(found: Matching, rows: list[np.ndarray], size: int) -> None:
    """No part twice, none lost, every set within the limit."""
    used = [part for one in found.sets for part in one.parts]
    assert sorted([*used, *found.left]) == list(range(rows[0].size))
    for one in found.sets:
        assert len(one.parts) == size
        for x, spread in zip(rows, one.spread_relative, strict=True):
            values = x[list(one.parts)]
            assert spread == pytest.approx(values.max() / values.min() - 1.0, abs=1e-12)
            assert spread <= WITHIN * (1.0 + 1e-9)


@given(lots, sizes, st.sampled_from([1, 2]))
@settings(max_examples=60)
def test_no_other_way_has_more_sets_or_closer_ones(
    lot: list[tuple[float, float]], size: int, n_criteria: int
) -> None:
    """Brute force over every way, by one criterion and by two."""
    rows = columns(lot, n_criteria)
    found = matched_sets(
        [Criterion(values=x, within_relative=WITHIN) for x in rows], size=size
    )
    check(found, rows, size)
    most, spread = best_by_brute_force(rows, size)
    assert len(found.sets) == most
    assert total(found) == pytest.approx(spread, abs=1e-5)
    assert found.most_proven
    assert found.tightest_proven


@given(lots, sizes, st.sampled_from([0.0, 0.2]))
@settings(max_examples=30)
def test_doubts_count_against_a_set(
    lot: list[tuple[float, float]], size: int, step: float
) -> None:
    """Brute force again: 2 u of each difference, the same for all or not."""
    (x,) = columns(lot, 1)
    u = 0.4 + step * (np.arange(x.size) % 3)
    criterion = Criterion(values=x, within_relative=WITHIN, u=u)
    found = matched_sets([criterion], size=size, coverage_factor=2.0)
    most, spread = best_by_brute_force([x], size, u)
    assert len(found.sets) == most
    assert total(found) == pytest.approx(spread, abs=1e-5)


@given(st.integers(0, 1000), sizes)
@settings(max_examples=10)
def test_the_line_and_the_packing_agree(seed: int, size: int) -> None:
    """One criterion, then the same one twice: 30 parts in pairs, 18 in threes."""
    x = np.random.default_rng(seed).normal(100.0, 3.0, 30 if size == 2 else 18)
    one = Criterion(values=x, within_relative=WITHIN)
    line = matched_sets([one], size=size)
    packed = matched_sets([one, one], size=size, most_candidates=100_000)
    assert packed.tightest_proven
    assert len(packed.sets) == len(line.sets)
    assert total(packed) == pytest.approx(2.0 * total(line), abs=1e-4)


def test_the_greedy_choice_is_beaten() -> None:
    """The closest two first leave their neighbours alone: 1 pair where 2 are."""
    x = np.array([100.0, 101.5, 102.0, 103.5])
    found = matched_sets([Criterion(values=x, within_relative=WITHIN)])
    assert [one.parts for one in found.sets] == [(2, 3), (0, 1)]
    assert found.left == ()


def test_the_limit_itself_is_within() -> None:
    """100 and 102 are within 2 %, 100 and 102.0001 are not."""
    for high, n in ((102.0, 1), (102.0001, 0)):
        one = Criterion(values=[100.0, high], within_relative=0.02)
        assert len(matched_sets([one]).sets) == n
        assert len(matched_sets([one, one]).sets) == n


def bag() -> list[Criterion]:
    """Two hundred invented chokes: L scattered by 5 %, Q by 10 %."""
    rng = np.random.default_rng(0)
    inductance_h = 33e-6 * np.exp(rng.normal(0.0, 0.05, 200))
    quality = 80.0 * np.exp(rng.normal(0.0, 0.10, 200))
    return [
        Criterion(values=inductance_h, within_relative=0.02),
        Criterion(values=quality, within_relative=0.10),
    ]


def test_two_hundred_parts_are_paired_quickly_and_alike_each_time() -> None:
    """By two criteria, proven, the same twice, within a few seconds."""
    start = time.perf_counter()
    found = matched_sets(bag())
    assert time.perf_counter() - start < 5.0
    assert found.tightest_proven
    assert found == matched_sets(bag())
    assert len(found.sets) <= len(matched_sets(bag()[:1]).sets)


def test_what_is_not_proven_is_said() -> None:
    """Triples by two criteria, from fewer candidates than there are."""
    few = matched_sets(bag(), size=3, most_candidates=60)
    assert not few.most_proven
    assert [one.code for one in few.cautions] == ["matching_not_proven"]
    used = [part for one in few.sets for part in one.parts]
    assert len(used) == len(set(used)) > 30


def test_a_search_that_finds_no_closer_choice_keeps_the_first_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As many sets, and it is said that closer ones may be had."""
    wanted = len(matched_sets(bag()).sets)
    proper, called = optimize.milp, []

    def stopped(*given: object, **more: object) -> object:
        found = proper(*given, **more)
        if called:
            found.x, found.status = None, 1
        called.append(True)
        return found

    monkeypatch.setattr(optimize, "milp", stopped)
    found = matched_sets(bag())
    assert len(found.sets) == wanted
    assert (found.most_proven, found.tightest_proven) == (True, False)
    assert "closer sets may be had" in found.cautions[0].text


def test_parts_without_a_value_are_left_over() -> None:
    """NaN in either criterion."""
    x = Criterion(values=[1.0, math.nan, 1.0, 1.0], within_relative=0.1)
    y = Criterion(values=[1.0, 1.0, 1.0, math.nan], within_relative=0.1)
    assert matched_sets([x]).left == (1, 3)
    found = matched_sets([x, y])
    assert [one.parts for one in found.sets] == [(0, 2)]
    assert found.left == (1, 3)


def test_a_doubt_beyond_the_limit_leaves_all() -> None:
    """No two can surely be within 1 % of one another where u is 1 %."""
    one = Criterion(values=[1.0] * 6, within_relative=0.01, u=0.01)
    assert len(matched_sets([one]).sets) == 3
    assert matched_sets([one], coverage_factor=2.0).sets == ()


@pytest.mark.parametrize(("share", "n"), [(0.0034, 1), (0.0035, 0)])
def test_a_difference_has_the_doubt_of_both(share: float, n: int) -> None:
    """Derived: ln 1.01 + 2 sqrt(2) share against ln 1.02: 0.00348 is the edge."""
    x = np.array([100.0, 101.0])
    one = Criterion(values=x, within_relative=0.02, u=share * x)
    assert len(matched_sets([one], coverage_factor=2.0).sets) == n
    assert len(matched_sets([one, one], coverage_factor=2.0).sets) == n


def test_a_spread_has_its_uncertainty() -> None:
    """Derived: of b/a = 1.01, u/u = 0.3 and 0.4 of 100 and 101."""
    one = Criterion(values=[100.0, 101.0], within_relative=0.02, u=[0.3, 0.4])
    (pair,) = matched_sets([one]).sets
    wanted = 1.01 * math.hypot(0.003, 0.4 / 101.0)
    assert pair.u_spread_relative == (pytest.approx(wanted),)


def test_no_parts_make_no_sets() -> None:
    """An empty bag, by one criterion and by two."""
    one = Criterion(values=[], within_relative=0.1)
    assert matched_sets([one]).sets == matched_sets([one, one]).sets == ()


@pytest.mark.parametrize(
    ("values", "within", "u"),
    [
        ([1.0, -1.0], 0.1, None),
        ([1.0, math.inf], 0.1, None),
        ([[1.0]], 0.1, None),
        ([1.0], 0.0, None),
        ([1.0], math.nan, None),
        ([1.0], 0.1, -1.0),
        ([1.0], 0.1, math.nan),
        ([1.0], 0.1, [0.1, 0.1]),
    ],
)
def test_what_is_no_criterion_is_refused(
    values: list[float], within: float, u: float | list[float] | None
) -> None:
    """Values not above zero, no row, no width, doubts that are none."""
    with pytest.raises(InputError):
        Criterion(values=values, within_relative=within, u=u)


def test_what_is_no_task_is_refused() -> None:
    """No criterion, rows of two lengths, sets of one, k below zero, too many pairs."""
    one = Criterion(values=[1.0, 1.0], within_relative=0.1)
    other = Criterion(values=[1.0], within_relative=0.1)
    for criteria, size, k in (([], 2, 0.0), ([one, other], 2, 0.0), ([one], 1, 0.0)):
        with pytest.raises(InputError):
            matched_sets(criteria, size=size, coverage_factor=k)
    with pytest.raises(InputError):
        matched_sets([one], coverage_factor=-1.0)
    many = Criterion(values=np.ones(320), within_relative=0.1)
    with pytest.raises(InputError, match="pairs would do"):
        matched_sets([many, many])
