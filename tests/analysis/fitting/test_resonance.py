"""The public fit: recovery, honest uncertainties, consistency, refusals, noise."""

import contextlib
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfpower.analysis import FitError, HalfpowerError, Peak, Trace, fit
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.noise import NoiseModel, NoiseSource

F0, Q, A = 7.1e6, 120.0, 0.4


def grid(n: int = 61, span: float = 5.0, shift: float = 0.5) -> np.ndarray:
    """Return frequencies even in detuning, off the peak's centre."""
    return F0 * np.exp(np.arcsinh((np.linspace(-span, span, n) + shift) / (2 * Q)))


def tank(f: np.ndarray, k: float = 0.0) -> np.ndarray:
    """Return the tank's amplitude, by complex arithmetic."""
    return np.abs(A * (f / F0) ** k / (1 + 1j * Q * (f / F0 - F0 / f)))


def noisy(rng: np.random.Generator, f: np.ndarray, sigma: float) -> Trace:
    """Return a noisy trace."""
    return Trace(
        frequency_hz=f, amplitude_v=np.abs(tank(f) + rng.normal(0, sigma, f.size))
    )


@given(
    q=st.floats(3.0, 3000.0),
    k=st.sampled_from([-1.0, 0.0, 1.0, 2.0]),
    shift=st.floats(-2.0, 2.0),
    seed=st.integers(0, 99),
)
@settings(max_examples=60)
def test_exact_readings_give_the_exact_resonance(
    q: float, k: float, shift: float, seed: int
) -> None:
    """Whatever Q, exponent, order and place of the grid."""
    x = np.exp(np.arcsinh((np.linspace(-5, 5, 31) + shift) / (2 * q)))
    x = np.random.default_rng(seed).permutation(x)
    v = np.abs(A * x**k / (1 + 1j * q * (x - 1 / x)))
    found = fit(Trace(frequency_hz=F0 * x, amplitude_v=v), response=Peak(exponent=k))
    assert found.resonant_frequency_hz == pytest.approx(F0, rel=1e-10)
    assert found.loaded_q == pytest.approx(q, rel=1e-8)
    assert found.amplitude_v == pytest.approx(A, rel=1e-8)


def test_errors_are_as_large_as_stated_and_as_the_bound() -> None:
    """500 traces: normalised errors of f0, Q, A and bandwidth have variance 1.

    Half of them on a lopsided grid, where f0 and Q correlate. A variance of 500
    normal draws is known to sqrt(2/500) = 6.3 %; four of those. With 58 degrees of
    freedom Student's t widens it by 58/56.
    """
    rng, f = np.random.default_rng(4), grid(61, shift=2.5)
    scores = []
    for _ in range(500):
        found = fit(noisy(rng, f, 0.01 * A), response=Peak())
        scores.append(
            [
                (found.resonant_frequency_hz - F0) / found.u_resonant_frequency_hz,
                (found.loaded_q - Q) / found.u_loaded_q,
                (found.amplitude_v - A) / found.u_amplitude_v,
                (found.bandwidth_hz - F0 / Q) / found.u_bandwidth_hz,
            ]
        )
    variance = np.mean(np.square(scores), axis=0)
    assert variance == pytest.approx(np.full(4, 58 / 56), abs=4 * math.sqrt(2 / 500))


def test_covariance_is_that_of_many_fits() -> None:
    """The correlation of f0 and Q, of Q and A: Monte Carlo of 800 traces."""
    rng, f = np.random.default_rng(5), grid(61, 3.0, shift=2.4)
    rows = []
    for _ in range(800):
        found = fit(noisy(rng, f, 0.005 * A), response=Peak())
        rows.append([found.resonant_frequency_hz, found.loaded_q, found.amplitude_v])
    u = np.sqrt(np.diagonal(found.covariance))
    stated = found.covariance / np.outer(u, u)
    # A correlation r of n pairs is known to (1 - r^2)/sqrt(n) < 0.036.
    assert np.corrcoef(np.array(rows).T) == pytest.approx(stated, abs=4 * 0.036)
    assert abs(stated[0, 1]) > 0.2  # there is something to see


