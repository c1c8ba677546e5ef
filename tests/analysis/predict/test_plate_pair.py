"""Predicted plates, and what of them is edge."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfpower.analysis import InputError, Stated
from halfpower.analysis.plates import (
    EPS0,
    edge_capacitance,
    love_ratio,
    rectangle_ratio,
)
from halfpower.analysis.predict import PlatePair, predict_plates
from halfpower.analysis.predict.self_capacitance import medhurst_self_capacitance_f


def exact(value: float) -> Stated:
    """State a dimension without doubt."""
    return Stated(value=value)


def discs(**changed: object) -> PlatePair:
    """Make 50 mm discs, 1 mm apart."""
    made: dict[str, object] = {"gap_m": exact(1e-3), "diameter_m": exact(50e-3)}
    return PlatePair(**(made | changed))  # type: ignore[arg-type] # a mapping of fields


@given(k=st.floats(min_value=0.02, max_value=10.0))
@settings(max_examples=25)
def test_the_edge_grows_with_the_gap(k: float) -> None:
    """The ratio is above 1 and rises; the capacitance itself falls."""
    here, wider = love_ratio(k), love_ratio(1.05 * k)
    assert 1.0 < here < wider < 1.05 * here


@pytest.mark.parametrize("gap", [0.01, 0.3])
def test_a_rectangle_may_be_turned(gap: float) -> None:
    """Width and length change places, and units do not matter."""
    one = rectangle_ratio(width=1.0, length=2.5, gap=gap)
    turned = rectangle_ratio(width=2.5e-3, length=1e-3, gap=gap * 1e-3)
    assert one == pytest.approx(turned, rel=1e-9)


def test_the_parts_add_up() -> None:
    """C = C0 + edge, the share is their quotient, C0 is the plain formula."""
    made = predict_plates(discs(relative_permittivity=exact(2.55)))
    ideal, edge = made["ideal_capacitance"].value, made["edge_capacitance"].value
    assert ideal == pytest.approx(
        2.55 * EPS0 * math.pi * 0.025**2 / 1e-3, rel=1e-12, abs=0.0
    )
    assert made["capacitance"].value == pytest.approx(ideal + edge, rel=1e-12, abs=0.0)
    assert made["edge_share"].value == pytest.approx(edge / (ideal + edge), rel=1e-12)


def test_a_flush_sheet_nearly_leaves_the_edge_alone() -> None:
    """1 to 5 % more than in air, by the table of `edge_field`."""
    bare, filled = (
        predict_plates(discs(relative_permittivity=one))["edge_capacitance"].value
        for one in (None, exact(9.8))
    )
    assert 1.01 < filled / bare < 1.05


def test_a_sheet_that_extends_adds_to_the_edge() -> None:
    """What `edge_capacitance` gives for it, and it says so."""
    pair = discs(relative_permittivity=exact(4.5), sheet="extends")
    made = predict_plates(pair)
    edge = edge_capacitance(
        gap_m=1e-3, diameter_m=50e-3, sheet="extends", relative_permittivity=4.5
    )
    assert made["edge_capacitance"].value == pytest.approx(
        edge.value_f, rel=1e-7, abs=0.0
    )
    assert any("extends" in remark for remark in made.remarks)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({}, "needs its permittivity"),
        ({"relative_permittivity": exact(2e3)}, "1 to 1000"),
        ({"relative_permittivity": exact(4.5), "gap_m": exact(0.1e-3)}, "0.005 to 0.2"),
    ],
)
def test_a_wide_sheet_that_is_not_solved_is_refused(
    changed: dict[str, object], sentence: str
) -> None:
    """Nothing is extrapolated."""
    with pytest.raises(InputError, match=sentence):
        predict_plates(discs(sheet="extends", **changed))


def test_a_doubtful_permittivity_near_one_stays_above_it() -> None:
    """The lower end of the interval is that of air."""
    pair = discs(relative_permittivity=Stated.within(1.05, half_width=0.1))
    made = predict_plates(pair)["ideal_capacitance"]
    air = EPS0 * math.pi * 0.025**2 / 1e-3
    assert made.interval is not None
    assert made.interval[0] == pytest.approx(air, rel=1e-9, abs=0.0)


@pytest.mark.parametrize(("u", "warned"), [(0.0, True), (1e-6, False)])
def test_an_exact_gap_is_warned_of(u: float, *, warned: bool) -> None:
    """None is; 0.5 um taken as exact gave seven figures."""
    made = predict_plates(discs(gap_m=Stated(value=1e-3, u=u)))
    assert ("gap-taken-as-exact" in {one.code for one in made.warnings}) is warned


def test_a_gap_beyond_kirchhoff_s_formula_is_said_so() -> None:
    """It would give a negative capacitance for discs 200 diameters apart."""
    made = predict_plates(discs(gap_m=exact(10.0)))
    assert made.remarks == ("Kirchhoff's formula does not hold for a gap so wide.",)


def test_plates_in_air_are_the_bare_solutions() -> None:
    """Discs by Love's equation, rectangles by moments."""
    made = predict_plates(discs())["capacitance"].value
    flat = EPS0 * math.pi * 25e-3**2 / 1e-3 * love_ratio(1.0 / 25.0)
    assert made == pytest.approx(flat, rel=1e-9, abs=0.0)
    pair = PlatePair(gap_m=exact(2e-3), width_m=exact(50e-3), length_m=exact(80e-3))
    flat = EPS0 * 50e-3 * 80e-3 / 2e-3 * rectangle_ratio(width=50, length=80, gap=2)
    assert predict_plates(pair)["capacitance"].value == pytest.approx(
        flat, rel=1e-9, abs=0.0
    )


