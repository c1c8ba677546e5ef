"""The law of the noise is read off the residuals where the scale does not tell it."""

import math

import numpy as np
import pytest

from halfpower.analysis.noise import NoiseSource
from halfpower.analysis.resonance import fit
from halfpower.analysis.response import Peak
from halfpower.analysis.trace import Trace

F0_HZ, Q = 7e6, 100.0


def curve(n: int, *, bandwidths: float) -> tuple[np.ndarray, np.ndarray]:
    """Give frequencies and amplitudes of a Lorentzian, written out."""
    frequency_hz = F0_HZ * (1.0 + np.linspace(-bandwidths, bandwidths, n) / Q)
    t = frequency_hz / F0_HZ - F0_HZ / frequency_hz
    return frequency_hz, 1.0 / np.sqrt(1.0 + (Q * t) ** 2)


def held(traces: list[Trace]) -> float:
    """Give the share of 95 % intervals of Q that hold the truth."""
    count = 0
    for trace in traces:
        found = fit(trace, response=Peak(exponent=0.0))
        half_width = found.coverage_factor() * found.u_loaded_q
        count += abs(found.loaded_q - Q) < half_width
    return count / len(traces)


@pytest.mark.parametrize(("n", "bandwidths"), [(21, 3.0), (21, 6.0), (41, 10.0)])
def test_readings_in_decibels_have_honest_intervals(n: int, bandwidths: float) -> None:
    """0.1 dB of noise: 95 % intervals hold the truth in 95 % of 120 traces.

    Binomial: 3 standard deviations of 120 trials at 95 % are 6 %. Noise taken as
    constant in volts held it in 75, 55 and 41 %.
    """
    frequency_hz, amplitude = curve(n, bandwidths=bandwidths)
    rng = np.random.default_rng(1)
    traces = [
        Trace.from_power_dbm(
            frequency_hz=frequency_hz,
            power_dbm=20.0 * np.log10(amplitude) + 0.1 * rng.standard_normal(n),
        )
        for _ in range(120)
    ]
    assert 0.89 <= held(traces) <= 1.0


def test_volts_with_noise_in_proportion_are_recognised() -> None:
    """1 % of each of 61 readings over +-10 bandwidths: the result says so."""
    frequency_hz, amplitude = curve(61, bandwidths=10.0)
    rng = np.random.default_rng(2)
    noisy = amplitude * (1.0 + 0.01 * rng.standard_normal(61))
    found = fit(
        Trace(frequency_hz=frequency_hz, amplitude_v=noisy),
        response=Peak(exponent=0.0),
    )
    assert found.noise_source is NoiseSource.RESIDUALS_BY_LAW
    assert found.refused == ()


def test_constant_noise_stays_constant() -> None:
    """1 % of the peak everywhere: none of 100 traces is taken for another law.

    The evidence asked for leaves 0.3 % by chance, for each trace.
    """
    frequency_hz, amplitude = curve(41, bandwidths=5.0)
    rng = np.random.default_rng(3)
    sources = [
        fit(
            Trace(
                frequency_hz=frequency_hz,
                amplitude_v=np.abs(amplitude + 0.01 * rng.standard_normal(41)),
            ),
            response=Peak(exponent=0.0),
        ).noise_source
        for _ in range(100)
    ]
    assert sources.count(NoiseSource.RESIDUALS_BY_LAW) <= 2


def test_relative_weights_set_ratios_and_the_scatter_the_size() -> None:
    """Multiplying relative uncertainties by any factor changes nothing."""
    frequency_hz, amplitude = curve(41, bandwidths=3.0)
    rng = np.random.default_rng(4)
    u = np.where(amplitude > 0.5, 5e-3, 1e-3)
    noisy = amplitude + u * rng.standard_normal(41)
    results = [
        fit(
            Trace(
                frequency_hz=frequency_hz,
                amplitude_v=noisy,
                u_amplitude_v=factor * u,
                u_scale_known=False,
            ),
            response=Peak(exponent=0.0),
        )
        for factor in (1.0, 1000.0)
    ]
    assert results[0].u_loaded_q == pytest.approx(results[1].u_loaded_q, rel=1e-6)
    assert math.isfinite(results[0].degrees_of_freedom)
    assert abs(results[0].loaded_q - Q) < 4.0 * results[0].u_loaded_q
