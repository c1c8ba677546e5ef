"""Gauge studies: components that are found again, and what is flagged."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfpower.analysis import InputError
from halfpower.analysis.lots import Limits, crossed_study

SUMS = {"reproducibility", "gauge", "total"}


def drawn(
    rng: np.random.Generator,
    *,
    sds: tuple[float, float, float, float] = (3.0, 1.0, 0.5, 0.7),
    shape: tuple[int, int, int] = (12, 4, 3),
) -> np.ndarray:
    """Draw readings of the random model: parts, operators, interaction, repeats."""
    p, o, r = shape
    parts = rng.normal(0, sds[0], (p, 1, 1))
    operators = rng.normal(0, sds[1], (1, o, 1))
    crossed = rng.normal(0, sds[2], (p, o, 1))
    return 100.0 + parts + operators + crossed + rng.normal(0, sds[3], (p, o, r))


def test_components_are_those_drawn_on_the_average() -> None:
    """300 studies without pooling; each variance within 4.5 standard errors."""
    rng = np.random.default_rng(8)
    studies = [crossed_study(drawn(rng), pool="never") for _ in range(300)]
    wanted = {
        "parts": 9.0,
        "operators": 1.0,
        "interaction": 0.25,
        "repeatability": 0.49,
    }
    for source, variance in wanted.items():
        found = np.array([one[source].sd ** 2 for one in studies])
        error = found.std() / math.sqrt(300)
        # Clipping at zero lifts the mean; here it happens to few studies.
        assert sum(one[source].clipped for one in studies) < 15
        assert found.mean() == pytest.approx(variance, abs=4.5 * error)


@given(st.integers(0, 10_000), st.sampled_from(["auto", "always", "never"]))
@settings(max_examples=25)
def test_squares_and_shares_add_up(seed: int, pool: str) -> None:
    """All sums of squares make the total one; all variances make 100 %."""
    readings = drawn(np.random.default_rng(seed), shape=(4, 3, 2))
    found = crossed_study(readings, pool=pool)  # type: ignore[arg-type] # one of three
    total = float(((readings - readings.mean()) ** 2).sum())
    squares = sum(row.sum_of_squares for row in found.table)
    assert squares == pytest.approx(total, rel=1e-9)
    assert sum(row.degrees_of_freedom for row in found.table) == 4 * 3 * 2 - 1
    shares = [c.percent_of_variance for c in found.components if c.source not in SUMS]
    assert sum(shares) == pytest.approx(100.0)
    both = found["gauge"].percent_of_variance + found["parts"].percent_of_variance
    assert both == pytest.approx(100.0)
    assert found.pooled == (len(found.table) == 3)


def test_an_interaction_is_pooled_only_where_it_is_weak() -> None:
    """None drawn; then one of ten times the repeats."""
    none = drawn(np.random.default_rng(3), sds=(3.0, 1.0, 0.0, 0.7))
    strong = drawn(np.random.default_rng(3), sds=(3.0, 1.0, 7.0, 0.7))
    assert crossed_study(none).pooled
    assert crossed_study(none)["interaction"].sd == 0.0
    assert not crossed_study(strong).pooled
    assert not crossed_study(none, pool="never").pooled
    assert crossed_study(strong, pool="always").pooled


def test_negative_variances_are_clipped_and_said() -> None:
    """Operators alike to the last digit: their mean square is below the noise's."""
    readings = drawn(np.random.default_rng(5), sds=(3.0, 0.0, 0.0, 0.7))
    readings -= readings.mean(axis=(0, 2), keepdims=True)
    found = crossed_study(readings)
    assert found["operators"].clipped
    assert found["operators"].sd == 0.0
    assert "operators" in " ".join(one.text for one in found.cautions)
    assert not found["parts"].clipped


def test_categories_are_root_two_parts_over_gauge() -> None:
    """Rounded down; below two the gauge is called useless."""
    found = crossed_study(drawn(np.random.default_rng(1)))
    ratio = math.sqrt(2.0) * found["parts"].sd / found["gauge"].sd
    assert found.distinct_categories == math.floor(ratio) >= 2
    blind = crossed_study(drawn(np.random.default_rng(1), sds=(0.1, 1.0, 0.1, 2.0)))
    assert "no_distinct_categories" in [one.code for one in blind.cautions]


def test_a_gauge_without_spread_tells_any_number_apart() -> None:
    """Parts alone differ: no number of categories, not infinity."""
    readings = np.broadcast_to(np.arange(4.0)[:, None, None], (4, 3, 2))
    found = crossed_study(readings)
    assert found.distinct_categories is None
    assert found["gauge"].sd == 0.0
    assert found["parts"].percent_of_total == 100.0


def test_the_tolerance_is_six_deviations_wide() -> None:
    """And is asked for on both sides only."""
    readings = drawn(np.random.default_rng(1))
    found = crossed_study(readings, limits=Limits(lower=90.0, upper=110.0))
    gauge = found["gauge"]
    assert gauge.percent_of_tolerance == pytest.approx(100.0 * 6.0 * gauge.sd / 20.0)
    one_sided = crossed_study(readings, limits=Limits(upper=110.0))
    assert one_sided["gauge"].percent_of_tolerance is None
    with pytest.raises(KeyError):
        found["weather"]


@pytest.mark.parametrize(
    "readings",
    [
        np.zeros((3, 2)),
        np.arange(6.0).reshape(3, 2, 1),
        np.arange(6.0).reshape(3, 1, 2),
        np.ones((3, 2, 2)),
        np.where(np.arange(12.0) > 3, np.nan, 1.0).reshape(3, 2, 2),
    ],
)
def test_tables_that_tell_nothing_are_refused(readings: np.ndarray) -> None:
    """Too few axes, no repeats, one operator, no spread, a gap."""
    with pytest.raises(InputError):
        crossed_study(readings)
