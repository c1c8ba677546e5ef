"""Drift over a lot, and neighbours that go together."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfpower.analysis import InputError
from halfpower.analysis.lots.trend import finite_row, normal_quantile, trend_of


def lots(count: int, *, n: int = 60, slope: float = 0.0) -> np.ndarray:
    """Draw lots of unit scatter with a drift."""
    rng = np.random.default_rng(6)
    return 100.0 + slope * np.arange(n) + rng.standard_normal((count, n))


def test_intervals_cover_the_slope() -> None:
    """200 lots at 95 %: within 4 standard errors; and u is the slopes' scatter."""
    found = [trend_of(lot) for lot in lots(200, slope=0.02)]
    inside = [low <= 0.02 <= high for low, high in (t.slope_interval for t in found)]
    assert np.mean(inside) == pytest.approx(0.95, abs=4 * math.sqrt(0.0475 / 200))
    scatter = np.std([one.slope for one in found])
    u = np.sqrt(np.mean([one.u_slope**2 for one in found]))
    assert u == pytest.approx(scatter, rel=4.0 / math.sqrt(400))


def test_a_straight_line_is_found_exactly() -> None:
    """Places of their own: 3 for each unit, 30 over a span of 10."""
    places = 5.0 + np.array([0.0, 1.0, 2.5, 4.0, 7.0, 10.0])
    found = trend_of(3.0 * places + 1.0, places=places)
    assert found.slope == pytest.approx(3.0)
    assert found.drift == pytest.approx(30.0)
    assert [one.code for one in found.cautions] == ["trend"]


def test_a_quarter_of_bad_parts_does_not_turn_the_slope() -> None:
    """15 of 60 a thousand off, at the end where they turn it most."""
    lot = lots(1, slope=0.1)[0]
    spoilt = lot.copy()
    spoilt[-15:] += 1000.0
    low, high = trend_of(lot).slope_interval
    assert trend_of(spoilt).slope < 0.1 + 12.0 * (high - low)
    assert np.polyfit(np.arange(60), spoilt, 1)[0] > 10.0  # what least squares says


def test_sound_lots_seldom_alarm() -> None:
    """Two tests at 1 %: of 200 lots at most 11 (binomial, 99.9 %)."""
    alarms = [bool(trend_of(lot).cautions) for lot in lots(200)]
    assert sum(alarms) <= 11


@pytest.mark.parametrize(("carry", "word"), [(0.7, "alike"), (-0.7, "opposite")])
def test_neighbours_that_go_together_are_found(carry: float, word: str) -> None:
    """An autoregression of 0.7: the lag-1 correlation is that, less 2 or 3 of 1/N."""
    steps = np.random.default_rng(2).standard_normal(200)
    row = [0.0]
    for step in steps:
        row.append(carry * row[-1] + step)
    found = trend_of(row)
    # Bartlett: its standard error is sqrt((1 - 0.49)/200) = 0.05.
    assert found.lag1 == pytest.approx(carry, abs=4 * 0.05)
    text = {one.code: one.text for one in found.cautions}
    assert word in text["neighbours_go_together"]


@given(st.floats(-1e6, 1e6), st.floats(1e-9, 1e9))
@settings(max_examples=25)
def test_a_trend_scales_with_the_unit(shift: float, scale: float) -> None:
    """Slope and doubt with the unit, the rest unchanged."""
    lot = np.array([3.0, 1.0, 4.0, 1.5, 9.0, 2.6, 5.3])
    plain, other = trend_of(lot), trend_of((lot + shift) * scale)
    assert other.slope == pytest.approx(plain.slope * scale, rel=1e-6)
    assert other.lag1 == pytest.approx(plain.lag1, abs=1e-6)
    assert other.p_value == pytest.approx(plain.p_value)


def test_a_drift_alone_does_not_make_neighbours_go_together() -> None:
    """Ten deviations of drift over 60 parts of independent scatter."""
    found = trend_of(lots(1, slope=10.0 / 60.0)[0])
    assert [one.code for one in found.cautions] == ["trend"]
    assert abs(found.lag1) < 4.0 / math.sqrt(60)


def test_values_all_the_same_have_no_trend() -> None:
    """Slope 0, certain of it, no correlation, no warning raised."""
    found = trend_of([5.0] * 8)
    assert (found.slope, found.u_slope, found.lag1) == (0.0, 0.0, 0.0)
    assert (found.p_value, found.lag1_p_value, found.cautions) == (1.0, 1.0, ())


@pytest.mark.parametrize(
    ("values", "places"),
    [
        ([1.0, 2.0, 3.0, 4.0], None),
        ([1.0, 2.0, math.nan, 4.0, 5.0], None),
        ([1.0] * 5, [0.0, 1.0, 1.0, 2.0, 3.0]),
        ([1.0] * 5, [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]),
        ([[1.0] * 5], None),
        (["a"] * 5, None),
    ],
)
def test_what_is_no_order_is_refused(
    values: list[float], places: list[float] | None
) -> None:
    """Four values, a gap, places that stand still or are more, no row, no numbers."""
    with pytest.raises(InputError):
        trend_of(values, places=places)


def test_a_row_cannot_be_written_to() -> None:
    """And is a copy."""
    given_row = np.array([1.0, 2.0])
    row = finite_row(given_row, name="numbers")
    given_row[0] = 9.0
    assert row[0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        row[0] = 3.0


def test_quantiles_are_those_of_any_table() -> None:
    """1.960 for 95 %, 2.576 for 99 %; no level of one."""
    assert normal_quantile(0.95) == pytest.approx(1.960, abs=5e-4)
    assert normal_quantile(0.99) == pytest.approx(2.576, abs=5e-4)
    with pytest.raises(InputError):
        normal_quantile(1.0)
