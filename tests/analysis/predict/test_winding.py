"""A predicted coil: its parts hang together, and what cannot be is refused."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfpower.analysis import InputError, Stated
from halfpower.analysis.predict import Prediction, Winding, predict_winding
from halfpower.analysis.predict.solenoid import (
    MU0,
    current_sheet_h,
    inward_shift_m,
    nagaoka_coefficient,
    solenoid_h,
)
from halfpower.analysis.predict.winding_loss import (
    exclusion,
    few_turns_share,
    internal_share,
    resistance_ratio,
    winding_ohm,
)


def exact(value: float) -> Stated:
    """State a dimension without doubt."""
    return Stated(value=value)


def winding(**changed: object) -> Winding:
    """Wind an invented coil: 25 mm, 20 turns, 0.8 mm wire at 1 mm."""
    made: dict[str, object] = {
        "diameter_m": exact(25e-3),
        "turns": 20.0,
        "wire_m": exact(0.8e-3),
        "pitch_m": exact(1e-3),
    }
    return Winding(**(made | changed))  # type: ignore[arg-type] # a mapping of fields


def predicted(frequency_hz: float | None = 7e6, **changed: object) -> Prediction:
    """Predict it."""
    at = None if frequency_hz is None else exact(frequency_hz)
    return predict_winding(winding(**changed), frequency_hz=at)


@given(x=st.floats(min_value=1e-6, max_value=1e3))
def test_nagaoka_s_coefficient_falls_from_one(x: float) -> None:
    """Between 0 and 1, and smaller for a wider coil."""
    assert 0.0 < nagaoka_coefficient(x * 1.01) < nagaoka_coefficient(x) < 1.0


def test_a_very_long_coil_is_the_textbook_s() -> None:
    """1 - 4x/(3 pi) + x^2/8, the expansion of the exact form, at x = 1e-5."""
    x = 1e-5
    assert nagaoka_coefficient(x) == pytest.approx(
        1.0 - 4.0 * x / (3.0 * math.pi) + x**2 / 8.0, abs=1e-15
    )


def test_inductance_goes_as_size() -> None:
    """Ten times the coil, ten times the inductance: mu0 is its only constant."""
    small = solenoid_h(diameter_m=0.02, pitch_m=1e-3, turns=15, wire_m=5e-4)
    large = solenoid_h(diameter_m=0.2, pitch_m=1e-2, turns=15, wire_m=5e-3)
    assert large == pytest.approx(10.0 * small, rel=1e-12, abs=0.0)


def test_low_frequency_is_direct_current() -> None:
    """At 1 Hz nothing is shifted and nothing lost of the inside's inductance."""
    at_dc = predicted(None)["inductance"].value
    assert predicted(1.0)["inductance"].value == pytest.approx(at_dc, rel=1e-7, abs=0.0)


def test_a_thin_skin_lowers_the_inductance_by_both_terms() -> None:
    """mu0 D N/8 of internal inductance, and the sheet's shift, by hand."""
    shift = inward_shift_m(wire_m=0.8e-3, pitch_m=1e-3, exclusion=1.0)
    full, less = (
        current_sheet_h(diameter_m=25e-3 - 2.0 * s, length_m=20e-3, turns=20.0)
        for s in (0.0, shift)
    )
    low, thin = predicted(None)["inductance"], predicted(1e11)["inductance"]
    expected = MU0 * 25e-3 * 20.0 / 8.0 + full - less
    assert low.value - thin.value == pytest.approx(expected, rel=5e-3, abs=0.0)


@pytest.mark.parametrize("skin_m", [1e-2, 3e-4, 1e-5, 1e-8])
def test_skin_functions_stay_within_their_ends(skin_m: float) -> None:
    """Internal share and exclusion between 0 and 1, resistance not below d.c."""
    assert 0.0 < internal_share(1e-3, skin_m=skin_m) <= 1.0
    assert 0.0 <= exclusion(1e-3, skin_m=skin_m) < 1.0
    assert resistance_ratio(1e-3, skin_m=skin_m) >= 1.0


def test_resistance_begins_at_that_of_the_wire() -> None:
    """At 1 Hz: rho l / A of 20 turns and their pitch."""
    length = 20.0 * math.hypot(math.pi * 25e-3, 1e-3)
    direct = length / 58e6 / (math.pi * 0.4e-3**2)
    got = winding_ohm(
        diameter_m=25e-3,
        pitch_m=1e-3,
        turns=20.0,
        wire_m=0.8e-3,
        frequency_hz=1.0,
        resistivity_ohm_m=1.0 / 58e6,
    )
    assert got == pytest.approx(direct, rel=1e-6)


