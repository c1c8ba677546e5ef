"""Yield and capability: intervals that cover, and what is refused."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from halfpower.analysis import AnalysisError, InputError
from halfpower.analysis.lots import Limits, yield_of
from halfpower.analysis.lots.capability import capability_of, normality_of

LIMITS = Limits(lower=-4.0, upper=4.0)


@given(st.integers(1, 300), st.data())
@settings(max_examples=25)
def test_a_yield_lies_within_its_intervals(tested: int, data: st.DataObject) -> None:
    """Both intervals hold the share and stay within 0 and 1."""
    good = data.draw(st.integers(0, tested))
    exact = yield_of(good, tested=tested)
    wilson = yield_of(good, tested=tested, method="wilson")
    for found in (exact, wilson):
        low, high = found.interval
        assert 0.0 <= low <= found.share + 1e-12
        assert found.share - 1e-12 <= high <= 1.0


def test_the_exact_interval_never_covers_too_little() -> None:
    """Derived: the binomial's own sum over outcomes, for 40 parts at 97 %."""
    outcomes = [yield_of(k, tested=40).interval for k in range(41)]
    weight = stats.binom.pmf(np.arange(41), 40, 0.97)
    covered = [low <= 0.97 <= high for low, high in outcomes]
    assert weight @ np.array(covered) >= 0.95


def test_none_bad_of_n_leaves_room_for_some() -> None:
    """Derived: the lowest yield p with p^n = 2.5 %."""
    assert yield_of(20, tested=20).interval[0] == pytest.approx(0.025 ** (1 / 20))


def lots(n: int, *, mean: float = 0.0, count: int = 2000) -> np.ndarray:
    """Draw lots of n normal parts of unit spread."""
    return np.random.default_rng(11).normal(mean, 1.0, (count, n))


@pytest.mark.parametrize(("n", "mean"), [(30, 0.0), (30, 1.0), (200, 2.0)])
def test_intervals_cover_the_true_indices(n: int, mean: float) -> None:
    """Cp exact: 95 % within 4 standard errors of 200 lots. Cpk: 91 % to 99 %."""
    cp, cpk = 8.0 / 6.0, (4.0 - mean) / 3.0
    found = [capability_of(lot, limits=LIMITS) for lot in lots(n, mean=mean, count=200)]
    inside = [one.cp_interval[0] <= cp <= one.cp_interval[1] for one in found]  # type: ignore[index] # two limits
    inside_k = [one.cpk_interval[0] <= cpk <= one.cpk_interval[1] for one in found]
    assert np.mean(inside) == pytest.approx(0.95, abs=4 * math.sqrt(0.0475 / 200))
    assert 0.91 <= np.mean(inside_k) <= 0.99


def test_one_limit_has_cpk_alone() -> None:
    """And its interval is near the exact one by the noncentral t, n = 100."""
    lot = lots(100)[0]
    found = capability_of(lot, limits=Limits(upper=4.0))
    assert found.cp is found.cp_interval is found.cpl is None
    assert found.cpk == found.cpu
    t = 3.0 * found.cpk * math.sqrt(100)
    for tail, end in zip((0.975, 0.025), found.cpk_interval, strict=True):
        exact = end * 3.0 * math.sqrt(100)
        assert stats.nct.cdf(t, 99, exact) == pytest.approx(tail, abs=0.01)


def test_the_measurement_s_spread_can_be_taken_off() -> None:
    """Parts of 1, readings of 0.75 on top: 1.25 observed; 200 lots of 200."""
    rng = np.random.default_rng(4)
    noisy = lots(200, count=200) + rng.normal(0.0, 0.75, (200, 200))
    found = [capability_of(lot, limits=LIMITS, u=0.75) for lot in noisy]
    # The mean of an sd of n parts: relative scatter 1.25^2/sqrt(2 n) of each lot.
    error = 1.5625 / math.sqrt(2 * 200 * 200)
    assert np.mean([one.sd for one in found]) == pytest.approx(1.0, abs=5 * error)
    covered = [one.cpk_interval[0] <= 4 / 3 <= one.cpk_interval[1] for one in found]
    assert 0.91 <= np.mean(covered) <= 0.99
    covered = [one.cp_interval[0] <= 4 / 3 <= one.cp_interval[1] for one in found]  # type: ignore[index] # two limits
    assert np.mean(covered) == pytest.approx(0.95, abs=4 * math.sqrt(0.0475 / 200))


