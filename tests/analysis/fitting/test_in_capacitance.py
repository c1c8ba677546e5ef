"""A resonance in capacitance: exact in both circuits, with the stray's doubt."""

import numpy as np
import pytest

from halfpower.analysis import FitError, InputError
from halfpower.analysis.fitting import fit_in_capacitance

STRAY, T0, Q = 12e-12, 112e-12, 60.0
SETTING = np.linspace(94e-12, 107e-12, 41)


def parallel(c: np.ndarray) -> np.ndarray:
    """Return the voltage of 1 A into G + jw(T - T0), G = w T0/Q."""
    return np.abs(1 / (T0 / Q + 1j * (c + STRAY - T0)))


def test_a_parallel_tank_gives_its_exact_setting_and_q() -> None:
    """A Lorentzian in C: half-width T0/Q."""
    found = fit_in_capacitance(
        SETTING, amplitude_v=parallel(SETTING), stray_capacitance_f=STRAY
    )
    assert found.resonant_capacitance_f == pytest.approx(T0 - STRAY, abs=0.0, rel=1e-9)
    assert found.half_width_f == pytest.approx(T0 / Q, abs=0.0, rel=1e-7)
    assert found.loaded_q == pytest.approx(Q, rel=1e-7)


def test_a_fit_over_capacitance_has_nothing_in_hertz() -> None:
    """Centre and half-width are in F; whoever asks for hertz is told so."""
    found = fit_in_capacitance(
        SETTING, amplitude_v=parallel(SETTING), stray_capacitance_f=STRAY
    ).resonance
    assert (found.abscissa.quantity, found.abscissa.unit) == ("capacitance", "F")
    assert found.centre == pytest.approx(T0, abs=0.0, rel=1e-9)
    assert found.half_width == pytest.approx(T0 / Q, abs=0.0, rel=1e-7)
    for name in ("resonant_frequency_hz", "bandwidth_hz"):
        with pytest.raises(AttributeError, match="none in Hz"):
            getattr(found, name)


def test_half_power_settings_give_the_same_q() -> None:
    """(C2 + C1)/(C2 - C1) of a dense Lorentzian is Q.

    The geometric mean stands for the arithmetic one, 1/(2 Q^2) of itself lower; a
    chord over 1/300 of a half-width leaves less.
    """
    dense = np.linspace(SETTING[0], SETTING[-1], 2001)
    found = fit_in_capacitance(
        dense, amplitude_v=parallel(dense), stray_capacitance_f=STRAY
    ).resonance
    assert found.half_power is not None
    assert found.half_power.loaded_q == pytest.approx(Q, rel=1 / Q**2)


@pytest.mark.parametrize("q", [4.0, 60.0])
def test_a_series_tank_gives_its_exact_q(q: float) -> None:
    """V_C = 1/|1 - w^2 L T + jwRT| with w = 1: Q = L/R at any Q."""
    inductance = 1.0 / T0
    t = T0 * (1 + np.linspace(-3, 4, 41) / q)
    t = t[t > 0.2 * T0]
    v = 1 / np.abs(1 - inductance * t + 1j * inductance / q * t)
    found = fit_in_capacitance(t, amplitude_v=v)
    assert found.loaded_q == pytest.approx(q, rel=1e-7)
    # the peak: T0/(1 + 1/Q^2), by setting the derivative to zero
    assert found.resonant_capacitance_f == pytest.approx(
        T0 / (1 + 1 / q**2), abs=0.0, rel=1e-8
    )


def test_the_strays_doubt_is_in_q() -> None:
    """u(Q) = u(stray)/half-width, where the readings are exact."""
    found = fit_in_capacitance(
        SETTING,
        amplitude_v=parallel(SETTING),
        stray_capacitance_f=STRAY,
        u_stray_capacitance_f=0.5e-12,
    )
    assert found.u_loaded_q == pytest.approx(0.5e-12 * Q / T0, rel=1e-6)


def test_errors_are_as_large_as_stated() -> None:
    """200 traces at 1 % noise; a variance of 200 draws is known to 10 %: three."""
    rng, scores = np.random.default_rng(1), []
    clean = parallel(SETTING)
    for _ in range(200):
        v = np.abs(clean + rng.normal(0, 0.01 * clean.max(), clean.size))
        found = fit_in_capacitance(SETTING, amplitude_v=v, stray_capacitance_f=STRAY)
        scores.append(
            [
                (found.loaded_q - Q) / found.u_loaded_q,
                (found.resonant_capacitance_f - T0 + STRAY)
                / found.u_resonant_capacitance_f,
            ]
        )
    assert np.mean(np.square(scores), axis=0) == pytest.approx([1.0, 1.0], abs=0.3)


def test_settings_on_one_side_are_refused() -> None:
    """The peak lies elsewhere, and the sentence speaks of farads."""
    c = SETTING[:12]
    with pytest.raises(FitError, match="F"):
        fit_in_capacitance(c, amplitude_v=parallel(c), stray_capacitance_f=STRAY)


@pytest.mark.parametrize("stray", [-1e-12, np.nan])
def test_an_impossible_stray_is_refused(stray: float) -> None:
    """It is a capacitance."""
    with pytest.raises(InputError, match="stray_capacitance_f"):
        fit_in_capacitance(
            SETTING, amplitude_v=parallel(SETTING), stray_capacitance_f=stray
        )
