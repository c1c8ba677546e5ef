"""Two tanks on one source: which of them is the first makes no difference."""

import numpy as np
import pytest

from halfpower.analysis.fitting.curves import TwoPeaks


def test_swapped_roles_draw_the_same_curve() -> None:
    """|1/(1+jq) + r/(1+jq')| = |r| |1/(1+jq') + (1/r)/(1+jq)|: arithmetic only."""
    response = TwoPeaks()
    parameters = np.array([7e6, 120.0, 0.3, 0.02, np.log(80.0), -0.9, 1.1])
    frequency_hz = np.linspace(6.5e6, 7.6e6, 201)
    swapped = response.swapped(parameters)
    assert response.amplitude(frequency_hz, swapped) == pytest.approx(
        response.amplitude(frequency_hz, parameters), rel=1e-11
    )
    assert swapped[0] == pytest.approx(7e6 * np.exp(0.02), rel=1e-12)
    assert response.swapped(swapped) == pytest.approx(parameters, rel=1e-9)
