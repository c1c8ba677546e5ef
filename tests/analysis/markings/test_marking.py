"""What a marking may mean, and the odds of it."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfpower.analysis import InputError, Stated
from halfpower.analysis.markings import (
    KINDS,
    SERIES,
    Kind,
    MarkedReading,
    neighbours,
    read_marking,
    series_of,
    series_values,
    weigh_readings,
)
from halfpower.analysis.markings.marking import round_off
from halfpower.analysis.markings.odds import DECADES


def values(text: str, kind: Kind) -> list[float]:
    """Every nominal value that a marking allows."""
    return [one.value for one in read_marking(text, kind=kind)]


@given(
    name=st.sampled_from(sorted(SERIES)),
    index=st.integers(min_value=0, max_value=191),
    power=st.integers(min_value=-12, max_value=6),
)
def test_every_member_is_found_between_its_neighbours(
    name: str, index: int, power: int
) -> None:
    """Whatever the power of ten."""
    members = series_values(name)
    member = members[index % len(members)]
    value = member * 10.0**power
    assert name in series_of(value)
    below, above = neighbours(value, series=name)
    assert below < value < above
    assert name in series_of(below)
    assert name in series_of(above)


def test_neighbours_cross_the_decade() -> None:
    """E6: 6.8 and 1.5 are next to 1.0; 4.7 and 10 to 6.8, 10 to 9.5."""
    assert neighbours(9.5, series="E6") == pytest.approx((6.8, 10.0))
    assert neighbours(100e-12, series="E6") == pytest.approx(
        (68e-12, 150e-12), rel=1e-9, abs=0.0
    )
    assert neighbours(6.8, series="E6") == pytest.approx((4.7, 10.0))


def test_a_value_of_no_series_has_neighbours_too() -> None:
    """5.0 lies between 4.7 and 5.1 in E24, and in no series."""
    assert series_of(5.0) == ()
    assert neighbours(5.0, series="E24") == pytest.approx((4.7, 5.1))


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_a_value_that_is_none_is_refused(value: float) -> None:
    """No part has it."""
    with pytest.raises(InputError, match="above zero"):
        series_of(value)


def test_an_unknown_series_is_refused() -> None:
    """There is no E13."""
    with pytest.raises(InputError, match="E6, E12"):
        neighbours(1.0, series="E13")


def test_three_digits_that_end_in_nought_are_two_readings() -> None:
    """470: 47 pF by the code, 470 pF as a plain number."""
    assert values("470", "capacitor") == [47e-12, 470e-12]
    assert values("471", "capacitor") == [470e-12]


def test_a_last_letter_is_a_unit_or_a_tolerance() -> None:
    """47K on a resistor: 47 kilohm, or 47 ohm to 10 %."""
    readings = read_marking("47K", kind="resistor")
    assert [(one.value, one.tolerance) for one in readings] == [
        (47e3, "not marked, 20 % assumed"),
        (47.0, "10 %"),
    ]


def test_the_standard_s_readings_come_first() -> None:
    """33N: nanofarads in capitals and a tolerance of 30 % are both practice."""
    readings = read_marking("470", kind="resistor")
    assert [one.standard for one in readings] == [True, False]


def test_blanks_do_not_matter_and_capitals_do() -> None:
    """4k7 is no code of the standard's, 4 K 7 is."""
    assert values(" 4 K 7 ", "resistor") == [4.7e3]
    assert not read_marking("4k7", kind="resistor")[0].standard


def test_a_tolerance_from_elsewhere_replaces_the_assumed_one() -> None:
    """5 % of 100 nF."""
    (reading,) = read_marking("104", kind="capacitor", tolerance=0.05)
    assert (reading.lowest, reading.highest) == pytest.approx(
        (95e-9, 105e-9), rel=1e-9, abs=0.0
    )


def test_a_letter_that_is_no_tolerance_there_is_no_reading() -> None:
    """Z is a capacitor's."""
    with pytest.raises(InputError, match="no marking of a resistor"):
        read_marking("4K7Z", kind="resistor")


@pytest.mark.parametrize(
    "text", ["", " ", "xyz", "R", "K", "000", "0", "1,5", "-47", "4R7R", "1e3", "٤٧"]
)
@pytest.mark.parametrize("kind", ["capacitor", "inductor", "resistor"])
def test_what_is_no_marking_is_refused(text: str, kind: Kind) -> None:
    """One sentence, with what markings look like."""
    with pytest.raises(InputError, match="markings look like"):
        read_marking(text, kind=kind)