def test_uncertainties_of_each_part_count_by_their_mean_square() -> None:
    """Half at 0.6, half at none: as 0.6/sqrt(2) for all."""
    lot = lots(50)[0]
    each = capability_of(lot, limits=LIMITS, u=np.repeat([0.0, 0.6], 25))
    same = capability_of(lot, limits=LIMITS, u=0.6 / math.sqrt(2.0))
    assert each.sd == pytest.approx(same.sd, rel=1e-12)


def test_cp_s_upper_end_is_open_where_the_spread_may_be_none() -> None:
    """Nearly all of the spread is the measurement's."""
    lot = lots(30)[0]
    found = capability_of(lot, limits=LIMITS, u=0.99 * lot.std(ddof=1))
    assert found.cp_interval is not None
    assert found.cp_interval[1] == math.inf
    assert math.isfinite(found.cp_interval[0])


@given(st.floats(1e-24, 1e9), st.floats(-3.0, 3.0))
@settings(max_examples=25)
def test_indices_do_not_depend_on_the_unit(scale: float, shift: float) -> None:
    """Picofarads in farads give the same, normality included."""
    lot = lots(30)[1]
    plain = capability_of(lot, limits=LIMITS)
    ends = ((end + shift) * scale for end in (-4.0, 4.0))
    lower, upper = ends
    other = capability_of(
        (lot + shift) * scale, limits=Limits(lower=lower, upper=upper)
    )
    assert other.cpk == pytest.approx(plain.cpk, rel=1e-9)
    assert other.normality_p_value == pytest.approx(plain.normality_p_value, rel=1e-6)


def test_a_skewed_lot_is_called_so_and_a_normal_one_is_not() -> None:
    """Lognormal of 0.8; and of 300 normal lots no more than 3 % at p < 1 %."""
    skewed = np.exp(0.8 * lots(100)[0])
    codes = [one.code for one in capability_of(skewed, limits=LIMITS).cautions]
    assert codes == ["not_normal"]
    p_values = [normality_of(lot) for lot in lots(100, count=300)]
    assert np.mean([p < 0.01 for p in p_values if p is not None]) <= 0.03


def test_few_parts_are_called_few() -> None:
    """24 are, 25 are not."""
    few = capability_of(lots(24)[0], limits=LIMITS).cautions
    assert "few_parts" in [one.code for one in few]
    enough = capability_of(lots(25)[0], limits=LIMITS).cautions
    assert "few_parts" not in [one.code for one in enough]


def test_a_lot_outside_its_limits_has_a_negative_cpk() -> None:
    """The mean lies beyond the upper limit."""
    assert capability_of(lots(30, mean=6.0)[0], limits=LIMITS).cpk < 0.0


def test_normality_is_not_tested_where_it_cannot_be() -> None:
    """Two values, values all the same, more than the algorithm takes."""
    assert normality_of([1.0, 2.0]) is None
    assert normality_of([1.0] * 10) is None
    assert normality_of(np.arange(5001.0)) is None


@pytest.mark.parametrize(("values", "u"), [([1.0, 1.0, 1.0], 0.0), ([1.0, 1.1], 5.0)])
def test_no_spread_of_the_parts_own_is_refused(values: list[float], u: float) -> None:
    """All the same, or no more than the measurement's."""
    with pytest.raises(AnalysisError, match="own spread"):
        capability_of(values, limits=LIMITS, u=u)


@pytest.mark.parametrize(
    ("values", "u"),
    [([1.0], 0.0), ([1.0, math.nan], 0.0), ([1.0, 2.0], -1.0), ([1.0, 2.0], [1.0] * 3)],
)
def test_what_is_no_lot_is_refused(values: list[float], u: float | list[float]) -> None:
    """One part, a gap, a doubt below zero or of another length."""
    with pytest.raises(InputError):
        capability_of(values, limits=LIMITS, u=u)


@pytest.mark.parametrize(
    ("good", "tested", "level", "method"),
    [
        (3, 2, 0.95, "exact"),
        (-1, 2, 0.95, "exact"),
        (0, 0, 0.95, "exact"),
        (1, 2, 1.0, "exact"),
        (1, 2, 0.95, "guess"),
    ],
)
def test_what_is_no_yield_is_refused(
    good: int, tested: int, level: float, method: str
) -> None:
    """More good than tested, none tested, a level of one, an unknown method."""
    with pytest.raises(InputError):
        yield_of(good, tested=tested, level=level, method=method)  # type: ignore[arg-type] # on purpose
