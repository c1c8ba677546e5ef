"""Half-power points as read: exact geometry, and why there are none."""

import numpy as np
import pytest

from halfpower.analysis import FitError, Trace
from halfpower.analysis.fitting.half_power import half_power


def trace_of(f: np.ndarray, v: np.ndarray) -> Trace:
    """Return a trace."""
    return Trace(frequency_hz=f, amplitude_v=v)


def test_a_triangle_is_cut_where_it_is_cut() -> None:
    """A triangle from 0 at 1 MHz to 1 at 2 MHz crosses 0.7071 at 1.7071 MHz."""
    f = np.array([1e6, 2e6, 3e6])
    points = half_power(trace_of(f, np.array([0.0, 1.0, 0.0])))
    assert points.lower == pytest.approx((1 + np.sqrt(0.5)) * 1e6)
    assert points.upper == pytest.approx((3 - np.sqrt(0.5)) * 1e6)
    assert points.peak_v == 1.0


@pytest.mark.parametrize("q", [3.0, 30.0, 300.0])
def test_a_dense_tank_gives_its_q_and_frequency(q: float) -> None:
    """Q = f0/(f2 - f1) and f0 = sqrt(f1 f2) are exact for a parallel tank."""
    f = 1e6 * np.exp(np.linspace(-2 / q, 2 / q, 4001))
    points = half_power(trace_of(f, 1 / np.abs(1 + 1j * q * (f / 1e6 - 1e6 / f))))
    # Interpolating a step of 1/1000 of f0/Q: second order, 1e-6.
    assert points.loaded_q == pytest.approx(q, rel=1e-5)
    assert points.centre == pytest.approx(1e6, rel=1e-6)
    assert 2 * points.half_width == pytest.approx(1e6 / q, rel=1e-5)


def test_order_and_repeats_do_not_matter() -> None:
    """Repeats are averaged, any order is sorted."""
    f = np.array([3e6, 2e6, 1e6, 2e6])
    points = half_power(trace_of(f, np.array([0.0, 0.9, 0.0, 1.1])))
    assert points.peak_v == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("v", "side"),
    [
        ([0.9, 1.0, 0.1], "below"),
        ([0.1, 1.0, 0.9], "above"),
        ([0.9, 1.0, 0.9], "either side"),
        ([1.0, 0.9, 0.1], "below"),
    ],
)
def test_a_side_that_does_not_fall_is_named(v: list[float], side: str) -> None:
    """The sentence says which way to widen the sweep."""
    with pytest.raises(FitError, match=side):
        half_power(trace_of(np.array([1e6, 2e6, 3e6]), np.array(v)))


def test_two_frequencies_are_refused() -> None:
    """A peak needs two sides."""
    with pytest.raises(FitError, match="2 frequencies"):
        half_power(trace_of(np.array([1e6, 2e6, 2e6]), np.array([1.0, 2.0, 2.0])))


def test_a_dead_detector_is_refused() -> None:
    """All zero is no peak."""
    with pytest.raises(FitError, match="zero"):
        half_power(trace_of(np.array([1e6, 2e6, 3e6]), np.zeros(3)))


def test_coarse_points_cross_on_the_tanks_own_line() -> None:
    """Readings 0.6 half-bandwidths apart, one at the peak: a chord is not exact.

    1/V^2 is linear in t^2 for a tank, so clean readings leave arithmetic only.
    """
    q = np.arange(-7, 8) * 0.6
    f = 7e6 * np.exp(np.arcsinh(q / 240))
    points = half_power(trace_of(f, 1 / np.sqrt(1 + q * q)))
    assert points.loaded_q == pytest.approx(120, rel=1e-6)