@pytest.mark.parametrize("tolerance", [0.0, -0.1, 1.0, math.nan])
def test_a_tolerance_that_is_none_is_refused(tolerance: float) -> None:
    """Above zero, below the whole."""
    with pytest.raises(InputError, match="a tolerance is above zero"):
        read_marking("104", kind="capacitor", tolerance=tolerance)


@given(text=st.text(alphabet="0123456789RKMGpnuµmNPUFJZ. ", max_size=6))
def test_every_reading_has_a_band_about_its_value(text: str) -> None:
    """Whatever is typed: finite, above zero, inside its own band, or refused."""
    for kind in ("capacitor", "inductor", "resistor"):
        try:
            readings = read_marking(text, kind=kind)
        except InputError:
            continue
        for one in readings:
            assert math.isfinite(one.value)
            assert 0.0 <= one.lowest < one.value < one.highest


READINGS = read_marking("470K", kind="capacitor")


def test_the_odds_are_bayes_theorem() -> None:
    """Independent: densities by Monte Carlo over the bands, 470K and 46.2 pF."""
    measured = Stated(value=44e-12, u=2e-12)
    odds = weigh_readings(READINGS, measured=measured, none_share=0.2)
    rng = np.random.default_rng(5)
    weights = []
    for one in READINGS:
        part = rng.uniform(one.lowest, one.highest, 400_000)
        density = np.exp(-(((part - measured.value) / measured.u) ** 2) / 2.0)
        weights.append(0.4 * density.mean() / (measured.u * math.sqrt(2.0 * math.pi)))
    weights.append(0.2 / (measured.value * math.log(10.0**DECADES)))
    shares = np.array(weights) / sum(weights)
    assert [*odds.shares, odds.none] == pytest.approx(list(shares), rel=0.01)


def test_shares_add_up_to_one() -> None:
    """With none of these."""
    odds = weigh_readings(READINGS, measured=Stated(value=60e-12, u=5e-12))
    assert math.fsum([*odds.shares, odds.none]) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "u", "verdict"),
    [
        (46.2e-12, 0.5e-12, "fits"),
        (470e-12, 5e-12, "fits"),
        (150e-12, 1e-12, "does not fit"),
        (53.5e-12, 0.6e-12, "undecided"),
        (150e-12, 150e-12, "undecided"),
    ],
)
def test_the_verdict_follows_the_odds(value: float, u: float, verdict: str) -> None:
    """Inside one band, outside all, near a band's end, hardly measured."""
    odds = weigh_readings(READINGS, measured=Stated(value=value, u=u))
    assert odds.verdict == verdict


def test_both_tails_keep_their_digits() -> None:
    """Nine standard uncertainties below and above a narrow band weigh alike."""
    (reading,) = read_marking("471", kind="capacitor", tolerance=1e-3)
    below, above = (
        weigh_readings(
            (reading,), measured=Stated(value=470e-12 + sign * 45e-12, u=5e-12)
        )
        for sign in (-1.0, 1.0)
    )
    # The density of "none" goes as 1/y; the band's own is the same on both sides.
    ratio = (below.shares[0] / below.none / 425.0) / (
        above.shares[0] / above.none / 515.0
    )
    assert ratio == pytest.approx(1.0, rel=1e-3)


def test_a_far_value_has_no_overflow() -> None:
    """A thousand standard uncertainties from every band."""
    odds = weigh_readings(READINGS, measured=Stated(value=1e-6, u=1e-12))
    assert (odds.none, odds.verdict) == (1.0, "does not fit")


def test_the_right_reading_wins_about_as_often_as_its_odds() -> None:
    """Calibration: 2000 drawn parts; verdicts of 95 % are right in 95 % or more."""
    rng = np.random.default_rng(11)
    readings: tuple[MarkedReading, ...] = read_marking("33N", kind="capacitor")
    right = settled = 0
    for _ in range(2000):
        truth = int(rng.integers(len(readings)))
        part = rng.uniform(readings[truth].lowest, readings[truth].highest)
        u = 0.1 * part
        measured = Stated(value=max(part + u * rng.standard_normal(), u), u=u)
        odds = weigh_readings(readings, measured=measured)
        if odds.verdict == "fits":
            settled += 1
            right += odds.best == truth
    assert settled > 1900
    assert right / settled > 0.95