def test_a_thin_skin_s_resistance_is_phi_times_the_wire_s() -> None:
    """Medhurst's 1.67 at l/D = 1 and p/d = 2, of rho l/(pi d delta)."""
    rho, frequency_hz = 1.0 / 58e6, 1e11
    skin_m = math.sqrt(rho / (math.pi * frequency_hz * MU0))
    length = 20.0 * math.hypot(math.pi * 20e-3, 1e-3)
    got = winding_ohm(
        diameter_m=20e-3,
        pitch_m=1e-3,
        turns=20.0,
        wire_m=0.5e-3,
        frequency_hz=frequency_hz,
        resistivity_ohm_m=rho,
    )
    wall = rho * length / (math.pi * 0.5e-3 * skin_m)
    assert got / wall == pytest.approx(1.67, rel=2e-3)


def test_resistance_ends_as_the_root_of_frequency() -> None:
    """Thin skin: ten times the frequency, root ten times the resistance."""
    low, high = (
        winding_ohm(
            diameter_m=25e-3,
            pitch_m=1e-3,
            turns=20.0,
            wire_m=0.8e-3,
            frequency_hz=frequency_hz,
            resistivity_ohm_m=1.72e-8,
        )
        for frequency_hz in (1e9, 1e11)
    )
    assert high / low == pytest.approx(10.0, rel=0.01)


def test_q_and_the_apparent_values_follow_from_the_others() -> None:
    """Q = wL/R; L/(1 - w^2 L C0) and Q (1 - w^2 L C0), by definition."""
    coil = predicted()
    omega = 2.0 * math.pi * 7e6
    inductance = coil["inductance"].value
    q = omega * inductance / coil["series_resistance"].value
    left = 1.0 - omega**2 * inductance * coil["self_capacitance"].value
    assert coil["unloaded_q"].value == pytest.approx(q, rel=1e-12)
    assert coil["apparent_q"].value == pytest.approx(q * left, rel=1e-12)
    assert coil["apparent_inductance"].value == pytest.approx(
        inductance / left, rel=1e-9, abs=0.0
    )


def test_self_resonance_is_with_the_inductance_there() -> None:
    """(2 pi f)^2 L(f) C0 = 1."""
    coil = predicted()
    f = coil["self_resonant_frequency"].value
    there = predicted(f)["inductance"].value
    product = (2.0 * math.pi * f) ** 2 * there * coil["self_capacitance"].value
    assert product == pytest.approx(1.0, rel=1e-6)


def test_length_and_pitch_are_two_ways_to_say_it() -> None:
    """20 mm of 20 turns is a pitch of 1 mm."""
    by_length = predicted(pitch_m=None, length_m=exact(20e-3))
    assert by_length["inductance"].value == pytest.approx(
        predicted()["inductance"].value, rel=1e-12, abs=0.0
    )


def test_the_doubt_of_a_dimension_is_that_of_drawn_coils() -> None:
    """Independent: coils drawn within the diameter's limits; its part, to 2 %."""
    diameter = Stated.within(25e-3, half_width=0.3e-3)
    coil = predicted(None, diameter_m=diameter)["inductance"]
    part = {one.source: one.u for one in coil.budget}["diameter"]
    drawn = [
        solenoid_h(diameter_m=d, pitch_m=1e-3, turns=20.0, wire_m=0.8e-3)
        for d in diameter.draw(np.random.default_rng(3), size=20_000)
    ]
    assert part == pytest.approx(float(np.std(drawn)), rel=0.02, abs=0.0)


def test_the_model_s_own_doubt_is_in_the_budget() -> None:
    """Exact dimensions leave what the formulas themselves are worth."""
    sources = {one.source for one in predicted()["unloaded_q"].budget}
    assert sources <= {
        "winding not ideal, leads",
        "where the current flows in the wire",
        "self-capacitance table",
        "proximity loss table",
        "resistivity (temperature, purity)",
        "proximity of few turns",
    }
    assert {"proximity loss table", "winding not ideal, leads"} <= sources


@pytest.mark.parametrize(
    ("shape_turns", "warned"), [(1.0, True), (20.0, False), (2000.0, True)]
)
def test_no_self_capacitance_outside_the_table(
    shape_turns: float, *, warned: bool
) -> None:
    """25 mm wide and 1 mm, 20 mm or 2 m long: nothing is extrapolated."""
    coil = predicted(turns=shape_turns)
    names = {one.name for one in coil.quantities}
    assert ("self_capacitance" not in names) is warned
    assert ("outside-table" in {one.code for one in coil.warnings}) is warned


def test_no_apparent_values_near_the_self_resonance() -> None:
    """Above half of it the coil is no lumped inductance."""
    coil = predicted(40e6)
    assert "apparent_q" not in {one.name for one in coil.quantities}
    assert "near-self-resonance" in {one.code for one in coil.warnings}


