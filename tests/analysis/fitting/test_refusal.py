"""Refusals: each on a trace that deserves it."""

import numpy as np
import pytest

from halfpower.analysis import FitError, Peak, Trace, fit

F0, A = 7.1e6, 0.4


def fitted(detuning: np.ndarray, *, q: float = 120.0, sigma: float = 0.004) -> None:
    """Fit a plain peak to noisy readings at detunings in half-bandwidths."""
    f = F0 * np.exp(np.arcsinh(detuning / (2 * q)))
    v = A / np.sqrt(1 + detuning**2)
    noise = np.random.default_rng(1).normal(0, sigma, detuning.size)
    fit(Trace(frequency_hz=f, amplitude_v=np.abs(v + noise)), response=Peak())


EVEN_HZ = F0 * np.exp(np.linspace(-5, 5, 61) / 240)


def test_noise_is_no_peak() -> None:
    """Of 100 traces of noise, all are refused."""
    for seed in range(100):
        v = 0.3 + np.random.default_rng(seed).normal(0, 0.01, 61)
        trace = Trace(frequency_hz=EVEN_HZ, amplitude_v=v)
        with pytest.raises(FitError):
            fit(trace, response=Peak())


def test_a_constant_is_no_peak() -> None:
    """A detector that shows the same everywhere sees no resonance."""
    with pytest.raises(FitError):
        fit(Trace(frequency_hz=EVEN_HZ, amplitude_v=np.full(61, 0.37)))


def test_a_peak_outside_the_readings_is_refused() -> None:
    """And the sentence says where it points to."""
    with pytest.raises(FitError, match="sweep there"):
        fitted(np.linspace(2, 8, 61))


def test_a_peak_wider_than_the_readings_is_refused() -> None:
    """Neither half-power point was reached, whatever the precision."""
    with pytest.raises(FitError, match="not bracketed"):
        fitted(np.linspace(-0.8, 0.8, 61), sigma=1e-5)


def test_one_open_side_is_refused_at_low_q() -> None:
    """A flank not read cannot be inferred from the one that was."""
    with pytest.raises(FitError, match="one side"):
        fitted(np.linspace(-0.7, 5, 61), q=5.0)
