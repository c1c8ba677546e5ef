"""A notch: against S21 of a series tank across a line, written out here."""

import numpy as np
import pytest

from halfpower.analysis import FitError, InputError, Notch, Trace, fit

R, L, C, Z0 = 4.0, 10e-6, 50e-12, 50.0
F0 = 1 / (2 * np.pi * np.sqrt(L * C))


def notch(f: np.ndarray) -> np.ndarray:
    """Return |S21| = |Z/(Z + Z0/2)| of the tank's impedance Z."""
    w = 2 * np.pi * f
    z = R + 1j * w * L + 1 / (1j * w * C)
    return np.abs(z / (z + Z0 / 2))


SPAN = F0 * np.linspace(0.7, 1.35, 201)


def test_the_tank_is_found_from_its_notch() -> None:
    """R, L, C and the tank's own Q from exact readings."""
    found = fit(
        Trace(frequency_hz=SPAN, amplitude_v=0.3 * notch(SPAN)), response=Notch()
    )
    tank = Notch().tank(found.parameters, line_impedance_ohm=Z0)
    assert tank.series_resistance_ohm == pytest.approx(R, rel=1e-7)
    assert tank.inductance_h == pytest.approx(L, rel=1e-7)
    assert tank.capacitance_f == pytest.approx(C, rel=1e-7)
    assert tank.unloaded_q == pytest.approx(2 * np.pi * F0 * L / R, rel=1e-7)


def test_errors_are_as_large_as_stated() -> None:
    """200 traces at 1 % noise; a variance of 200 draws is known to 10 %: three."""
    rng, truth = np.random.default_rng(1), 2 * np.pi * F0 * L / (R + Z0 / 2)
    scores = []
    for _ in range(200):
        v = np.abs(notch(SPAN) + rng.normal(0, 0.01, SPAN.size))
        found = fit(Trace(frequency_hz=SPAN, amplitude_v=v), response=Notch())
        scores.append((found.loaded_q - truth) / found.u_loaded_q)
    assert np.mean(np.square(scores)) == pytest.approx(1.0, abs=0.3)


def test_readings_left_to_choose_find_the_notch() -> None:
    """No peak family fits a dip."""
    v = notch(SPAN) + np.random.default_rng(2).normal(0, 0.005, SPAN.size)
    found = fit(Trace(frequency_hz=SPAN, amplitude_v=np.abs(v)))
    assert found.response == Notch()


def test_a_flat_line_is_no_notch() -> None:
    """Noise alone has no depth."""
    v = 0.8 + np.random.default_rng(3).normal(0, 0.01, SPAN.size)
    with pytest.raises(FitError):
        fit(Trace(frequency_hz=SPAN, amplitude_v=v), response=Notch())


def test_a_depth_of_one_is_no_tank() -> None:
    """Nothing hangs on the line."""
    with pytest.raises(InputError, match="below 1"):
        Notch().tank(np.array([F0, 10.0, 1.0, 1.0]))
