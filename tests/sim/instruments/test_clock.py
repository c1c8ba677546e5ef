"""Two clocks: one that a sleep moves, one that moves by itself."""

import pytest

from halfpower.sim import RealClock, SceneClock


def test_virtual_time_passes_only_in_sleep():
    """It starts at 0 and stands still between sleeps."""
    clock = SceneClock()
    clock.sleep(1.5)
    clock.sleep(0.25)
    assert clock.now_s == 1.75


@pytest.mark.parametrize("seconds", [-1.0, float("nan")])
def test_virtual_time_does_not_run_backwards(seconds):
    """A negative sleep, or one that is no number, is refused."""
    with pytest.raises(ValueError, match="cannot sleep"):
        SceneClock().sleep(seconds)


def test_real_time_runs_on_its_own():
    """It has passed by at least what was slept."""
    clock = RealClock()
    start = clock.now_s
    clock.sleep(0.002)
    assert clock.now_s - start >= 0.002