def test_a_gap_s_doubt_is_nearly_the_capacitance_s() -> None:
    """C goes as 1/d but for the edge, which falls more slowly: 2 % less 5 %."""
    made = predict_plates(discs(gap_m=Stated(value=1e-3, u=20e-6)))["capacitance"]
    part = {one.source: one.u for one in made.budget}["gap"] / made.value
    assert 0.018 < part < 0.02


def test_the_edge_s_own_doubt_is_ten_percent_limits() -> None:
    """5.8 % standard of the edge, and nothing of the ideal."""
    made = predict_plates(discs())
    edge = made["edge_capacitance"]
    assert edge.standard_uncertainty == pytest.approx(
        0.1 / math.sqrt(3) * edge.value, rel=1e-9, abs=0.0
    )
    assert made["ideal_capacitance"].standard_uncertainty == 0.0


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"gap_m": exact(0.0)}, "gap is above zero"),
        ({"diameter_m": exact(-0.05)}, "diameter is above zero"),
        ({"diameter_m": None}, "one or the other"),
        ({"width_m": exact(0.05)}, "one or the other"),
        ({"diameter_m": None, "width_m": exact(0.05)}, "one or the other"),
        ({"relative_permittivity": exact(0.9)}, "1 to 100000, not 0.9"),
        ({"gap_m": Stated(value=1e-3, u=5e-4)}, "better than a third"),
    ],
)
def test_plates_that_cannot_be_are_refused(
    changed: dict[str, object], sentence: str
) -> None:
    """One sentence each."""
    with pytest.raises(InputError, match=sentence):
        discs(**changed)


@pytest.mark.parametrize(
    ("width", "length", "gap", "sentence"),
    [
        (1.0, 1.0, 1e-4, "outside what the solution is good for"),
        (1.0, 1.0, 3.0, "outside what the solution is good for"),
        (1.0, 50.0, 0.1, "times as long as wide"),
        (1.0, 0.0, 0.1, "above zero"),
    ],
)
def test_rectangles_out_of_range_are_refused(
    width: float, length: float, gap: float, sentence: str
) -> None:
    """Nothing is extrapolated."""
    with pytest.raises(InputError, match=sentence):
        rectangle_ratio(width=width, length=length, gap=gap)


def test_between_its_entries_the_self_capacitance_is_between_them() -> None:
    """At l/D = 3.2, between 0.61 and 0.67 pF/cm."""
    got = medhurst_self_capacitance_f(diameter_m=0.01, length_m=0.032)
    assert 0.61e-12 < got < 0.67e-12