@pytest.mark.parametrize(
    ("measured", "none_share", "sentence"),
    [
        (Stated(value=47e-12), 0.05, "needs?.* uncertainty"),
        (Stated(value=0.0, u=1e-12), 0.05, "above zero"),
        (Stated(value=47e-12, u=1e-12), 0.0, "between 0 and 1"),
        (Stated(value=47e-12, u=1e-12), 1.0, "between 0 and 1"),
    ],
)
def test_odds_without_grounds_are_refused(
    measured: Stated, none_share: float, sentence: str
) -> None:
    """One sentence each."""
    with pytest.raises(InputError, match=sentence):
        weigh_readings(READINGS, measured=measured, none_share=none_share)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("100nF", "capacitor", 100e-9),
        ("0.1uF", "capacitor", 100e-9),
        ("47pF", "capacitor", 47e-12),
        ("22uH", "inductor", 22e-6),
        ("1mH", "inductor", 1e-3),
        ("100nH", "inductor", 100e-9),
        ("4.7K", "resistor", 4.7e3),
        ("4.7M", "resistor", 4.7e6),
    ],
)
def test_a_unit_written_out_is_no_tolerance(
    text: str, kind: Kind, value: float
) -> None:
    """47pF is 47 pF whose tolerance is not marked, not only 47 pF to 1 %."""
    readings = read_marking(text, kind=kind)
    assert (value, "not marked, 20 % assumed") in {
        (round_off(one.value), one.tolerance) for one in readings
    }


def test_four_figures_are_a_number_or_a_code() -> None:
    """2200 on a capacitor: 2200 pF, or 220 pF with no zeros."""
    assert sorted(values("2200", "capacitor")) == [220e-12, 2200e-12]


@pytest.mark.parametrize(
    ("text", "value", "tolerance", "voltage_v"),
    [
        ("2A104J", 100e-9, "5 %", 100.0),
        ("1H223K", 22e-9, "10 %", 50.0),
        ("2J472", 4.7e-9, "not marked, 20 % assumed", 630.0),
        ("0J107M", 100e-6, "20 %", 6.3),
        ("104J100", 100e-9, "5 %", 100.0),
        ("4n7J400V", 4.7e-9, "5 %", 400.0),
    ],
)
def test_a_rated_voltage_is_taken_off(
    text: str, value: float, tolerance: str, voltage_v: float
) -> None:
    """Common practice, no published source: 2A is 1.0 x 10^2 V, 1H 5.0 x 10 V."""
    (one,) = read_marking(text, kind="capacitor")
    assert (one.value, one.tolerance, one.rated_voltage_v) == (
        pytest.approx(value, rel=1e-9, abs=0.0),
        tolerance,
        pytest.approx(voltage_v),
    )
    assert not one.standard


def test_a_rated_voltage_is_a_capacitor_s() -> None:
    """No inductor has one."""
    with pytest.raises(InputError, match="no marking of an inductor"):
        read_marking("2A104J", kind="inductor")


@pytest.mark.parametrize(
    "text", ["9" * 300 + "R", "1p" + "9" * 60, "0." + "0" * 30 + "1"]
)
def test_no_part_has_room_for_so_many_signs(text: str) -> None:
    """300 digits used to overflow."""
    for kind in KINDS:
        with pytest.raises(InputError, match="no marking"):
            read_marking(text, kind=kind)


def test_a_tolerance_beyond_the_value_is_no_reading() -> None:
    """G is 2 pF on a small part, which cannot be 0.05 pF."""
    with pytest.raises(InputError, match="no marking"):
        read_marking("R05G", kind="capacitor")


def test_a_tolerance_too_small_for_a_band_is_refused() -> None:
    """1e-19 left a band without width, and a division by zero in the odds."""
    with pytest.raises(InputError, match="1 ppm or more"):
        read_marking("470", kind="capacitor", tolerance=1e-19)


def test_one_value_with_two_tolerances_is_decided() -> None:
    """47pF: 1 % or not marked, but 47 pF either way."""
    readings = read_marking("47pF", kind="capacitor")
    odds = weigh_readings(readings, measured=Stated(value=47.2e-12, u=0.3e-12))
    assert max(odds.shares) < 0.97
    assert odds.verdict == "fits"
