"""Two resonances: the larger one fitted, the other one reported."""

import numpy as np
import pytest

from halfpower.analysis import Peak, Trace, fit
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.second_peak import find_second_peak

F0, Q, A, SIGMA = 7.1e6, 100.0, 0.3, 0.003


def two(ratio: complex, *, f2: float = 1.06 * F0, q2: float = 80.0) -> Trace:
    """Return noisy readings of two tanks on one source, by complex arithmetic."""
    f = np.linspace(0.95 * F0, 1.12 * F0, 200)
    first = 1 / (1 + 1j * Q * (f / F0 - F0 / f))
    second = ratio / (1 + 1j * q2 * (f / f2 - f2 / f))
    noise = np.random.default_rng(1).normal(0, SIGMA, f.size)
    return Trace(frequency_hz=f, amplitude_v=np.abs(A * np.abs(first + second) + noise))


@pytest.mark.parametrize("ratio", [0.4, -0.4, 0.3 + 0.5j, -0.1 - 0.2j])
def test_the_larger_is_fitted_beside_the_other(ratio: complex) -> None:
    """f0 and Q within four standard uncertainties, whatever the phase between them.

    Alone, read evenly over 34 half-bandwidths at 1 % of noise, a peak's f0 would be
    known to 234 Hz (sum of (z/(1 + z^2)^1.5)^2, whose integral is pi/8) and Q to 0.7 %
    (six times the readings of the best plan's 4 sigma/A/sqrt(200)); the other peak's
    four unknowns may double that.
    """
    found = fit(two(ratio), response=Peak())
    assert abs(found.resonant_frequency_hz - F0) < 4 * found.u_resonant_frequency_hz
    assert abs(found.loaded_q - Q) < 4 * found.u_loaded_q
    assert found.u_resonant_frequency_hz < 2 * 234.0
    assert found.u_loaded_q < 2 * 0.007 * Q
    assert Flag.SECOND_PEAK in found.flags


def test_the_other_is_reported() -> None:
    """Place within a twentieth of its bandwidth, Q and height within 10 %.

    The height is the curve's there: both phasors summed.
    """
    (other,) = fit(two(0.4), response=Peak()).others
    assert other.frequency_hz == pytest.approx(1.06 * F0, rel=0.05 / 80)
    here = abs(0.4 + 1 / (1 + 1j * Q * (1.06 - 1 / 1.06)))
    assert other.amplitude_v == pytest.approx(A * here, rel=0.1)
    assert other.loaded_q == pytest.approx(80.0, rel=0.1)


def test_the_larger_counts_wherever_it_stands() -> None:
    """The second is the larger one: then it is the one that is fitted."""
    found = fit(two(2.0), response=Peak())
    assert found.resonant_frequency_hz == pytest.approx(1.06 * F0, rel=0.05 / 80)
    assert found.others[0].frequency_hz == pytest.approx(F0, rel=0.05 / 100)


def test_a_single_peak_has_no_other() -> None:
    """Over 100 traces of noise none is seen."""
    f = np.linspace(0.95 * F0, 1.05 * F0, 120)
    clean = A / np.sqrt(1 + (Q * (f / F0 - F0 / f)) ** 2)
    for seed in range(100):
        v = np.abs(clean + np.random.default_rng(seed).normal(0, SIGMA, f.size))
        assert find_second_peak(Trace(frequency_hz=f, amplitude_v=v), SIGMA) is None


def test_two_neighbours_lifted_are_no_peak() -> None:
    """A peak lifts three readings or more."""
    f = np.linspace(0.95 * F0, 1.05 * F0, 120)
    v = A / np.sqrt(1 + (Q * (f / F0 - F0 / f)) ** 2)
    v[90:92] += 30 * SIGMA
    assert find_second_peak(Trace(frequency_hz=f, amplitude_v=v), SIGMA) is None
    v[90:94] = v[90] * np.array([0.9, 1.0, 1.0, 0.9])
    assert find_second_peak(Trace(frequency_hz=f, amplitude_v=v), SIGMA) is not None


def test_a_peak_at_half_the_frequency_may_be_a_ghost() -> None:
    """The second harmonic of the generator rings the tank at f0/2."""
    f = np.concatenate(
        (np.linspace(0.49 * F0, 0.51 * F0, 60), np.linspace(0.97 * F0, 1.03 * F0, 90))
    )
    v = A / np.sqrt(1 + (Q * (f / F0 - F0 / f)) ** 2)
    ghost = 0.1 * A / np.sqrt(1 + (Q * (2 * f / F0 - F0 / (2 * f))) ** 2)
    v = np.hypot(v, ghost) + np.random.default_rng(2).normal(0, 1e-3 * A, f.size)
    found = fit(Trace(frequency_hz=f, amplitude_v=np.abs(v)), response=Peak())
    assert found.resonant_frequency_hz == pytest.approx(F0, rel=1e-4)
    assert Flag.GHOST in found.flags


def test_a_glitch_beside_two_peaks_is_refused() -> None:
    """The other peak is modelled, the lone reading between them is left out."""
    trace = two(0.4)
    v = trace.amplitude_v.copy()
    v[100] += 40 * SIGMA
    found = fit(Trace(frequency_hz=trace.frequency_hz, amplitude_v=v), response=Peak())
    assert found.refused == (100,)
    assert abs(found.loaded_q - Q) < 4 * found.u_loaded_q < 4 * 2 * 0.007 * Q
