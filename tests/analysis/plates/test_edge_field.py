"""The edge field with sheets: limits, continuity, refusals."""

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from halfpower.analysis import InputError
from halfpower.analysis.plates import (
    EPS0,
    Sheet,
    edge_capacitance,
    excess_over_air,
    love_ratio,
    rectangle_ratio,
)
from halfpower.analysis.plates.edge_field import EdgeCapacitance, wide_sheet_ratio


def disc(sheet: Sheet, permittivity: float = 1.0, gap_m: float = 1e-3) -> float:
    """Give the edge capacitance of 50 mm discs in F."""
    found = edge_capacitance(
        gap_m=gap_m,
        diameter_m=50e-3,
        sheet=sheet,
        relative_permittivity=permittivity,
    )
    return found.value_f


@pytest.mark.parametrize("k", [0.01, 0.1, 0.4])
def test_a_wide_sheet_of_air_is_love_s_equation(k: float) -> None:
    """One image is left, his own; 1e-9 for the spline of the kernel."""
    found = wide_sheet_ratio(k, relative_permittivity=1.0)
    expected = love_ratio(k * (1.0 + 1e-12))
    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("sheet", ["flush", "extends"])
def test_a_sheet_of_air_adds_nothing(sheet: Sheet) -> None:
    """eps_r = 1 is air, whatever it is called."""
    assert disc(sheet) == pytest.approx(disc("air"), rel=1e-6, abs=0.0)


@given(
    permittivity=st.floats(min_value=1.0, max_value=900.0),
    shape=st.floats(min_value=0.02, max_value=0.2),
)
@example(permittivity=2.0, shape=0.2)
@settings(max_examples=8)
def test_the_edge_grows_with_the_permittivity(
    permittivity: float, shape: float
) -> None:
    """Wider sheets more than flush ones, which never pass 7 % of the air's."""
    for sheet in ("flush", "extends"):
        here, more = (
            disc(sheet, one, shape * 50e-3)
            for one in (permittivity, permittivity * 1.1)
        )
        assert here < more
    air = disc("air", gap_m=shape * 50e-3)
    assert disc("flush", permittivity, shape * 50e-3) < 1.07 * air
    assert disc("extends", 2.0, shape * 50e-3) > 1.1 * air


def test_a_very_permittive_wide_sheet_s_edge_goes_as_its_permittivity() -> None:
    """Between 500 and 1000 it doubles: the field is in the sheet alone."""
    ratio = disc("extends", 1000.0) / disc("extends", 500.0)
    assert ratio == pytest.approx(2.0, rel=0.005)


def rectangle(
    sheet: Sheet, permittivity: float, *, width_m: float, length_m: float
) -> EdgeCapacitance:
    """Give the edge capacitance of rectangles 1 mm apart."""
    return edge_capacitance(
        gap_m=1e-3,
        width_m=width_m,
        length_m=length_m,
        sheet=sheet,
        relative_permittivity=permittivity,
    )


def test_a_rectangle_in_air_is_the_moment_solution_s() -> None:
    """Nothing is taken from a disc there."""
    found = rectangle("air", 1.0, width_m=50e-3, length_m=80e-3)
    ideal = EPS0 * 50e-3 * 80e-3 / 1e-3
    ratio = rectangle_ratio(width=50e-3, length=80e-3, gap=1e-3)
    assert found.value_f == pytest.approx(ideal * (ratio - 1.0), rel=1e-12, abs=0.0)


@pytest.mark.parametrize("sheet", ["flush", "extends"])
def test_a_rectangle_s_sheet_adds_what_a_disc_s_does(sheet: Sheet) -> None:
    """Per perimeter, on the disc of diameter 4A/P = 2wl/(w + l)."""
    found = rectangle(sheet, 4.5, width_m=50e-3, length_m=80e-3)
    air = rectangle("air", 1.0, width_m=50e-3, length_m=80e-3)
    shape = 1e-3 / (2.0 * 50e-3 * 80e-3 / 130e-3)
    added = excess_over_air(shape, sheet=sheet, relative_permittivity=4.5)
    assert found.value_f - air.value_f == pytest.approx(
        EPS0 * 0.26 * added, rel=1e-9, abs=0.0
    )


def test_the_doubt_is_ten_per_cent_limits_and_the_solution_s() -> None:
    """Squares added; a rectangle's is 2 % limits of what a wide sheet adds."""
    found = rectangle("extends", 4.5, width_m=50e-3, length_m=50e-3)
    air = rectangle("air", 1.0, width_m=50e-3, length_m=50e-3)
    added = found.value_f - air.value_f
    assert found.u_f**2 == pytest.approx(
        found.u_solution_f**2 + (0.1 * found.value_f) ** 2 / 3.0, rel=1e-9, abs=0.0
    )
    assert found.u_solution_f == pytest.approx(
        math.hypot(0.02 * added / math.sqrt(3.0), air.u_solution_f), rel=1e-9, abs=0.0
    )


def test_a_disc_in_air_has_the_idealisation_s_doubt_alone() -> None:
    """5.8 % standard."""
    found = edge_capacitance(gap_m=1e-3, diameter_m=50e-3, sheet="air")
    assert found.u_solution_f == 0.0
    assert found.u_f / found.value_f == pytest.approx(0.1 / math.sqrt(3.0), rel=1e-12)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"gap_m": 0.1e-3}, "0.005 to 0.2"),
        ({"gap_m": 15e-3}, "0.005 to 0.2"),
        ({"gap_m": math.nan}, "above zero"),
        ({"gap_m": 0.0}, "above zero"),
        ({"diameter_m": -1.0}, "above zero"),
        ({"diameter_m": None}, "one or the other"),
        ({"width_m": 1.0}, "one or the other"),
        ({"relative_permittivity": 0.9}, "1 to 1000"),
        ({"relative_permittivity": 2000.0}, "1 to 1000"),
        ({"relative_permittivity": math.nan}, "1 to 1000"),
    ],
)
def test_what_is_not_solved_is_refused(
    changed: dict[str, float | None], sentence: str
) -> None:
    """One sentence each; nothing is extrapolated."""
    given_: dict[str, object] = {
        "gap_m": 1e-3,
        "diameter_m": 50e-3,
        "sheet": "extends",
        "relative_permittivity": 4.5,
    }
    with pytest.raises(InputError, match=sentence):
        edge_capacitance(**(given_ | changed))  # type: ignore[arg-type] # a mapping
