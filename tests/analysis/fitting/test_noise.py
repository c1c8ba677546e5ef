"""Noise models: their sum of squares, and what repeats tell."""

import math

import numpy as np
import pytest

from halfpower.analysis import InputError, Trace
from halfpower.analysis.fitting.noise import NoiseModel, NoiseSource
from halfpower.analysis.fitting.noise import replicate_degrees_of_freedom as repeats_of


def repeated(rng: np.random.Generator, noise: NoiseModel, each: int) -> Trace:
    """Return readings of a peak, each frequency read several times."""
    f = np.repeat(np.linspace(0.98e6, 1.02e6, 21), each)
    v = 1.0 / np.sqrt(1.0 + (100.0 * (f / 1e6 - 1.0)) ** 2)
    return Trace(frequency_hz=f, amplitude_v=v + rng.normal(0.0, noise.u_v(v)))


def test_shares_add_in_quadrature() -> None:
    """3-4-12-13: constant 3, 2 % of 200 = 4, step 12 sqrt(12)."""
    model = NoiseModel(constant_v=3.0, proportional=0.02, step_v=12.0 * math.sqrt(12))
    assert model.u_v(np.array([200.0]))[0] == pytest.approx(13.0)


def test_a_step_counts_as_a_rectangle() -> None:
    """step/sqrt(12): JCGM 100:2008, F.2.2.1 (from memory)."""
    u = NoiseModel(step_v=0.1).u_v(np.array([1.0]))[0]
    assert u == pytest.approx(0.1 / math.sqrt(12.0))


def test_repeats_show_a_constant_noise() -> None:
    """Within four standard deviations, 1/sqrt(2 dof), of the truth."""
    truth = NoiseModel(constant_v=0.01)
    found = NoiseModel.from_replicates(repeated(np.random.default_rng(1), truth, 10))
    assert found.degrees_of_freedom == 21 * 9
    assert found.source is NoiseSource.REPLICATES
    assert found.proportional == 0.0
    assert found.constant_v == pytest.approx(0.01, rel=4 / math.sqrt(2 * 189))


def test_repeats_show_a_noise_in_proportion() -> None:
    """Noise of 2 % of the reading is told from a constant one."""
    truth = NoiseModel(proportional=0.02)
    found = NoiseModel.from_replicates(repeated(np.random.default_rng(2), truth, 10))
    assert found.u_v(np.array([1.0, 0.5])) == pytest.approx([0.02, 0.01], rel=0.2)


def test_constant_noise_is_seldom_taken_for_proportional() -> None:
    """At the 1 % level: of 200 traces no more than 8 (binomial, 99.9 %)."""
    rng = np.random.default_rng(3)
    truth = NoiseModel(constant_v=0.01)
    found = [NoiseModel.from_replicates(repeated(rng, truth, 3)) for _ in range(200)]
    assert sum(model.proportional > 0.0 for model in found) <= 8


def test_repeats_are_counted_beyond_the_first() -> None:
    """Five readings at two frequencies leave three."""
    f = np.array([1e6, 1e6, 1e6, 2e6, 2e6])
    assert repeats_of(Trace(frequency_hz=f, amplitude_v=f)) == 3


def test_too_few_repeats_are_refused() -> None:
    """Three degrees of freedom tell no noise."""
    f = np.array([1e6, 1e6, 1e6, 2e6, 2e6])
    with pytest.raises(InputError, match="3 degrees of freedom"):
        NoiseModel.from_replicates(Trace(frequency_hz=f, amplitude_v=f))


def test_repeats_that_all_agree_are_refused() -> None:
    """A display too coarse hides the noise."""
    f = np.repeat([1e6, 2e6], 5)
    with pytest.raises(InputError, match="step_v"):
        NoiseModel.from_replicates(Trace(frequency_hz=f, amplitude_v=np.ones(10)))


@pytest.mark.parametrize("figures", [{}, {"constant_v": -1.0}, {"step_v": math.nan}])
def test_an_impossible_model_is_refused(figures: dict[str, float]) -> None:
    """No noise at all, or a negative one."""
    with pytest.raises(InputError):
        NoiseModel(**figures)