def test_silver_is_better_than_copper_and_aluminium_worse() -> None:
    """By the root of their resistivities where the skin is thin."""
    silver, copper, aluminium = (
        predicted(conductor=metal)["unloaded_q"].value
        for metal in ("silver", "copper", "aluminium")
    )
    assert silver > copper > aluminium
    assert copper / aluminium == pytest.approx(math.sqrt(2.824 / 1.7241), rel=0.02)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"turns": -3.0}, "1 to 100000 turns, not -3"),
        ({"turns": math.nan}, "1 to 100000 turns"),
        ({"wire_m": exact(1.2e-3)}, "does not fit a pitch of 1 mm"),
        ({"wire_m": exact(0.0)}, "wire diameter is above zero"),
        ({"diameter_m": exact(-1e-3)}, "diameter is above zero"),
        ({"diameter_m": exact(0.5e-3)}, "cannot be wound"),
        ({"length_m": exact(25e-3)}, "20 mm long, not 25 mm"),
        ({"pitch_m": None}, "needs its length or its pitch"),
        ({"conductor": "wood"}, "can be copper, silver, aluminium"),
    ],
)
def test_what_cannot_be_wound_is_refused(
    changed: dict[str, object], sentence: str
) -> None:
    """One sentence each, no number."""
    with pytest.raises(InputError, match=sentence):
        winding(**changed)


def test_a_frequency_of_zero_is_refused() -> None:
    """There is no skin depth there."""
    with pytest.raises(InputError, match="frequency is above zero"):
        predicted(0.0)


def test_a_dimension_hardly_known_is_refused() -> None:
    """Half of it as its standard uncertainty carries no prediction."""
    with pytest.raises(InputError, match="better than a third"):
        predicted(diameter_m=Stated(value=25e-3, u=12e-3))


def test_a_lone_turn_has_no_neighbour_s_loss() -> None:
    """R of one turn is its straight wire's; the table would make it five times that."""
    loop = predicted(turns=1.0, wire_m=exact(2e-3), pitch_m=exact(2e-3))
    straight = (
        1.0 / 58e6 * math.hypot(math.pi * 25e-3, 2e-3) / (math.pi * 1e-6)
    ) * resistance_ratio(2e-3, skin_m=math.sqrt(1.0 / 58e6 / (math.pi * 7e6 * MU0)))
    assert loop["series_resistance"].value == pytest.approx(straight, rel=1e-9)


@given(turns=st.floats(min_value=1.0, max_value=1e5))
def test_few_turns_have_less_of_the_table_s_loss(turns: float) -> None:
    """0 at one turn, 1 from 30 on, and never falling."""
    share = few_turns_share(turns)
    assert 0.0 <= share <= few_turns_share(turns * 1.1) <= 1.0
    assert (share == 1.0) is (turns >= 30.0)


@pytest.mark.parametrize("frequency_hz", [60e6, 1e12])
def test_no_resistance_beyond_the_self_resonance(frequency_hz: float) -> None:
    """At 1 THz it used to give a Q of 89 000."""
    coil = predicted(frequency_hz)
    names = {one.name for one in coil.quantities}
    assert names == {"inductance", "self_capacitance", "self_resonant_frequency"}
    assert "above-self-resonance" in {one.code for one in coil.warnings}


def test_a_loop_outside_the_table_is_lumped_to_a_quarter_wave() -> None:
    """79 mm of wire: 954 MHz."""
    below, above = (
        {one.name for one in predicted(f, turns=1.0).quantities} for f in (4e8, 1e9)
    )
    assert "unloaded_q" in below
    assert "unloaded_q" not in above


def test_a_doubtful_wire_does_not_overlap_its_neighbour() -> None:
    """0.99 mm to 0.1 mm at a pitch of 1 mm: no more than 1 mm in any draw."""
    coil = predicted(wire_m=Stated.within(0.99e-3, half_width=0.1e-3))
    widest = predicted(wire_m=exact(1e-3))["unloaded_q"].value
    part = {one.source: one.u for one in coil["unloaded_q"].budget}["wire diameter"]
    at = coil["unloaded_q"].value
    thinner = predicted(wire_m=exact(0.99e-3 - 0.1e-3 / math.sqrt(3.0)))
    assert part == pytest.approx((thinner["unloaded_q"].value - widest) / 2.0, rel=1e-6)
    assert widest < at


def test_a_short_close_winding_is_warned_of() -> None:
    """8 turns of 0.9 mm at 1 mm on 25 mm: the table is low there."""
    coil = predicted(turns=8.0, wire_m=exact(0.9e-3))
    assert "short-and-close" in {one.code for one in coil.warnings}
    assert "short-and-close" not in {one.code for one in predicted().warnings}
