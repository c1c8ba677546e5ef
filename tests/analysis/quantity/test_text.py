"""Quantities read as a person writes them; what can be read two ways is refused."""

import math
import re
from typing import get_args

import pytest
import uncertainties
from hypothesis import given
from hypothesis import strategies as st

from halfpower.analysis import (
    InputError,
    Stated,
    format_quantity,
    parse_quantity,
    parse_stated,
)
from halfpower.analysis.quantity import Unit, describe
from halfpower.analysis.quantity.text import UNITS


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("150p", "F", 150e-12),
        ("150 pF", "F", 150e-12),
        ("150pF", "F", 150e-12),
        ("1.5e-10", "F", 150e-12),
        ("1.5E-10F", "F", 150e-12),
        (".15n", "F", 150e-12),
        ("33uH", "H", 33e-6),
        ("33 µH", "H", 33e-6),  # micro sign
        ("33 μH", "H", 33e-6),  # Greek letter
        ("7.2MHz", "Hz", 7.2e6),
        (" 7.2 M\n", "Hz", 7.2e6),
        ("7200000", "Hz", 7.2e6),
        ("1.6mm", "m", 1.6e-3),
        ("1.6e-3", "m", 1.6e-3),
        ("5 mΩ", "ohm", 5e-3),
        ("5 m\N{OHM SIGN}", "ohm", 5e-3),
        ("4.7k", "ohm", 4700.0),
        ("4.7kOhm", "ohm", 4700.0),
        ("5m", "s", 5e-3),
        ("0.2V", "V", 0.2),
        ("0", "F", 0.0),
        ("10%", "fraction", 0.1),
        ("10 %", "fraction", 0.1),
        ("2ppm", "fraction", 2e-6),
        ("0.01", "fraction", 0.01),
    ],
)
def test_a_quantity_is_read_in_si(text: str, unit: Unit, value: float) -> None:
    """Prefixes are those of the SI: p = 1e-12, u = 1e-6, k = 1e3, M = 1e6."""
    assert parse_quantity(text, unit) == pytest.approx(value, abs=0.0, rel=1e-15)


AMBIGUOUS = [
    ("1,5p", "F", "not a number"),  # a comma: decimal or thousands?
    ("1_500p", "F", "not a number"),
    ("1 500 pF", "F", "not a number"),
    ("1'500pF", "F", "pF"),
    ("5m", "m", "metres or milli"),
    ("5 m", "m", "metres or milli"),
    ("1.6e-3m", "m", "metres or milli"),
    ("7.2mHz", "Hz", "check the prefix"),  # millihertz for megahertz
    ("150P", "F", "check the prefix"),
    ("150", "F", "check the prefix"),
    ("150F", "F", "check the prefix"),
    ("50%", "ohm", "not a number with a unit"),
    ("1%", "F", "not a number with a unit"),
    ("10p", "fraction", "not a share"),
    ("4k7", "ohm", "ohm"),
    ("4R7", "ohm", "not a number with a unit"),
    ("p33", "F", "not a number"),
    ("33n", "Hz", "check the prefix"),
    ("33uF", "H", "not in H"),
    ("33uh", "H", "not in H"),
    ("150pf", "F", "not in F"),
    ("5 mil", "m", "not in m"),
    ("5min", "s", "not in s"),
    ("5pFu=1pF", "F", "not a number with a unit"),
    ("a = 5pF", "F", "not a number"),
    ("5pF = 3pF", "F", "not a number with a unit"),
    ("5pF -- spare", "F", "not a number with a unit"),
    ("5pF # spare", "F", "not a number with a unit"),
    ("5pF;", "F", "not a number with a unit"),
    ("5pF 6pF", "F", "not a number with a unit"),
    ("0x10p", "F", "not"),
    ("٣p", "F", "not a number"),  # digits of another script
    ("$5", "V", "not a number"),
    ("--5p", "F", "not a number"),
    ("1e400", "Hz", "check the prefix"),
    ("1e", "Hz", "not in Hz"),
    ("1e3k", "Hz", "not in Hz"),
    ("nan", "H", "not a number"),
    ("inf", "Hz", "not a number"),
    ("", "H", "not a number"),
    ("p", "F", "not a number"),
]


@pytest.mark.parametrize(("text", "unit", "phrase"), AMBIGUOUS)
def test_what_could_be_read_two_ways_is_refused(
    text: str, unit: Unit, phrase: str
) -> None:
    """With the text as it was given, and never with a guess."""
    with pytest.raises(InputError, match=phrase) as caught:
        parse_quantity(text, unit)
    assert caught.value.values["text"] == text


