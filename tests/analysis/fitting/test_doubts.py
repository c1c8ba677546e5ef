"""Doubts: each flag, on a trace that deserves it."""

import numpy as np
import pytest

from halfpower.analysis import FitError, LeakyPeak, Peak, PeakOnFloor, Trace, fit
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.resonance import ResonanceFit

F0, Q, A, SIGMA = 7.1e6, 120.0, 0.4, 0.004


def trace_at(
    detuning: np.ndarray, *, q: float = Q, sigma: float = SIGMA, seed: int = 1
) -> Trace:
    """Return noisy readings of a tank at detunings in half-bandwidths."""
    f = F0 * np.exp(np.arcsinh(detuning / (2 * q)))
    v = A / np.sqrt(1 + detuning**2)
    noise = np.random.default_rng(seed).normal(0, sigma, detuning.size)
    return Trace(frequency_hz=f, amplitude_v=np.abs(v + noise))


def fitted(detuning: np.ndarray, **kwargs: float) -> ResonanceFit:
    """Return the fit of a plain peak to them."""
    return fit(trace_at(detuning, **kwargs), response=Peak())  # type: ignore[arg-type] # seed is an int


EVEN = np.linspace(-5, 5, 61)


def test_a_sound_trace_raises_no_flag() -> None:
    """Over 200 traces, no more than four raise one: each test's risk is 5e-4."""
    flagged = [bool(fitted(EVEN + 0.3, seed=i).flags) for i in range(200)]
    assert sum(flagged) <= 4


def test_one_open_side_is_flagged_at_high_q() -> None:
    """A flank not read is inferred from the one that was."""
    assert Flag.NOT_BRACKETED in fitted(np.linspace(-0.7, 5, 61)).flags


def test_a_peak_at_the_first_reading_is_flagged() -> None:
    """The highest reading is the first one."""
    assert Flag.PEAK_AT_EDGE in fitted(np.linspace(0.0, 6, 61), sigma=1e-5).flags


def test_a_peak_read_too_coarsely_is_flagged() -> None:
    """Steps of three half-bandwidths leave one reading on the peak."""
    assert Flag.FEW_ON_PEAK in fitted(np.linspace(-30, 30, 21) + 0.3, sigma=1e-3).flags


def test_missing_skirts_are_flagged() -> None:
    """The upper side ends at 0.9 half-bandwidths, with one reading past 0.75."""
    q = np.concatenate((np.linspace(-5, 0.6, 40), [0.8]))
    assert Flag.FEW_IN_SKIRTS in fitted(q).flags


def test_few_degrees_of_freedom_are_flagged() -> None:
    """Eight readings leave five."""
    assert Flag.FEW_READINGS in fitted(np.linspace(-3, 3, 8)).flags


def test_a_doubtful_q_is_flagged() -> None:
    """Readings of the peak alone cannot tell its width from a floor under it."""
    narrow = trace_at(np.linspace(-1.5, 1.5, 31), sigma=0.1 * A, seed=2)
    found = fit(narrow, response=PeakOnFloor())
    assert found.u_loaded_q > found.loaded_q / 3
    assert Flag.Q_UNCERTAIN in found.flags


def test_a_low_q_is_flagged() -> None:
    """Below 10 the circuit must be fitted."""
    assert Flag.LOW_Q in fitted(EVEN, q=6.0).flags
    assert Flag.LOW_Q not in fitted(EVEN, q=20.0).flags


@pytest.mark.parametrize("floor", [0.03, -0.01])
def test_a_floor_under_a_plain_peak_shows_as_a_pattern(floor: float) -> None:
    """Power of 3 % of the peak's, or an offset of -1 %, at 1 % noise."""
    q = np.linspace(-8, 8, 81)
    f = F0 * np.exp(np.arcsinh(q / (2 * Q)))
    v = A * np.sqrt(np.maximum(1 / (1 + q**2) + floor, 0.0))
    v = np.abs(v + np.random.default_rng(2).normal(0, SIGMA, q.size))
    flags = fit(Trace(frequency_hz=f, amplitude_v=v), response=Peak()).flags
    assert Flag.RESIDUAL_PATTERN in flags


def test_repeats_that_agree_better_than_the_curve_show_as_a_pattern() -> None:
    """Nine frequencies read six times, each shifted by the noise, up and down.

    Neighbours say too little there: of 54 readings, a correlation of a third.
    """
    q = np.repeat(np.linspace(-2.0, 2.2, 9), 6)
    f = F0 * np.exp(np.arcsinh(q / (2 * Q)))
    rng = np.random.default_rng(5)
    shift = SIGMA * np.repeat([1, -1, 1, -1, 1, -1, 1, -1, 1], 6)
    v = A / np.sqrt(1 + q**2) + shift + rng.normal(0, SIGMA, q.size)
    u = np.full(q.size, 3 * SIGMA)  # a chi-squared that sees nothing
    trace = Trace(frequency_hz=f, amplitude_v=v, u_amplitude_v=u)
    assert Flag.RESIDUAL_PATTERN in fit(trace, response=Peak()).flags


@pytest.mark.parametrize("sigma", [1e-9, SIGMA])
def test_a_clipped_peak_is_flagged(sigma: float) -> None:
    """A detector that stops at 0.8 of the peak, with and without noise."""
    trace = trace_at(EVEN, sigma=sigma)
    v = np.minimum(trace.amplitude_v, 0.8 * A)
    flags = fit(
        Trace(frequency_hz=trace.frequency_hz, amplitude_v=v), response=Peak()
    ).flags
    assert Flag.CLIPPED in flags


def test_steps_larger_than_the_noise_are_flagged() -> None:
    """Steps of a twentieth of the peak at 0.1 % noise; and not at 5 %."""
    for sigma, expected in ((0.001 * A, True), (0.05 * A, False)):
        trace = trace_at(EVEN, sigma=sigma)
        v = np.round(trace.amplitude_v / (A / 20)) * (A / 20)
        found = fit(
            Trace(frequency_hz=trace.frequency_hz, amplitude_v=v), response=Peak()
        )
        assert (Flag.COARSE_STEPS in found.flags) is expected


@pytest.mark.parametrize(("factor", "flag"), [(0.5, "chi2_high"), (2.0, "chi2_low")])
def test_misstated_noise_is_flagged(factor: float, flag: str) -> None:
    """Half or double the true noise on 61 readings."""
    trace = trace_at(EVEN)
    stated = Trace(
        frequency_hz=trace.frequency_hz,
        amplitude_v=trace.amplitude_v,
        u_amplitude_v=np.full(61, factor * SIGMA),
    )
    assert Flag(flag) in fit(stated, response=Peak()).flags


def test_a_notch_fitted_as_a_leaky_peak_is_no_sound_result() -> None:
    """Skirts above the peak are those of no tank: refused or flagged."""
    q = EVEN
    v = A * np.sqrt((0.04 + q**2) / (1 + q**2))
    trace = Trace(frequency_hz=trace_at(q).frequency_hz, amplitude_v=v)
    try:
        flags = fit(trace, response=LeakyPeak()).flags
    except FitError:
        return
    assert {Flag.UNPHYSICAL, Flag.NOT_CONVERGED} & set(flags)
