"""Classical relations of resonance, exact in theory, against the fits.

NBS Circular C74, "Radio Instruments and Measurements" (1918, 2nd ed. 1924), sections
11 and 26: reactance and frequency variation. The circular's text was not at hand: the
formulas are from memory, and were verified by independent computation.
"""

import numpy as np
import pytest

from halfpower.analysis import Peak, Trace, fit
from halfpower.analysis.fitting import fit_in_capacitance


@pytest.mark.parametrize("q", [3.0, 5.0, 10.0, 30.0, 100.0])
def test_frequency_variation_is_exact_for_a_series_current(q: float) -> None:
    """I = E/|R + j(wL - 1/wC)|: Q = f0/(f2 - f1) and f0 = sqrt(f1 f2), any Q."""
    x = np.exp(np.arcsinh(np.linspace(-4, 3, 41) / (2 * q)))
    current = 1 / np.abs(1 + 1j * q * (x - 1 / x))
    found = fit(Trace(frequency_hz=1e6 * x, amplitude_v=current), response=Peak())
    assert found.loaded_q == pytest.approx(q, rel=1e-9)
    assert found.resonant_frequency_hz == pytest.approx(1e6, rel=1e-11)


@pytest.mark.parametrize(
    ("q", "peak_over_bandwidth"),
    [(3, 2.82826), (5, 4.89897), (10, 9.94987), (30, 29.98333), (100, 99.99500)],
)
def test_voltage_across_c_peaks_below_resonance(
    q: float, peak_over_bandwidth: float
) -> None:
    """Series e.m.f., k = -1: the peak at f0 sqrt(1 - 1/2Q^2), over f0/Q.

    The last two are f0 sqrt(1 - 1/2Q^2)/(f0/Q); the first three, by the half-power
    points of V_C itself, are the table's: both bandwidths agree to 1/Q^2.
    """
    x = np.exp(np.arcsinh(np.linspace(-4, 4, 81) / (2 * q)))
    v = 1 / np.abs(1 - x**2 + 1j * x / q)
    found = fit(Trace(frequency_hz=1e6 * x, amplitude_v=v), response=Peak(exponent=-1))
    assert found.loaded_q == pytest.approx(q, rel=1e-8)
    fine = (
        np.linspace(0.9, 1.05, 200_001) if q < 10 else np.linspace(0.98, 1.01, 200_001)
    )
    top = fine[np.argmax(found.amplitude_at(1e6 * fine))]
    assert top == pytest.approx(np.sqrt(1 - 1 / (2 * q * q)), rel=2e-6)
    assert q * top == pytest.approx(peak_over_bandwidth, rel=1 / q**2)


@pytest.mark.parametrize("q", [5.0, 20.0, 200.0])
def test_reactance_variation_by_the_capacitor_is_exact(q: float) -> None:
    """Q = (C2 + C1)/(C2 - C1) from the half-power settings, detector across C."""
    c0, inductance = 100e-12, 1 / 100e-12  # w = 1
    c = c0 * (1 + np.linspace(-3, 3, 61) / q)
    v = 1 / np.abs(1 - inductance * c + 1j * inductance / q * c)
    found = fit_in_capacitance(c, amplitude_v=v)
    c1 = found.resonant_capacitance_f - found.half_width_f
    c2 = found.resonant_capacitance_f + found.half_width_f
    assert (c2 + c1) / (c2 - c1) == pytest.approx(q, rel=1e-8)
    assert found.loaded_q == pytest.approx(q, rel=1e-8)