@given(
    st.floats(min_value=1e-14, max_value=1e-4),
    st.sampled_from(["", "F", " F"]),
)
def test_base_units_come_back_to_the_last_bit(value: float, suffix: str) -> None:
    """Written as Python writes a number."""
    assert parse_quantity(f"{value!r}{suffix}", "F") == value


@given(st.text(max_size=12), st.sampled_from(get_args(Unit)))
def test_no_text_brings_out_anything_but_its_error(text: str, unit: Unit) -> None:
    """Garbage is refused, and what is read lies where it is plausible."""
    try:
        value = parse_quantity(text, unit)
    except InputError:
        return
    rule = UNITS[unit]
    assert value == 0.0 or rule.lowest <= abs(value) <= rule.highest


@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_s_example_is_one(unit: Unit) -> None:
    """What a refusal tells the person to write is accepted."""
    assert parse_quantity(UNITS[unit].example, unit) > 0.0


@pytest.mark.parametrize(
    ("text", "value", "half_width"),
    [
        ("150pF +- 1%", 150e-12, 1.5e-12),
        ("150pF +/- 1 %", 150e-12, 1.5e-12),
        ("150p±2p", 150e-12, 2e-12),
        ("150pF +- 100ppm", 150e-12, 15e-15),
        ("1e-10+-1e-12", 1e-10, 1e-12),
        ("0F +- 1pF", 0.0, 1e-12),
        ("-5pF +- 10%", -5e-12, 0.5e-12),
        ("150pF +- 1e-18", 150e-12, 1e-18),
    ],
)
def test_limits_are_a_rectangle(text: str, value: float, half_width: float) -> None:
    """JCGM 100, 4.3.7: u = a / sqrt(3)."""
    stated = parse_stated(text, "F")
    assert stated.value == pytest.approx(value)
    assert stated.u == pytest.approx(half_width / math.sqrt(3.0))
    assert stated.distribution == "rectangular"


@pytest.mark.parametrize("text", ["5pF u=0.5pF", "5p u=10%", "5pF u = 0.5p"])
def test_a_standard_uncertainty_is_taken_as_it_is(text: str) -> None:
    """Normal, and not divided by anything."""
    assert parse_stated(text, "F") == Stated(value=5e-12, u=0.5e-12)


def test_a_value_alone_is_exact() -> None:
    """Nothing was said of a doubt."""
    assert parse_stated("50ohm", "ohm") == Stated(value=50.0)


@pytest.mark.parametrize(
    ("text", "unit", "phrase"),
    [
        ("150pF +- 101%", "F", "says nothing"),
        ("150pF +- 200pF", "F", "says nothing"),
        ("150pF +- -1%", "F", "says nothing"),
        ("150pF +- 1", "F", "check the prefix"),
        ("150pF +-", "F", "not a number"),
        ("+- 1%", "F", "not a number"),
        ("± 1%", "F", "not a number"),
        ("u=1pF", "F", "not a number"),
        ("150pF +- 1% +- 2%", "F", "not a share"),
        ("150pF u=1% +- 2%", "F", "not a share"),
        ("150pF - 1%", "F", "not a number"),
        ("150pF + 1%", "F", "not a number"),
        ("150pF +- 1Hz", "F", "not in F"),
        ("0F +- 1%", "F", "of zero is none"),
        ("0.02 +- 1%", "fraction", "both alike"),
        ("1% +- 50ppm", "fraction", "both alike"),
        ("5pFu=1pF", "F", "not a number with a unit"),
    ],
)
def test_a_doubt_that_says_nothing_or_two_things_is_refused(
    text: str, unit: Unit, phrase: str
) -> None:
    """Larger than the value, of zero, twice, or a share of a share."""
    with pytest.raises(InputError, match=phrase):
        parse_stated(text, unit)


def test_a_share_s_doubt_in_its_own_kind_is_added_to_it() -> None:
    """2 % +- 0.1 % is 1.9 to 2.1 %; 0.001 +- 0.0005 is as it stands."""
    assert parse_stated("2% +- 0.1%", "fraction") == Stated.within(
        0.02, half_width=0.001
    )
    assert parse_stated("0.001 +- 0.0005", "fraction") == Stated.within(
        0.001, half_width=0.0005
    )


