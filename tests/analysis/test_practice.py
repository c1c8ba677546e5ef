"""Traces as they come from a bench, each once misread in silence."""

import numpy as np
import pytest

from halfpower.analysis import FitError, Peak, Trace, fit
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.half_power import half_power
from halfpower.analysis.fitting.resonance import AUTO


def tank(f: np.ndarray, f0: float = 7e6) -> np.ndarray:
    """Return the complex response of a tank of Q = 120."""
    return 1 / (1 + 1j * 120 * (f / f0 - f0 / f))


@pytest.mark.parametrize("response", [AUTO, Peak()])
def test_a_wild_reading_at_the_top_is_no_resonance(response: Peak) -> None:
    """Ten shoulders of Q = 118 and a 2.00 where they say 1.0."""
    v = [0.28, 0.33, 0.42, 0.56, 0.79, 2.00, 0.86, 0.63, 0.46, 0.36, 0.29]
    f = 6.90e6 + 20e3 * np.arange(11)
    found = fit(Trace(frequency_hz=f, amplitude_v=np.array(v)), response=response)
    assert found.refused == (5,)
    assert found.loaded_q == pytest.approx(118, abs=5)


@pytest.mark.parametrize(("at", "factor"), [(12, 2.0), (12, 3.0), (3, 1000.0)])
def test_a_multiplied_reading_is_refused(at: int, factor: float) -> None:
    """25 readings of Q = 120 at 0.5 % noise."""
    f = 7e6 * (1 + (np.linspace(-6, 6, 25) + 0.2) / 240)
    v = np.abs(tank(f)) + 0.005 * np.random.default_rng(1).normal(size=25)
    v = np.abs(v)
    v[at] *= factor
    found = fit(Trace(frequency_hz=f, amplitude_v=v))
    assert found.refused == (at,)
    assert found.loaded_q == pytest.approx(120, abs=5)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("response", [AUTO, Peak()])
def test_opposed_peaks_are_two_or_none(response: Peak, seed: int) -> None:
    """|S1 - 0.7 S2|, which add up between their resonances to one hump."""
    f = np.linspace(6.8e6, 7.2e6, 81)
    v = np.abs(tank(f, 6.95e6) - 0.7 * tank(f, 7.05e6))
    v = v + 0.003 * np.random.default_rng(seed).normal(size=81)
    try:
        found = fit(Trace(frequency_hz=f, amplitude_v=np.abs(v)), response=response)
    except FitError as error:
        assert "not those of one peak" in str(error)  # noqa: PT017 - one of two ends
        return
    assert Flag.SECOND_PEAK in found.flags
    assert found.loaded_q == pytest.approx(120, abs=3)
    assert found.resonant_frequency_hz == pytest.approx(6.95e6, abs=1e3)


def test_five_points_of_a_peak_are_a_peak() -> None:
    """With k left open its spread over -1 to 2 is in u(f0)."""
    f = np.array([6958e3, 6979e3, 7000e3, 7021e3, 7042e3])
    trace = Trace(frequency_hz=f, amplitude_v=np.array([0.63, 0.86, 1, 0.86, 0.64]))
    found, known = fit(trace), fit(trace, response=Peak())
    assert found.response == Peak()
    assert found.u_resonant_frequency_hz > 1.25 * known.u_resonant_frequency_hz
    with pytest.raises(FitError, match="unknowns of a peak"):
        fit(trace.select(np.arange(5) < 3))


def test_repeats_in_two_groups_are_named() -> None:
    """0.757 and 0.933 V in turn at one frequency, 0.3 % of noise elsewhere."""
    f = 7e6 * (1 + (np.linspace(-4, 4, 15) + 0.2) / 240)
    v = np.abs(tank(f)) + 0.003 * np.random.default_rng(3).normal(size=15)
    trace = Trace(
        frequency_hz=np.concatenate((f, np.full(8, f[6]))),
        amplitude_v=np.concatenate((v, [0.757, 0.933] * 4)),
    )
    flags = fit(trace).flags
    assert Flag.REPEATS_DISAGREE in flags
    assert Flag.CHI2_LOW not in flags


def test_coarse_points_cross_on_the_tanks_own_line() -> None:
    """Readings 0.6 half-bandwidths apart, one at the peak: a chord is not exact.

    1/V^2 is linear in t^2 for a tank, so clean readings leave arithmetic only.
    """
    q = np.arange(-7, 8) * 0.6
    f = 7e6 * np.exp(np.arcsinh(q / 240))
    points = half_power(Trace(frequency_hz=f, amplitude_v=np.abs(tank(f))))
    assert points.loaded_q == pytest.approx(120, rel=1e-6)
