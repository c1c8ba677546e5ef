"""A detector's law from known steps, on laws that are written out here."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import i0e

from halfpower.analysis import AnalysisError, InputError
from halfpower.analysis.detector import LinearityFit, fit_law

Array = NDArray[np.float64]
N_VT = 0.028  # V


def diode_v(peak_v: Array) -> Array:
    """D.c. of an unloaded exponential diode, nVt ln I0(V / nVt)."""
    x = peak_v / N_VT
    # I0 = e^x i0e(x); the logarithm is taken apart so that it does not overflow
    return N_VT * (x + np.log(i0e(x)))


def stepped(
    *, noise_v: float, repeats: int = 8, n_levels: int = 31, seed: int = 1
) -> tuple[Array, Array]:
    """A diode's indications at 1 dB steps down from 1.4 V peak."""
    level = np.repeat(10.0 ** (-np.arange(n_levels) / 20.0), repeats)
    rng = np.random.default_rng(seed)
    return level, diode_v(1.4 * level) + noise_v * rng.standard_normal(level.size)


def ratio_errors(fitted: LinearityFit) -> Array:
    """Relative errors of corrected ratios within 20 dB of the top, off the nodes."""
    share = 10.0 ** (-np.arange(0.37, 19.6, 0.53) / 20.0)
    top = fitted.law.true_from(float(diode_v(np.array([1.4]))[0]))
    read = [fitted.law.true_from(float(one)) for one in diode_v(1.4 * share)]
    return np.array(read) / top / share - 1.0


def test_a_diode_s_law_is_found_from_its_steps() -> None:
    """Without noise, ratios within 20 dB come out to 1e-4; uncorrected 20 % off."""
    level, indicated = stepped(noise_v=0.0)
    fitted = fit_law(level, indicated_v=indicated)
    assert np.abs(ratio_errors(fitted)).max() < 1e-4
    assert fitted.law.uncorrected > 0.2


def test_the_slopes_tell_square_law_from_linear() -> None:
    """Ln I0(x) is x^2/4 below, x above: 2 and 1 (reached as closely as 30 dB goes)."""
    level, indicated = stepped(noise_v=0.0)
    fitted = fit_law(level, indicated_v=indicated)
    assert 1.0 < fitted.flattest < 1.06
    assert 1.6 < fitted.steepest < 2.0


@pytest.mark.parametrize("noise_v", [0.0, 2e-5, 2e-4])
def test_the_left_over_bounds_what_is_left(noise_v: float) -> None:
    """In every one of twenty trials the worst ratio is within it."""
    for seed in range(20):
        level, indicated = stepped(noise_v=noise_v, seed=seed)
        fitted = fit_law(level, indicated_v=indicated)
        assert np.abs(ratio_errors(fitted)).max() <= fitted.left_over


def test_the_left_over_is_no_wild_bound() -> None:
    """0.2 mV averaged 8 times is 0.1 % of the 72 mV at -20 dB; thrice that at least."""
    level, indicated = stepped(noise_v=2e-4)
    assert 1e-4 < fit_law(level, indicated_v=indicated).left_over < 0.005


def test_a_linear_detector_needs_no_correction() -> None:
    """Slope 1 everywhere, and nothing left over."""
    level = np.repeat(np.geomspace(0.03, 1.0, 12), 2)
    fitted = fit_law(level, indicated_v=0.7 * level)
    assert fitted.flattest == pytest.approx(1.0)
    assert fitted.steepest == pytest.approx(1.0)
    assert fitted.left_over < 1e-12
    assert fitted.law.true_from(0.21) == pytest.approx(0.21)


def test_levels_lost_in_noise_are_left_out() -> None:
    """60 dB down a diode indicates 17 uV: lost under 0.1 mV of noise."""
    level, indicated = stepped(noise_v=1e-4, n_levels=61)
    fitted = fit_law(level, indicated_v=np.maximum(indicated, 0.0))
    assert 10 < fitted.n_left_out < 40
    assert len(fitted.law.indicated_v) == 61 - fitted.n_left_out


def test_too_few_levels_above_the_noise_are_refused() -> None:
    """Four of ten."""
    level = np.repeat(10.0 ** (-np.arange(10) / 20.0), 4)
    up_down = np.tile([1.0, -1.0], 20)
    indicated = np.where(level > 0.7, level, 0.5 + 0.4 * up_down)
    with pytest.raises(AnalysisError, match="4 of 10 levels stand above"):
        fit_law(level, indicated_v=indicated)


def test_an_indication_that_stands_still_is_refused() -> None:
    """A detector that is overloaded at the top."""
    level = np.repeat(10.0 ** (-np.arange(12) / 20.0), 2)
    with pytest.raises(AnalysisError, match=r"not more at the next, 1 dB higher"):
        fit_law(level, indicated_v=np.minimum(level, 0.85))


@pytest.mark.parametrize(
    ("level", "indicated"),
    [
        (np.ones(4), np.ones(5)),
        (np.ones((2, 2)), np.ones((2, 2))),
        (np.array([1.0, 0.0]), np.ones(2)),
        (np.ones(2), np.array([1.0, math.nan])),
    ],
)
def test_columns_that_do_not_belong_together_are_refused(
    level: Array, indicated: Array
) -> None:
    """As many levels as readings, above zero and finite."""
    with pytest.raises(InputError):
        fit_law(level, indicated_v=indicated)
