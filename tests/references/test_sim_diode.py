"""The diode probe's law against SciPy's Bessel function.

The equation exp(U / nVt) = I0(V / nVt) is the mean of an exponential diode's current
set to nothing; it is integrated here over a period instead of looked up.
"""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ive

from halfpower.sim.instruments.voltmeter import diode_voltage


@pytest.mark.parametrize("peak_v", np.geomspace(1e-4, 20.0, 23))
def test_the_law_is_the_logarithm_of_the_bessel_function(peak_v):
    """The law: ln I0(x) = x + ln(exp(-x) I0(x)), from SciPy's scaled function."""
    x = peak_v / 28e-3
    expected = 28e-3 * (x + math.log(ive(0, x)))
    # below x = 1e-3 the next term is x^2 / 16 of it, above x = 50 the third is 1e-6
    assert diode_voltage(peak_v, 28e-3) == pytest.approx(expected, rel=2e-6, abs=0.0)


@pytest.mark.parametrize("peak_v", [3e-3, 0.05, 0.4])
def test_at_that_voltage_the_diodes_mean_current_vanishes(peak_v):
    """Mean of exp((V cos - U) / nVt) - 1 over a period is nothing."""
    u = diode_voltage(peak_v, 28e-3)

    def current(angle):
        return math.exp((peak_v * math.cos(angle) - u) / 28e-3) - 1.0

    mean = quad(current, 0.0, math.pi, epsabs=1e-12, epsrel=1e-12)[0] / math.pi
    assert abs(mean) < 1e-8
