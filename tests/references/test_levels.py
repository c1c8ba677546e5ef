"""Levels by their definitions.

Sources: the decibel-milliwatt is 10 lg(P / 1 mW); P = V^2 / R; a sine of amplitude a
has the r.m.s. value a / sqrt(2) and goes from -a to a. Definitions, so the expected
numbers are worked out beside each check.
"""

import math

import pytest

from halfpower.analysis import Trace
from halfpower.drivers.dialects import level_from_emf, volts_from_reading
from halfpower.drivers.dialects.levels import volts_from_dbm


@pytest.mark.parametrize(
    ("power_dbm", "load_ohm", "volts"),
    [
        (0.0, 50.0, 0.2236068),  # sqrt(0.001 W x 50 ohm) = sqrt(0.05) V
        (0.0, 600.0, 0.7745967),  # sqrt(0.001 W x 600 ohm) = sqrt(0.6) V
        (0.0, 75.0, 0.2738613),  # sqrt(0.075) V
        (10.0, 50.0, 0.7071068),  # 10 mW: sqrt(0.5) V
        (30.0, 50.0, 7.0710678),  # 1 W: sqrt(50) V
        (-30.0, 50.0, 7.0710678e-3),  # 1 uW
        (-107.0, 50.0, 0.998815e-6),  # sqrt(10^-0.7 x 1e-13 x 50), 10^-0.7 = 0.1995262
        (13.0103, 50.0, 1.0),  # 1 V across 50 ohm is 20 mW
    ],
)
def test_a_power_is_the_voltage_across_its_resistance(
    power_dbm: float, load_ohm: float, volts: float
) -> None:
    """0 dBm = 1 mW; 0.2236 V across 50 ohm."""
    assert volts_from_dbm(power_dbm, load_ohm=load_ohm) == pytest.approx(
        volts, rel=2e-6
    )


@pytest.mark.parametrize(
    ("unit", "level"),
    [
        ("Vrms", 0.5),  # half of the e.m.f.: source and load are alike
        ("Vpp", 1.4142136),  # 0.5 x 2 sqrt(2)
        ("dBm", 6.9897),  # 0.25 V^2 / 50 ohm = 5 mW; 10 lg 5
    ],
)
def test_one_volt_behind_50_ohm_into_50_ohm(unit: str, level: float) -> None:
    """The same e.m.f. in the three units that generators are told."""
    told = level_from_emf(1.0, source_ohm=50.0, load_ohm=50.0, unit=unit)  # type: ignore[arg-type] # a str that is one
    assert told == pytest.approx(level, rel=1e-6)


def test_open_circuit_is_twice_the_matched_level() -> None:
    """The e.m.f. itself, 6.02 dB above what a matched load sees."""
    open_v = level_from_emf(1.0, source_ohm=50.0, load_ohm=math.inf, unit="Vpp")
    matched_v = level_from_emf(1.0, source_ohm=50.0, load_ohm=50.0, unit="Vpp")
    assert open_v / matched_v == pytest.approx(2.0)
    assert open_v == pytest.approx(2.8284271)


def test_a_generator_s_zero_dbm_reads_zero_dbm_on_a_meter() -> None:
    """0.4472 V of e.m.f. behind 50 ohm: 1 mW into a 50 ohm power meter."""
    emf_v = 2.0 * math.sqrt(0.05)
    told = level_from_emf(emf_v, source_ohm=50.0, load_ohm=50.0, unit="dBm")
    assert told == pytest.approx(0.0, abs=1e-12)
    assert volts_from_dbm(told, load_ohm=50.0) == pytest.approx(emf_v / 2.0)


def test_readings_files_and_meters_mean_the_same_by_a_dbm() -> None:
    """A trace of levels and a driver's reading come to the same volts."""
    levels = [-36.0, 0.0, 20.0]
    trace = Trace.from_power_dbm(frequency_hz=[1e6, 2e6, 3e6], power_dbm=levels)
    assert list(trace.amplitude_v) == pytest.approx(
        [volts_from_dbm(level, load_ohm=50.0) for level in levels]
    )


@pytest.mark.parametrize(
    ("number", "unit", "volts"),
    [
        (0.2236068, "Vrms", 0.2236068),  # as it stands
        (0.6324555, "Vpp", 0.2236068),  # 2 sqrt(2) of it from crest to crest
        (0.3162278, "Vpeak", 0.2236068),  # sqrt(2) of it at the crest
        (0.0, "dBm", 0.2236068),  # 1 mW in 50 ohm
        (0.001, "W", 0.2236068),  # the same
        (-1e-9, "W", 0.0),  # a meter's zero, a little low
        (-2e-5, "Vpeak", 0.0),  # a d.c. voltmeter's
    ],
)
def test_the_same_sine_in_every_unit_that_detectors_read(
    number: float, unit: str, volts: float
) -> None:
    """1 mW in 50 ohm, five times over."""
    read = volts_from_reading(number, unit=unit, load_ohm=50.0)  # type: ignore[arg-type] # a str that is one
    assert read == pytest.approx(volts, rel=1e-6)
