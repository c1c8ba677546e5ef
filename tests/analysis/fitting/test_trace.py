"""Traces: what is accepted, what is refused, and how power becomes volts."""

import math

import numpy as np
import pytest

from halfpower.analysis import InputError, Trace


def test_zero_dbm_is_a_milliwatt_in_fifty_ohm() -> None:
    """0 dBm across 50 ohm is sqrt(0.05) V (P = V^2/R), +20 dB ten times that."""
    trace = Trace.from_power_dbm(frequency_hz=[1e6, 2e6], power_dbm=[0.0, 20.0])
    assert trace.amplitude_v == pytest.approx([math.sqrt(0.05), 10 * math.sqrt(0.05)])


def test_decibels_of_doubt_become_volts_of_doubt() -> None:
    """A small u in dB is the difference that a step of it makes in V."""
    trace = Trace.from_power_dbm(
        frequency_hz=[1e6], power_dbm=[-10.0], u_power_db=[0.01]
    )
    low, high = (
        Trace.from_power_dbm(frequency_hz=[1e6], power_dbm=[-10 + s]).amplitude_v[0]
        for s in (-0.01, 0.01)
    )
    assert trace.u_amplitude_v is not None
    # Half the difference over both steps; third order in 0.01 dB is below 1e-6.
    assert trace.u_amplitude_v[0] == pytest.approx((high - low) / 2, rel=1e-6)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, -1.0])
def test_an_unusable_amplitude_is_named_by_its_place(bad: float) -> None:
    """The sentence says which reading, counted from one."""
    with pytest.raises(InputError, match="reading 2 of 3"):
        Trace(frequency_hz=[1e6, 2e6, 3e6], amplitude_v=[0.1, bad, 0.3])


@pytest.mark.parametrize("bad", [math.nan, 0.0, -1e6])
def test_an_unusable_frequency_is_refused(bad: float) -> None:
    """Frequencies are above zero."""
    with pytest.raises(InputError, match="frequency_hz of reading 1"):
        Trace(frequency_hz=[bad, 2e6], amplitude_v=[0.1, 0.2])


def test_a_zero_amplitude_is_a_reading() -> None:
    """A detector may show nothing."""
    assert Trace(frequency_hz=[1e6], amplitude_v=[0.0]).n_readings == 1


def test_a_zero_uncertainty_is_refused() -> None:
    """No reading weighs without limit."""
    with pytest.raises(InputError, match="u_amplitude_v of reading 1"):
        Trace(frequency_hz=[1e6], amplitude_v=[0.1], u_amplitude_v=[0.0])


def test_columns_of_unequal_length_are_refused() -> None:
    """Three frequencies and two amplitudes are no trace."""
    with pytest.raises(InputError, match="2 readings but frequency_hz has 3"):
        Trace(frequency_hz=[1e6, 2e6, 3e6], amplitude_v=[0.1, 0.2])


@pytest.mark.parametrize("column", [["a", "b"], [[1.0], [2.0]]])
def test_what_is_no_row_of_numbers_is_refused(column: list[object]) -> None:
    """Text and tables are refused in the package's own error."""
    with pytest.raises(InputError, match="row of"):
        Trace(frequency_hz=column, amplitude_v=[0.1, 0.2])


def test_no_readings_are_refused() -> None:
    """An empty trace says so."""
    with pytest.raises(InputError, match="no readings"):
        Trace(frequency_hz=[], amplitude_v=[])


@pytest.mark.parametrize("level", [math.nan, 201.0, -math.inf])
def test_an_unusable_level_is_refused(level: float) -> None:
    """A level past 200 dBm, or none, is a slip."""
    with pytest.raises(InputError, match="power_dbm of reading 2"):
        Trace.from_power_dbm(frequency_hz=[1e6, 2e6], power_dbm=[0.0, level])


def test_an_impedance_of_nothing_is_refused() -> None:
    """Power in no resistance has no voltage."""
    with pytest.raises(InputError, match="impedance_ohm"):
        Trace.from_power_dbm(frequency_hz=[1e6], power_dbm=[0.0], impedance_ohm=0.0)


def test_readings_cannot_be_changed_afterwards() -> None:
    """The arrays are read-only copies."""
    given = np.array([1e6, 2e6])
    trace = Trace(frequency_hz=given, amplitude_v=[0.1, 0.2])
    given[0] = 5.0
    assert trace.frequency_hz[0] == 1e6
    with pytest.raises(ValueError, match="read-only"):
        trace.amplitude_v[0] = 1.0


def test_a_selection_keeps_the_columns_together() -> None:
    """Every column is cut alike."""
    trace = Trace(
        frequency_hz=[1e6, 2e6], amplitude_v=[0.1, 0.2], u_amplitude_v=[0.01, 0.02]
    )
    part = trace.select(np.array([False, True]))
    assert part.u_amplitude_v is not None
    assert (part.frequency_hz[0], part.amplitude_v[0], part.u_amplitude_v[0]) == (
        2e6,
        0.2,
        0.02,
    )
