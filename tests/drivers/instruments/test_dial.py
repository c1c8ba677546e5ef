"""Dials and needles as people read them."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfpower.analysis import InputError
from halfpower.drivers.instruments.dial import parse_amplitude, parse_frequency


@pytest.mark.parametrize(
    ("text", "volts", "unit"),
    [
        ("340mV", 0.34, "mV"),
        (" 340 mV ", 0.34, "mV"),
        ("0.34V", 0.34, "V"),
        ("0.34 Vrms", 0.34, "Vrms"),
        ("250uV", 250e-6, "uV"),
        ("1.41421 Vpp", 0.5, "Vpp"),  # / (2 sqrt(2))
        ("1.41421 Vpk", 1.0, "Vpk"),  # / sqrt(2)
        ("0 dBm", 0.2236068, "dBm"),  # sqrt(1 mW x 50 ohm)
        ("-12.5 dBm", 0.0530254, "dBm"),  # sqrt(10^-1.25 mW x 50 ohm)
        ("0 DBM", 0.2236068, "DBM"),
        ("20mW", 1.0, "mW"),  # sqrt(20 mW x 50 ohm)
        ("0mV", 0.0, "mV"),
        ("1e-3 V", 1e-3, "V"),
    ],
)
def test_an_amplitude_is_taken_as_it_is_written(
    text: str, volts: float, unit: str
) -> None:
    """V r.m.s. inside; the arithmetic stands beside each."""
    reading = parse_amplitude(text, load_ohm=50.0)
    assert reading.amplitude_v == pytest.approx(volts, rel=1e-5)
    assert reading.unit == unit


def test_a_bare_number_has_the_unit_of_the_one_before() -> None:
    """And without one before it is refused."""
    assert parse_amplitude("12", load_ohm=50.0, unit="mV").amplitude_v == 0.012
    with pytest.raises(InputError, match="no unit"):
        parse_amplitude("12", load_ohm=50.0)


@pytest.mark.parametrize(
    "text",
    ["", "mV", "about 3", "3,4 mV", "3 mA", "3 MV", "-3 mV", "1e9 V", "3 4 mV", "nanV"],
)
def test_what_is_no_amplitude_is_refused(text: str) -> None:
    """Megavolts and a decimal comma among them."""
    with pytest.raises(InputError):
        parse_amplitude(text, load_ohm=50.0, unit="mV")


@pytest.mark.parametrize("text", ["95 dBm", "-190 dBm"])
def test_powers_that_cannot_be_are_refused(text: str) -> None:
    """A megawatt is 90 dBm; -174 dBm is the noise of a hertz at 290 K."""
    with pytest.raises(InputError, match="cannot be"):
        parse_amplitude(text, load_ohm=50.0)


@given(st.text(max_size=12))
def test_no_word_makes_anything_but_a_reading_or_a_refusal(text: str) -> None:
    """Whatever is typed."""
    with contextlib.suppress(InputError):
        assert parse_amplitude(text, load_ohm=50.0, unit="mV").amplitude_v >= 0.0


def test_a_frequency_is_taken_as_it_is_written() -> None:
    """7.1 MHz in each of its spellings."""
    assert {parse_frequency(t) for t in ("7.1MHz", "7.1 MHz", "7100kHz")} == {7.1e6}
