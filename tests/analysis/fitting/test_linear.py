"""The closed form: exact for exact readings wherever they lie, and its refusals."""

import numpy as np
import pytest

from halfpower.analysis import FitError
from halfpower.analysis.fitting import closed_form


def peak(f: np.ndarray, f0: float, q: float, a: float, k: float) -> np.ndarray:
    """Return the amplitude of a tank, by complex arithmetic."""
    x = f / f0
    return np.abs(a * x**k / (1 + 1j * q * (x - 1 / x)))


@pytest.mark.parametrize("k", [-1.0, 0.0, 1.0, 2.0])
@pytest.mark.parametrize("q", [0.8, 10.0, 2000.0])
def test_exact_readings_give_the_exact_peak(q: float, k: float) -> None:
    """At every Q and exponent, from a lopsided grid."""
    f = 3e6 * np.exp(np.linspace(-1.0, 3.0, 9) / (2.0 * q))
    found = closed_form(f, amplitude_v=peak(f, 3e6, q, 0.2, k), exponent=k)
    assert found.resonant_frequency_hz == pytest.approx(3e6, rel=1e-11)
    # 1/V^2 is known to 1e-16 of itself and cancels by up to (Qt)^2 = 10
    assert found.loaded_q == pytest.approx(q, rel=1e-8)
    assert found.amplitude_v == pytest.approx(0.2, rel=1e-8)


def test_three_readings_far_down_one_skirt_place_the_resonance() -> None:
    """30 to 60 half-bandwidths above f0: V goes as 1/|t| there."""
    f = 3e6 * (1.0 + np.array([30.0, 45.0, 60.0]) / 400.0)
    found = closed_form(f, amplitude_v=peak(f, 3e6, 200.0, 0.2, 0.0))
    assert found.resonant_frequency_hz == pytest.approx(3e6, rel=1e-7)


def test_skirts_that_say_nothing_of_the_width_give_no_q() -> None:
    """Readings of 1/|t| itself are those of an infinite Q, and noise tips them over."""
    f = 3e6 * (1.0 + np.array([-60.0, -30.0, 30.0, 60.0]) / 400.0)
    x = f / 3e6
    v = 1.0 / np.abs(x - 1.0 / x) * (1.0 + 1e-3 * np.array([-1, 1, 1, -1]))
    found = closed_form(f, amplitude_v=v)
    assert found.resonant_frequency_hz == pytest.approx(3e6, rel=1e-3)
    assert found.loaded_q is None
    assert found.amplitude_v is None


def test_scatter_is_near_the_bound_at_one_percent_noise() -> None:
    """Within 4 % of the bound (61 readings, +/-5 half-bandwidths), as claimed."""
    rng = np.random.default_rng(3)
    q = np.linspace(-5.0, 5.0, 61)
    f = 3e6 * np.exp(np.arcsinh(q / 200.0))
    clean = peak(f, 3e6, 100.0, 1.0, 0.0)
    got = [
        closed_form(f, amplitude_v=clean + rng.normal(0, 0.01, 61)).loaded_q
        for _ in range(1500)
    ]
    # Bound of a plain Lorentzian: slopes -A^3 q^2, A^3 q, A of ln Q, f0, ln A.
    j = np.stack((-(clean**3) * q**2, clean**3 * q, clean))
    bound = 100.0 * 0.01 * np.sqrt(np.linalg.inv(j @ j.T)[0, 0])
    # 1500 trials know a scatter to 1.8 %: three of those beyond the 4 %.
    assert np.std(np.array(got, dtype=float)) < 1.095 * bound


def test_two_readings_are_refused() -> None:
    """Two readings fix no peak."""
    with pytest.raises(FitError, match="2 readings above zero"):
        closed_form(np.array([1e6, 2e6]), amplitude_v=np.array([0.1, 0.2]))


def test_readings_at_two_frequencies_are_refused() -> None:
    """However many there are."""
    f = np.array([1e6, 1e6, 1.1e6, 1.1e6])
    with pytest.raises(FitError, match="3 frequencies"):
        closed_form(f, amplitude_v=np.array([0.1, 0.11, 0.2, 0.21]))


def test_a_dip_is_refused() -> None:
    """Readings that curve upwards are no peak."""
    f = np.linspace(1e6, 1.1e6, 7)
    v = 0.1 + ((f - 1.05e6) / 1e5) ** 2
    with pytest.raises(FitError, match="do not curve like a resonance"):
        closed_form(f, amplitude_v=v)


def test_readings_of_nothing_are_passed_over() -> None:
    """Zeros, and what is 1e-10 of the highest: 1/V^2 of them has no use."""
    f = 3e6 * np.exp(np.linspace(-3.0, 3.0, 9) / 200.0)
    v = peak(f, 3e6, 100.0, 0.2, 0.0)
    v[[0, 8]] = 0.0, 2e-11
    found = closed_form(f, amplitude_v=v)
    assert found.resonant_frequency_hz == pytest.approx(3e6, rel=1e-11)
    assert found.loaded_q == pytest.approx(100.0, rel=1e-8)
    with pytest.raises(FitError, match=r"^0 readings above zero"):
        closed_form(f[:0], amplitude_v=v[:0])
    with pytest.raises(FitError, match=r"^0 readings above zero"):
        closed_form(f, amplitude_v=0.0 * v)
    with pytest.raises(FitError, match=r"^2 readings above zero"):
        closed_form(f[:3], amplitude_v=v[:3])


@pytest.mark.parametrize("passes", [0, 2])
def test_stated_uncertainties_weigh_the_readings(passes: int) -> None:
    """Every second reading with 5 % noise, the others with 0.5 %: near the bound.

    Taken as equal, the bad ones would make the scatter five times as large.
    To first order the readings' own weights do as well as the curve's.
    """
    rng = np.random.default_rng(4)
    t = np.linspace(-5.0, 5.0, 61)
    f = 3e6 * np.exp(np.arcsinh(t / 200.0))
    shape = peak(f, 3e6, 100.0, 1.0, 0.0)
    u = np.where(np.arange(61) % 2, 0.05, 0.005)
    got = [
        closed_form(
            f, amplitude_v=np.abs(0.2 * v), u_amplitude_v=0.2 * u, passes=passes
        ).loaded_q
        for v in shape + u * rng.normal(0.0, 1.0, (1500, 61))
    ]
    j = np.stack((-(shape**3) * t**2, shape**3 * t, shape)) / u
    bound = 100.0 * np.sqrt(np.linalg.inv(j @ j.T)[0, 0])
    # 1500 trials know a scatter to 1.8 %: three of those beyond the 4 %.
    assert np.std(np.array(got, dtype=float)) < 1.095 * bound