def test_what_noise_adds_to_q_and_height_is_taken_off_once() -> None:
    """21 readings at SNR 33, 300 pairs: no bias is left, within four standard errors.

    Noise makes ln Q too large by 6e-4, and its scatter of 3.9 % makes the mean of Q
    larger by half its square, 8e-4, once more; ln A the like, 4e-4 and 2e-4. In noise
    and its mirror image together the first order cancels: 300 pairs see these terms at
    five and six standard errors, and at seven and four.
    """
    rng, f, sigma = np.random.default_rng(11), grid(21, shift=0.7), 0.03 * A
    clean, off = tank(f), []
    for _ in range(300):
        noise = rng.normal(0, sigma, f.size)
        pair = [
            fit(
                Trace(frequency_hz=f, amplitude_v=np.abs(clean + one)),
                response=Peak(),
                refuse_glitches=False,
            )
            for one in (noise, -noise)
        ]
        off.append(
            (
                sum(one.loaded_q for one in pair) / (2.0 * Q) - 1.0,
                sum(one.amplitude_v for one in pair) / (2.0 * A) - 1.0,
            )
        )
    left, spread = np.mean(off, axis=0), np.std(off, axis=0) / 300**0.5
    assert np.all(np.abs(left) < 4.0 * spread)
    assert np.all(spread < (1.5e-4, 0.65e-4))


def test_f0_bandwidth_and_q_agree() -> None:
    """The bandwidth is f0/Q, and its uncertainty by JCGM 100:2008, equation 16."""
    found = fit(noisy(np.random.default_rng(7), grid(shift=2), 0.004), response=Peak())
    assert found.bandwidth_hz == pytest.approx(
        found.resonant_frequency_hz / found.loaded_q, rel=1e-14
    )
    c = np.array([1 / found.loaded_q, -found.bandwidth_hz / found.loaded_q])
    u2 = c @ found.covariance[:2, :2] @ c
    assert found.u_bandwidth_hz == pytest.approx(math.sqrt(u2), rel=1e-12)


def test_the_curve_and_the_residuals_are_those_of_the_numbers() -> None:
    """A residual is reading - curve at the stated f0, Q and A."""
    trace = noisy(np.random.default_rng(8), grid(), 0.004)
    found = fit(trace, response=Peak())
    x = trace.frequency_hz / found.resonant_frequency_hz
    curve = found.amplitude_v / np.sqrt(1 + (found.loaded_q * (x - 1 / x)) ** 2)
    assert found.amplitude_at(trace.frequency_hz) == pytest.approx(curve)
    assert found.residual_v == pytest.approx(trace.amplitude_v - curve, abs=1e-12)


def test_stated_noise_sets_uncertainty_and_chi2() -> None:
    """Halving the stated noise halves u and quadruples chi-squared."""
    f = grid()
    v = tank(f) + np.random.default_rng(9).normal(0, 0.004, f.size)
    results = [
        fit(
            Trace(frequency_hz=f, amplitude_v=v, u_amplitude_v=np.full(f.size, u)),
            response=Peak(),
        )
        for u in (0.004, 0.002)
    ]
    assert results[0].noise_source is NoiseSource.GIVEN
    assert math.isinf(results[0].degrees_of_freedom)
    # The correction of bias differs by its second order in the noise.
    assert results[0].u_loaded_q == pytest.approx(2 * results[1].u_loaded_q, rel=1e-3)
    assert results[0].reduced_chi2 is not None
    assert results[1].reduced_chi2 == pytest.approx(4 * results[0].reduced_chi2)
    assert Flag.CHI2_HIGH in results[1].flags
    assert Flag.CHI2_HIGH not in results[0].flags


def test_noise_from_residuals_says_so() -> None:
    """58 degrees of freedom, Student's t of 2.0017 at 95 % (tables, from memory)."""
    found = fit(noisy(np.random.default_rng(10), grid(), 0.004), response=Peak())
    assert found.noise_source is NoiseSource.RESIDUALS
    assert found.degrees_of_freedom == 58
    assert found.coverage_factor(0.95) == pytest.approx(2.0017, abs=1e-4)
    assert found.noise_v == pytest.approx(0.004, rel=4 / math.sqrt(2 * 58))
    assert found.reduced_chi2 == pytest.approx(1.0)


def test_known_noise_expands_by_the_normal_factor() -> None:
    """1.95996 at 95 % (tables, from memory)."""
    trace = noisy(np.random.default_rng(10), grid(), 0.004)
    found = fit(trace, response=Peak(), noise=NoiseModel(constant_v=0.004))
    assert found.noise_source is NoiseSource.MODEL
    assert found.coverage_factor(0.95) == pytest.approx(1.95996, abs=1e-5)


