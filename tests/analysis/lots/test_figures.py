"""A lot in figures."""

import math

import numpy as np
import pytest

from halfpower.analysis import InputError
from halfpower.analysis.lots import Column, Limits, column_figures, defects_of
from halfpower.analysis.lots.figures import MOST_FOR_TREND, thinned
from halfpower.analysis.lots.outliers import Cause


def invented_column(size: int = 60, **more: object) -> Column:
    """Give inductances of 33 uH, 2 % spread; the third part has none."""
    values = 33e-6 * (1.0 + 0.02 * np.random.default_rng(4).standard_normal(size))
    values[2] = math.nan
    given = {"quantity": "inductance", "unit": "H", "u": np.full(size, 1e-7), **more}
    return Column(values=values, **given)


def test_mean_and_spread_are_those_of_the_known_values() -> None:
    """An unmeasured part counts for nothing, against numpy's nan-functions."""
    column = invented_column()
    figures = column_figures(column)
    assert figures is not None
    assert figures.n == 59
    assert figures.mean == pytest.approx(np.nanmean(column.values), rel=1e-12)
    assert figures.sd == pytest.approx(np.nanstd(column.values, ddof=1), rel=1e-12)
    assert figures.median_u == 1e-7


def test_cpk_is_of_the_limits() -> None:
    """Cpk = (33 +- 10 % less the mean) over 3 sd, by its definition."""
    column = invented_column(limits=Limits.about(33e-6, tolerance_relative=0.1))
    figures = column_figures(column)
    assert figures is not None
    assert figures.capability is not None
    room = min(figures.mean - 29.7e-6, 36.3e-6 - figures.mean)
    assert figures.capability.cpk == pytest.approx(room / (3.0 * figures.sd), rel=1e-12)


def test_an_outlier_is_named_by_its_part() -> None:
    """Indices are of parts, those without a value counted too."""
    column = invented_column()
    values = column.values.copy()
    values[17] = 24e-6
    figures = column_figures(invented_column_of(values))
    assert figures is not None
    assert figures.outliers == (17,)


def invented_column_of(values: np.ndarray) -> Column:
    """A column of these values."""
    return Column(
        quantity="inductance", unit="H", values=values, u=np.full(values.size, math.nan)
    )


def test_why_there_is_no_capability_is_said() -> None:
    """Values that do not differ have no spread to compare."""
    column = Column(
        quantity="inductance",
        unit="H",
        values=np.full(10, 33e-6),
        u=np.zeros(10),
        limits=Limits(lower=30e-6),
    )
    figures = column_figures(column)
    assert figures is not None
    assert figures.capability is None
    assert "no_capability" in [one.code for one in figures.cautions]


def test_one_value_is_enough_for_a_mean() -> None:
    """Of a single part there is a mean, and no spread or trend."""
    figures = column_figures(invented_column_of(np.array([33e-6])))
    assert figures is not None
    assert math.isnan(figures.sd)
    assert figures.trend is None
    assert column_figures(invented_column_of(np.array([math.nan]))) is None


def test_a_drift_is_found_in_a_long_lot_too() -> None:
    """A ramp of 1 % over 20 000 parts shows, its size within a tenth of itself."""
    size = 20_000
    rng = np.random.default_rng(5)
    ramp = 1.0 + 0.01 * np.arange(size) / (size - 1)
    values = 33e-6 * ramp * (1.0 + 0.02 * rng.standard_normal(size))
    figures = column_figures(invented_column_of(values))
    assert figures is not None
    assert figures.trend is not None
    assert figures.trend.drift == pytest.approx(0.33e-6, rel=0.1)
    assert "trend" in [one.code for one in figures.cautions]


def test_thinning_takes_medians_of_neighbours() -> None:
    """A long row becomes a shorter one at its own places; a short one stays."""
    row, places = thinned(np.arange(10.0), most=5)
    assert row.tolist() == [0.5, 2.5, 4.5, 6.5, 8.5]
    assert places.tolist() == row.tolist()
    assert thinned(np.arange(10.0))[0].size == 10
    assert thinned(np.zeros(9999))[0].size == MOST_FOR_TREND


def test_a_shorted_turn_is_called_one() -> None:
    """Low inductance and low Q together; no resonance is a cause of its own."""
    rng = np.random.default_rng(6)
    q = 100.0 * (1.0 + 0.05 * rng.standard_normal(60))
    column = invented_column()
    values = column.values.copy()
    values[9], q[9] = 24e-6, 22.0
    found = defects_of(invented_column_of(values), q=invented_column_of(q))
    causes = {one.part: one.cause for one in found}
    assert causes[9] is Cause.SHORTED_TURN
    assert causes[2] is Cause.NO_RESONANCE


def test_four_parts_are_no_lot() -> None:
    """Nothing stands apart from so few."""
    assert defects_of(invented_column_of(np.full(4, 33e-6))) == ()


def test_a_value_without_its_doubt_is_refused() -> None:
    """Columns go in pairs."""
    with pytest.raises(InputError, match="uncertainty a value"):
        Column(quantity="inductance", unit="H", values=np.ones(3), u=np.ones(2))