@given(
    mantissa=st.floats(min_value=1.0, max_value=1e6),
    share=st.floats(min_value=1e-9, max_value=1.0),
    kind=st.sampled_from(["exact", "limits", "normal"]),
    unit=st.sampled_from(
        [("F", 1e-13), ("H", 1e-9), ("ohm", 1e-3), ("fraction", 1e-6)]
    ),
)
def test_a_described_value_is_read_back(
    mantissa: float, share: float, kind: str, unit: tuple[Unit, float]
) -> None:
    """What a record says of an input can be put in again: seven digits, so 5e-7."""
    name, scale = unit
    value = mantissa * scale
    made = {
        "exact": Stated(value=value),
        "limits": Stated.within(value, half_width=share * value),
        "normal": Stated(value=value, u=share * value),
    }[kind]
    again = parse_stated(describe(made, unit=name), name)
    assert again.value == pytest.approx(made.value, abs=0.0, rel=5.1e-7)
    assert again.u == pytest.approx(made.u, abs=0.0, rel=5.1e-7)
    assert again.distribution == made.distribution


def test_a_relative_error_of_zero_with_a_doubt_is_read_back() -> None:
    """As a generator's reference is recorded."""
    made = Stated.within(0.0, half_width=2e-6)
    assert parse_stated(describe(made, unit="fraction"), "fraction") == made


@pytest.mark.parametrize(
    ("value", "u", "unit", "expected"),
    [
        # JCGM 100:2008, 7.2.6: the standard's own figure, 100.02147 g with 0.35 mg.
        (100.02147, 0.00035, "1", ("100.02147", "0.00035", "")),
        (6.7654321e6, 12.0, "Hz", ("6.765432", "0.000012", "MHz")),
        (3.3e-6, 9.96e-9, "H", ("3.300", "0.010", "µH")),
        (999.96, 0.2, "Hz", ("999.96", "0.20", "Hz")),
        (150e-12, 1.5e-12, "F", ("150.0", "1.5", "pF")),
        (-3.3e-6, 1e-9, "H", ("-3.3000", "0.0010", "µH")),
        (1e9, 1e7, "ohm", ("1.000", "0.010", "GΩ")),
        (0.0, 1e-12, "F", ("0.0", "1.0", "pF")),
        (2e-4, 1e-5, "1", ("0.000200", "0.000010", "")),
        (50.0, 0.0, "ohm", ("50", "-", "Ω")),
        (50.0, math.inf, "ohm", ("50", "-", "Ω")),
        (50.0, math.nan, "ohm", ("50", "-", "Ω")),
        (0.0, 0.0, "H", ("0", "-", "H")),
        (math.nan, 1.0, "H", ("nan", "-", "H")),
        (math.inf, 1.0, "1", ("inf", "-", "")),
        (-math.inf, math.inf, "H", ("-inf", "-", "H")),
    ],
)
def test_a_value_is_rounded_to_its_uncertainty(
    value: float, u: float, unit: str, expected: tuple[str, str, str]
) -> None:
    """Two digits of the uncertainty, the value to the same place, one prefix."""
    assert format_quantity(value, u=u, unit=unit) == expected


@given(
    value=st.floats(min_value=1e-15, max_value=1e12),
    share=st.floats(min_value=1e-6, max_value=10.0),
)
def test_rounding_moves_a_value_by_less_than_its_uncertainty_shows(
    value: float, share: float
) -> None:
    """By half of the last digit of two, 5 % of u at most, and u by as much."""
    u = share * value
    rounded, doubt, unit = format_quantity(value, u=u, unit="H")
    scale = {"f": 1e-15, "p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1.0}
    scale |= {"k": 1e3, "M": 1e6, "G": 1e9}
    factor = scale[unit.removesuffix("H")]
    assert float(rounded) * factor == pytest.approx(value, abs=0.0501 * u)
    assert float(doubt) * factor == pytest.approx(u, abs=0.0, rel=0.0501)


@given(
    value=st.floats(min_value=-1e4, max_value=1e4),
    u=st.floats(min_value=1e-9, max_value=1e4),
)
def test_rounding_is_that_of_a_kept_library(value: float, u: float) -> None:
    """The `uncertainties` package's, with two digits of the uncertainty."""
    text = f"{uncertainties.ufloat(value, u):.2u}"
    power = re.fullmatch(r"\((.*)\+/-(.*)\)(e.*)", text)
    expected = (
        (power[1] + power[3], power[2] + power[3])
        if power
        else tuple(text.split("+/-"))
    )
    assert format_quantity(value, u=u, unit="1") == (*expected, "")