def test_weights_of_a_noise_in_proportion_gain_efficiency() -> None:
    """Noise of 8 % of each reading: told so, Q errs as the best linear estimator.

    That one knows the truth: d ln V is q of f0 in half-bandwidths and -q^2 of ln Q,
    both over 1 + q^2, and 1 of ln A.
    """
    rng, f = np.random.default_rng(11), grid()
    q = Q * (f / F0 - F0 / f)
    j = np.stack((-(q**2) / (1 + q**2), q / (1 + q**2), np.ones(q.size)))
    best = np.linalg.inv(j @ j.T) @ j
    got, least = [], []
    for _ in range(200):
        noise = rng.normal(0, 0.08, f.size)
        trace = Trace(frequency_hz=f, amplitude_v=tank(f) * (1 + noise))
        model = NoiseModel(proportional=1.0, scale_known=False)
        found = fit(trace, response=Peak(), noise=model)
        got.append([found.loaded_q / Q - 1, found.amplitude_v / A - 1])
        least.append((best @ noise)[[0, 2]])
    # Equal weights would scatter by half as much again, so 5 % tells them apart.
    scatter = np.std(least, axis=0)
    assert np.std(got, axis=0) == pytest.approx(scatter, rel=0.05)
    # Weights by the readings themselves would draw A down by 2 sigma^2: 0.5 of this.
    assert np.all(np.abs(np.mean(np.subtract(got, least), axis=0)) < 0.15 * scatter)


def test_repeats_tell_the_noise_where_there_are_enough() -> None:
    """20 frequencies read four times: 60 degrees of freedom among repeats."""
    f = np.repeat(grid(20), 4)
    found = fit(noisy(np.random.default_rng(12), f, 0.004), response=Peak())
    assert found.noise_source is NoiseSource.REPLICATES
    assert found.degrees_of_freedom == 60


def test_repeats_that_a_display_makes_equal_tell_no_noise() -> None:
    """Steps of 1/100 of the peak over noise of 1/400: most repeats agree."""
    f = np.repeat(grid(20), 4)
    v = tank(f) + np.random.default_rng(12).normal(0, A / 400, f.size)
    v = np.round(v / (A / 100)) * (A / 100)
    found = fit(Trace(frequency_hz=f, amplitude_v=v), response=Peak())
    assert found.noise_source is NoiseSource.RESIDUALS


def test_the_half_power_points_stand_beside_the_fit() -> None:
    """On a clean dense trace they say the same: Q = f0/(f2 - f1) is exact."""
    f = grid(401)
    found = fit(Trace(frequency_hz=f, amplitude_v=tank(f)), response=Peak())
    assert found.half_power is not None
    assert found.half_power.loaded_q == pytest.approx(found.loaded_q, rel=1e-3)


def test_missing_half_power_points_are_explained() -> None:
    """A sweep that ends above 0.71 says which side."""
    f = F0 * np.exp(np.arcsinh(np.linspace(-0.9, 5, 61) / (2 * Q)))
    found = fit(Trace(frequency_hz=f, amplitude_v=tank(f)), response=Peak())
    assert found.half_power is None
    assert "below" in found.half_power_missing
    assert Flag.NOT_BRACKETED in found.flags


@pytest.mark.parametrize(
    ("n", "words"), [(2, "take at least 4"), (3, "state u_amplitude_v")]
)
def test_too_few_readings_are_refused(n: int, words: str) -> None:
    """With numbers and what to do."""
    f = grid(61)[::20][:n]
    trace = Trace(frequency_hz=f, amplitude_v=tank(f))
    with pytest.raises(FitError, match=words):
        fit(trace, response=Peak())


def test_three_readings_and_their_noise_are_enough() -> None:
    """No degree of freedom is left, so there is no chi-squared."""
    f = F0 * (1.0 + np.array([-1.0, 0.1, 1.2]) / (2 * Q))
    trace = Trace(frequency_hz=f, amplitude_v=tank(f), u_amplitude_v=np.full(3, 1e-3))
    found = fit(trace, response=Peak())
    assert found.loaded_q == pytest.approx(Q, rel=1e-4)
    assert found.reduced_chi2 is None


@given(
    frequency=st.lists(st.floats(1.0, 1e9), min_size=0, max_size=12),
    seed=st.integers(0, 999),
    kind=st.sampled_from(["zero", "constant", "random", "huge", "tiny"]),
)
@settings(max_examples=150)
def test_nothing_but_the_packages_own_errors_comes_out(
    frequency: list[float], seed: int, kind: str
) -> None:
    """Whatever the readings, with every family left open."""
    draw = np.random.default_rng(seed).random(len(frequency))
    v = {
        "zero": 0 * draw,
        "constant": 0 * draw + 0.3,
        "random": draw,
        "huge": 1e300 * draw,
        "tiny": 1e-300 * draw,
    }[kind]
    with contextlib.suppress(HalfpowerError):
        fit(Trace(frequency_hz=np.array(frequency), amplitude_v=v))
