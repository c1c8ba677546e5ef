"""Settings and readings that cannot be are refused when made."""

import math

import pytest

from halfpower.analysis import InputError, Reading, Setting


@pytest.mark.parametrize("frequency_hz", [0.0, -1.0, math.nan, math.inf])
def test_a_frequency_that_cannot_be_set_is_refused(frequency_hz: float) -> None:
    """Zero, negative, no number, infinite."""
    with pytest.raises(InputError, match="cannot be set"):
        Setting(frequency_hz=frequency_hz)


@pytest.mark.parametrize("amplitude_v", [-1e-9, math.nan, math.inf])
def test_what_is_no_amplitude_is_refused(amplitude_v: float) -> None:
    """An r.m.s. value is zero or above, and finite."""
    with pytest.raises(InputError, match="not an amplitude"):
        Reading(frequency_hz=1e6, amplitude_v=amplitude_v)


def test_nothing_is_an_amplitude() -> None:
    """Below a power meter's floor the reading is zero."""
    reading = Reading(frequency_hz=1e6, amplitude_v=0.0)
    assert reading.range_v is None
