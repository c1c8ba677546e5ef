"""What a lag is told as: how much is kept, what it did, how long it would take."""

import math

import pytest

from halfpower.analysis import Reading
from halfpower.analysis.fitting import Lag
from halfpower.sweeps.run import NOT_SETTLED, settling_cautions

# 13 ms from reading to reading, and a display of 5 ms: it keeps exp(-13/5).
EVERY_S, TAU_S = 0.013, 0.005
READINGS = [
    Reading(frequency_hz=7e6, amplitude_v=0.3, time_s=EVERY_S * k) for k in range(9)
]


def lag(share: float, *, significant: bool = True) -> Lag:
    """Give a lag of this share."""
    return Lag(share=share, u_share=0.01, significant=significant, moved_q=-0.049)


def test_a_lag_is_told_with_the_time_it_needs() -> None:
    """Seven of its time constants: 35 ms."""
    (caution,) = settling_cautions(lag(math.exp(-EVERY_S / TAU_S)), readings=READINGS)
    assert caution.code == NOT_SETTLED
    assert "7.4 %" in caution.text
    assert "-4.9 %" in caution.text
    assert "35" in caution.text
    assert "settle" in caution.text


@pytest.mark.parametrize("share", [0.95, 1.2])
def test_what_hardly_follows_tells_no_time(share: float) -> None:
    """A time constant from it would be made of noise."""
    (caution,) = settling_cautions(lag(share), readings=READINGS)
    assert "from reading to reading" not in caution.text


def test_readings_without_times_tell_none() -> None:
    """They are all at 0 s."""
    plain = [Reading(frequency_hz=7e6, amplitude_v=0.3)] * 4
    (caution,) = settling_cautions(lag(0.1), readings=plain)
    assert "from reading to reading" not in caution.text


def test_a_settled_sweep_says_nothing() -> None:
    """Nor does one that cannot tell."""
    assert settling_cautions(lag(0.1, significant=False), readings=READINGS) == ()
    assert settling_cautions(None, readings=READINGS) == ()
