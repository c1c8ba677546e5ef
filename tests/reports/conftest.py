"""An invented result to show."""

import numpy as np
import pytest

from halfpower.analysis import Result, Trace
from halfpower.sweeps import fit_readings


def invented_trace() -> Trace:
    """Forty-one readings of an invented tank: 7 MHz, Q = 150, 0.3 % noise."""
    rng = np.random.default_rng(7)
    frequency = 7e6 * (1.0 + np.linspace(-4.0, 4.0, 41) / 300.0)
    x = frequency / 7e6
    amplitude = 0.3 * x / np.sqrt(1.0 + (150.0 * (x - 1.0 / x)) ** 2)
    noisy = amplitude * (1.0 + 0.003 * rng.standard_normal(41))
    return Trace(frequency_hz=frequency, amplitude_v=noisy)


@pytest.fixture(scope="session")
def result() -> Result:
    """The fit of the invented readings."""
    return fit_readings(invented_trace(), exponent=1.0, label="L17", source="invented")
