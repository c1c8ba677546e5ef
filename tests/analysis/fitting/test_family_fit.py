"""One family on one set of readings: starts, and what happens when they fail."""

import numpy as np
import pytest

from halfpower.analysis import FitError, Peak, Trace
from halfpower.analysis.fitting.curves import TwoPeaks
from halfpower.analysis.fitting.family_fit import fit_family, rough_peak

F = np.linspace(0.95e6, 1.05e6, 101)
V = 1 / np.sqrt(1 + (100 * (F / 1e6 - 1e6 / F)) ** 2)


def test_the_eye_sees_the_peak_past_a_spike() -> None:
    """A lone reading of 50 does not move it; a bandwidth is 10 kHz, a step 1 kHz."""
    v = V.copy()
    v[20] = 50.0
    f0, q, height = rough_peak(Trace(frequency_hz=F, amplitude_v=v))
    assert f0 == pytest.approx(1e6, abs=1e3)
    assert 70 < q < 130
    assert height == pytest.approx(1.0, rel=0.05)


def test_a_start_that_leads_nowhere_is_an_error_of_the_package() -> None:
    """Two peaks where the second's width cannot be told: all readings are one."""
    trace = Trace(frequency_hz=np.full(12, 1e6), amplitude_v=np.linspace(0.9, 1, 12))
    start = np.array([1e6, 100.0, 1.0, 0.1, 4.0, 0.1, 0.0])
    with pytest.raises(FitError):
        fit_family(trace, response=TwoPeaks(), starts=[start])


def test_no_start_at_all_is_refused() -> None:
    """An empty list of starts."""
    with pytest.raises(FitError, match="nothing to start"):
        fit_family(Trace(frequency_hz=F, amplitude_v=V), response=Peak(), starts=[])


def test_a_floor_that_hides_the_curvature_still_starts() -> None:
    """A peak of 1 on a constant of 3, where reciprocal power hardly curves."""
    found = fit_family(
        Trace(frequency_hz=F, amplitude_v=3.0 + 0.01 * V), response=Peak()
    )
    assert np.isfinite(found.minimum.cost)
