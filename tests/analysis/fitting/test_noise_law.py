"""The law of the noise: told by the readings, and the interval honest about it."""

import numpy as np
import pytest

from halfpower.analysis import Peak, Trace, fit
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.noise import NoiseSource
from halfpower.analysis.fitting.resonance import ResonanceFit
from halfpower.analysis.fitting.trace import NoiseLaw

F0, Q = 7e6, 100.0


def grid(n: int, span: float, shift: float = 0.2) -> np.ndarray:
    """Return frequencies even in detuning over +/- `span` bandwidths."""
    q = np.linspace(-2 * span, 2 * span, n) + shift
    return F0 * np.exp(np.arcsinh(q / (2 * Q)))


def tank(f: np.ndarray) -> np.ndarray:
    """Return the amplitude of a tank of 1 V."""
    return 1 / np.sqrt(1 + (Q * (f / F0 - F0 / f)) ** 2)


def levels(f: np.ndarray, db: np.ndarray) -> Trace:
    """Return a tank read as power levels, `db` in error."""
    return Trace.from_power_dbm(frequency_hz=f, power_dbm=20 * np.log10(tank(f)) + db)


def covered(found: ResonanceFit) -> bool:
    """Return whether the 95 % interval of Q holds it."""
    return abs(found.loaded_q - Q) < found.coverage_factor() * found.u_loaded_q


@pytest.mark.parametrize(("n", "span"), [(21, 3), (21, 6), (41, 10)])
def test_levels_with_a_tenth_of_a_decibel_are_covered(n: int, span: float) -> None:
    """200 traces: 95 % less four standard deviations of a count, 6 %, is 89 %."""
    rng, f = np.random.default_rng(n), grid(n, span)
    fits = [fit(levels(f, rng.normal(0, 0.1, n)), response=Peak()) for _ in range(200)]
    assert sum(covered(found) for found in fits) >= 178
    assert sum(bool(found.refused) for found in fits) <= 2


def test_a_percent_of_reading_in_volts_is_found_out() -> None:
    """41 readings over +/-10 bandwidths; of constant noise it is not claimed."""
    rng, f = np.random.default_rng(3), grid(41, 10)
    noise = rng.normal(0, 0.01, 41)
    one = fit(Trace(frequency_hz=f, amplitude_v=tank(f) * (1 + noise)), response=Peak())
    two = fit(
        Trace(frequency_hz=f, amplitude_v=np.abs(tank(f) + noise)), response=Peak()
    )
    assert one.noise_source in (
        NoiseSource.RESIDUALS_PROPORTIONAL,
        NoiseSource.RESIDUALS_MIXED,
    )
    assert two.noise_source is NoiseSource.RESIDUALS
    assert one.u_loaded_q < two.u_loaded_q


def test_levels_bring_their_law_along() -> None:
    """And a selection keeps it."""
    trace = levels(grid(9, 2), np.zeros(9))
    assert trace.noise_law is NoiseLaw.PROPORTIONAL
    assert trace.select(np.arange(9) < 5).noise_law is NoiseLaw.PROPORTIONAL


def test_half_decibel_steps_are_covered_and_flagged() -> None:
    """31 levels over +/-6 bandwidths, rounded to 0.5 dB, at 100 places of the steps."""
    rng, f = np.random.default_rng(5), grid(31, 6)
    hits = flagged = 0
    for _ in range(100):
        exact = 20 * np.log10(tank(f)) + rng.uniform(-5, 5)
        rounded = np.round(2 * exact) / 2
        found = fit(
            Trace.from_power_dbm(frequency_hz=f, power_dbm=rounded), response=Peak()
        )
        hits += covered(found)
        flagged += Flag.COARSE_STEPS in found.flags
    assert hits >= 87  # 95 less four standard deviations of a count of 100
    assert flagged >= 95


def test_relative_weights_set_weights_and_the_scatter_sets_the_size() -> None:
    """Ratios a thousand times too large change nothing when only ratios are known."""
    f = grid(41, 3)
    v = tank(f) + np.random.default_rng(7).normal(0, 0.005, 41)
    u = np.where(v > 0.5, 2.0, 1.0)
    one, two = (
        fit(
            Trace(
                frequency_hz=f,
                amplitude_v=v,
                u_amplitude_v=size * u,
                u_scale_known=False,
            ),
            response=Peak(),
        )
        for size in (1e-3, 1.0)
    )
    assert one.loaded_q == pytest.approx(two.loaded_q, rel=1e-9)
    assert one.u_loaded_q == pytest.approx(two.u_loaded_q, rel=1e-6)
    assert one.noise_source is NoiseSource.RESIDUALS
