"""Preferred values and markings against the standards' own lists."""

import pytest

from halfpower.analysis.markings import SERIES, Kind, read_marking

# IEC 60063, E24, read in a public list.
E24 = (
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
    3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1,
)  # fmt: skip
E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)


@pytest.mark.parametrize(("name", "printed"), [("E6", E6), ("E12", E12), ("E24", E24)])
def test_the_coarse_series_are_the_printed_ones(
    name: str, printed: tuple[float, ...]
) -> None:
    """IEC 60063, read in a public list."""
    assert SERIES[name] == printed


def test_e24_departs_from_arithmetic_eight_times() -> None:
    """IEC 60063: 2.7 3.0 3.3 3.6 3.9 4.3 4.7 8.2, and no other."""
    departures = [
        value
        for i, value in enumerate(SERIES["E24"])
        if value != round(10 ** (i / 24), 1)
    ]
    assert departures == [2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 8.2]


def test_e192_departs_once() -> None:
    """IEC 60063: 9.20, where rounding gives 9.19."""
    departures = [
        value
        for i, value in enumerate(SERIES["E192"])
        if value != round(10 ** (i / 192), 2)
    ]
    assert departures == [9.20]
    assert SERIES["E192"][185] == 9.20
    assert sorted(SERIES["E192"]) == list(SERIES["E192"])


@pytest.mark.parametrize(("name", "count"), [("E48", 48), ("E96", 96), ("E192", 192)])
def test_the_fine_series_are_complete(name: str, count: int) -> None:
    """As many different values as the name says, each in the finer one too."""
    assert len(set(SERIES[name])) == count
    assert set(SERIES[name]) <= set(SERIES["E192"])


def test_some_e96_values_are_the_printed_ones() -> None:
    """From memory: values found in every parts drawer."""
    assert {1.02, 1.21, 2.49, 4.99, 6.04, 9.76} <= set(SERIES["E96"])


# Capacitors: IEC 60062 and public tables of its codes.
CAPACITORS = [
    ("105", 1e-6), ("104", 100e-9), ("471", 470e-12), ("100", 10e-12), ("229", 2.2e-12),
    ("228", 0.22e-12), ("4R7", 4.7e-12), ("0R5", 0.5e-12), ("R47", 0.47e-12),
    ("p33", 0.33e-12), ("3p3", 3.3e-12), ("33p", 33e-12), ("330p", 330e-12),
    ("n33", 330e-12), ("3n3", 3.3e-9), ("33n", 33e-9), ("330n", 330e-9),
    ("u33", 330e-9), ("µ33", 330e-9), ("3u3", 3.3e-6),
]  # fmt: skip
# Resistors: IEC 60062 (RKM code), public copies.
RESISTORS = [
    ("R47", 0.47), ("4R7", 4.7), ("470R", 470.0), ("4K7", 4.7e3), ("47K3", 47.3e3),
    ("4M7", 4.7e6), ("472", 4.7e3), ("1002", 10e3), ("100", 10.0),
]  # fmt: skip
# Inductors: common practice, no published source; 101 and 4R7 read in public tables.
INDUCTORS = [
    ("101", 100e-6), ("4R7", 4.7e-6), ("100", 10e-6), ("R10", 0.1e-6), ("471", 470e-6),
    ("102", 1e-3), ("4N7", 4.7e-9), ("10N", 10e-9),
]  # fmt: skip
CODES = [
    *(("capacitor", text, value) for text, value in CAPACITORS),
    *(("resistor", text, value) for text, value in RESISTORS),
    *(("inductor", text, value) for text, value in INDUCTORS),
]


@pytest.mark.parametrize(("kind", "text", "value"), CODES)
def test_a_code_s_first_reading_is_the_published_one(
    kind: Kind, text: str, value: float
) -> None:
    """IEC 60062's codes, and the trade's for inductors."""
    assert read_marking(text, kind=kind)[0].value == pytest.approx(
        value, rel=1e-12, abs=0.0
    )


# IEC 60062, public copies.
LETTERS = [
    ("4R7B", 4.6e-12, 4.8e-12), ("4R7C", 4.45e-12, 4.95e-12),
    ("4R7D", 4.2e-12, 5.2e-12), ("4R7F", 3.7e-12, 5.7e-12), ("4R7G", 2.7e-12, 6.7e-12),
    ("101F", 99e-12, 101e-12), ("101G", 98e-12, 102e-12), ("101J", 95e-12, 105e-12),
    ("101K", 90e-12, 110e-12), ("101M", 80e-12, 120e-12), ("103Z", 8e-9, 18e-9),
    ("103S", 8e-9, 15e-9),
]  # fmt: skip


@pytest.mark.parametrize(("text", "lowest", "highest"), LETTERS)
def test_a_capacitor_s_letter_is_its_band(
    text: str, lowest: float, highest: float
) -> None:
    """Absolute below 10 pF, relative from there."""
    reading = read_marking(text, kind="capacitor")[0]
    assert reading.lowest == pytest.approx(lowest, rel=1e-9, abs=0.0)
    assert reading.highest == pytest.approx(highest, rel=1e-9, abs=0.0)


def test_an_inductor_s_three_digits_are_two_readings() -> None:
    """Microhenries on parts with wires, nH on some small chips: common practice."""
    readings = read_marking("101K", kind="inductor")
    assert [reading.value for reading in readings] == [100e-6, 100e-9]
    assert not any(reading.standard for reading in readings)
