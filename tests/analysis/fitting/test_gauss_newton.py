"""The minimiser: it ends at the minimum, and its bias is the one that is seen."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from halfpower.analysis import FitError, Peak
from halfpower.analysis.fitting.gauss_newton import (
    LOWEST_Q,
    minimise,
    second_order_bias,
)

F = 1e6 * np.exp(np.arcsinh(np.linspace(-10.0, 10.0, 15) / 200.0))
TRUTH = np.array([1e6, 100.0, 1.0])
CLEAN = Peak().amplitude(F, TRUTH)
ONE = np.ones(F.size)


@pytest.mark.parametrize("start", [[1.004e6, 30.0, 0.5], [0.999e6, 400.0, 3.0]])
def test_the_minimum_is_the_one_another_minimiser_finds(start: list[float]) -> None:
    """As does a trust region (scipy), on the same residuals, from the truth."""
    v = CLEAN + np.random.default_rng(1).normal(0.0, 0.02, F.size)
    found = minimise(Peak(), np.array(start), frequency_hz=F, amplitude_v=v, weight=ONE)
    theirs = least_squares(
        lambda p: v - Peak().amplitude(F, TRUTH * p), np.ones(3), xtol=1e-14, ftol=1e-14
    )
    assert found.settled
    assert found.cost == pytest.approx(2.0 * theirs.cost, rel=1e-9)
    assert found.parameters == pytest.approx(TRUTH * theirs.x, rel=1e-6)


def test_exact_readings_end_at_the_exact_parameters() -> None:
    """To rounding, from a start ten half-bandwidths away."""
    start = np.array([1.05e6, 20.0, 0.2])
    found = minimise(Peak(), start, frequency_hz=F, amplitude_v=CLEAN, weight=ONE)
    assert found.parameters == pytest.approx(TRUTH, rel=1e-12)


def test_bias_of_second_order_is_the_one_that_is_seen() -> None:
    """Mean error of ln Q and ln A over 500 pairs of fits, within four standard errors.

    A noise and its mirror image: what is odd in it cancels, and the bias stands at ten
    standard errors and more, so that neither half of it nor twice it would pass.
    """
    rng = np.random.default_rng(2)
    sigma, errors = 0.03, []
    for _ in range(500):
        noise = rng.normal(0.0, sigma, F.size)
        pair = [
            minimise(
                Peak(), TRUTH, frequency_hz=F, amplitude_v=CLEAN + one, weight=ONE
            ).parameters[1:]
            for one in (noise, -noise)
        ]
        errors.append(np.mean(np.log(pair / TRUTH[1:]), axis=0))
    exact = minimise(Peak(), TRUTH, frequency_hz=F, amplitude_v=CLEAN, weight=ONE)
    bias = second_order_bias(
        Peak(), exact, frequency_hz=F, weight=ONE, variance=sigma**2
    )[1:]
    seen, spread = np.mean(errors, axis=0), np.std(errors, axis=0) / 500**0.5
    assert np.all(np.abs(bias) > 10.0 * spread)  # there is something to see
    assert np.all(np.abs(seen - bias) < 4.0 * spread)


def test_readings_that_leave_a_parameter_open_are_refused() -> None:
    """All at one frequency: f0 and Q can be anything."""
    f = np.full(5, 1e6)
    with pytest.raises(FitError, match="undetermined"):
        minimise(Peak(), TRUTH, frequency_hz=f, amplitude_v=ONE[:5], weight=ONE[:5])


def test_weights_and_the_inverse_normal_are_the_other_minimiser_s() -> None:
    """Uneven weights: minimum, cost, covariance and curve as scipy's, within 1e-5.

    Its Jacobian, of forward differences, is good to 1e-7 of itself; per step of f0 (a
    half-bandwidth), ln Q and ln A it is that of the parameters times their scale.
    """
    rng = np.random.default_rng(3)
    weight = rng.uniform(0.2, 5.0, F.size)
    v = CLEAN + rng.normal(0.0, 0.02, F.size) / np.sqrt(weight)
    start = np.array([1.004e6, 30.0, 0.5])
    found = minimise(Peak(), start, frequency_hz=F, amplitude_v=v, weight=weight)
    theirs = least_squares(
        lambda p: np.sqrt(weight) * (v - Peak().amplitude(F, TRUTH * p)),
        np.ones(3),
        jac="3-point",
        xtol=1e-14,
        ftol=1e-14,
    )
    assert found.settled
    assert found.cost == pytest.approx(2.0 * theirs.cost, rel=1e-9)
    assert found.parameters == pytest.approx(TRUTH * theirs.x, rel=1e-6)
    assert found.amplitude_v == pytest.approx(Peak().amplitude(F, found.parameters))
    per_step = (
        np.array([0.5 * theirs.x[0] / found.parameters[1], *theirs.x[1:]]) * theirs.jac
    )
    assert found.slopes * np.sqrt(weight) == pytest.approx(-per_step.T, abs=1e-5)
    expected = np.linalg.inv(per_step.T @ per_step)
    assert found.inverse_normal == pytest.approx(expected, rel=1e-5, abs=1e-7)


def test_too_few_steps_are_said() -> None:
    """Steps run out far from the minimum: not settled, and no worse than the start."""
    start = np.array([1.004e6, 30.0, 0.5])
    cost = float(np.sum((CLEAN - Peak().amplitude(F, start)) ** 2))
    found = minimise(
        Peak(), start, frequency_hz=F, amplitude_v=CLEAN, weight=ONE, max_steps=3
    )
    assert not found.settled
    assert found.cost < cost


def test_readings_of_no_weight_leave_all_open() -> None:
    """No covariance can be made of them."""
    with pytest.raises(FitError, match="undetermined"):
        minimise(
            Peak(),
            TRUTH,
            frequency_hz=F,
            amplitude_v=CLEAN,
            weight=0.0 * ONE,
            max_steps=0,
        )


def test_a_curve_that_would_be_ever_wider_does_not_settle() -> None:
    """A dip, which no peak fits: Q falls to where a curve is no resonance's."""
    f = np.linspace(0.9e6, 1.1e6, 21)
    found = minimise(
        Peak(),
        np.array([1e6, 1.0, 1.0]),
        frequency_hz=f,
        amplitude_v=1.0 + ((f - 1e6) / 1e5) ** 2,
        weight=np.ones(21),
    )
    assert found.parameters[1] == pytest.approx(LOWEST_Q, rel=1e-2)
    assert not found.settled
