"""Levels as a generator is told them and a meter answers them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfpower.drivers.dialects import level_from_emf
from halfpower.drivers.dialects.levels import volts_from_dbm

VOLTS = st.floats(min_value=1e-6, max_value=1e3)
OHMS = st.floats(min_value=1.0, max_value=1e6)


@given(VOLTS, OHMS, OHMS)
def test_a_level_in_dbm_is_the_divider_s_voltage(
    emf_v: float, source_ohm: float, load_ohm: float
) -> None:
    """Into any load, dBm read back as volts is the plain voltage divider."""
    dbm = level_from_emf(emf_v, source_ohm=source_ohm, load_ohm=load_ohm, unit="dBm")
    across_v = volts_from_dbm(dbm, load_ohm=load_ohm)
    assert across_v == pytest.approx(emf_v * load_ohm / (source_ohm + load_ohm))


@given(VOLTS)
def test_an_open_output_shows_the_whole_emf(emf_v: float) -> None:
    """A load of infinity divides nothing."""
    told = level_from_emf(emf_v, source_ohm=50.0, load_ohm=math.inf, unit="Vrms")
    assert told == emf_v


@given(st.floats(min_value=-150.0, max_value=60.0))
def test_twenty_db_are_a_factor_of_ten_in_volts(power_dbm: float) -> None:
    """Volts follow half the decibels of power."""
    ratio = volts_from_dbm(power_dbm + 20.0, load_ohm=50.0) / volts_from_dbm(
        power_dbm, load_ohm=50.0
    )
    assert ratio == pytest.approx(10.0)
