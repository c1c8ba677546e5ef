"""A fitted resonance with the instruments' errors put on it."""

import math

import numpy as np
import pytest

from halfpower.analysis import Peak, Stated, Trace, fit
from halfpower.analysis.fitting.resonance import ResonanceFit
from halfpower.analysis.quantity import Quantity
from halfpower.analysis.tank import (
    RESONANCE_UNITS,
    Resonance,
    deduce_resonance,
    measured_pair,
)
from halfpower.analysis.tank.correction import corrected

EXACT = Stated(value=0.0)


@pytest.fixture(scope="module")
def found() -> ResonanceFit:
    """The fit of an invented tank: 7 MHz, Q = 150, 61 readings with 0.5 % noise."""
    rng = np.random.default_rng(11)
    x = 1.0 + np.linspace(-3.0, 3.0, 61) / 300.0
    amplitude = x / np.sqrt(1.0 + (150.0 * (x - 1.0 / x)) ** 2)
    noisy = amplitude * (1.0 + 0.005 * rng.standard_normal(61))
    return fit(
        Trace(frequency_hz=7e6 * x, amplitude_v=noisy), response=Peak(exponent=1.0)
    )


def deduced(
    found: ResonanceFit, *, reference: Stated = EXACT, linearity: Stated = EXACT
) -> dict[str, Quantity]:
    """The results by their names."""
    results = deduce_resonance(
        found, frequency_reference=reference, linearity=linearity, loss_exponent=EXACT
    )
    return {one.name: one for one in results}


def test_the_numbers_are_the_fit_s(found: ResonanceFit) -> None:
    """Corrections of zero change no value."""
    got = deduced(found)
    assert tuple(got) == tuple(RESONANCE_UNITS)
    assert got["resonant_frequency"].value == pytest.approx(
        found.resonant_frequency_hz, rel=1e-15
    )
    assert got["loaded_q"].value == pytest.approx(found.loaded_q, rel=1e-15)
    assert got["bandwidth"].value == pytest.approx(found.bandwidth_hz, rel=1e-14)


def test_scatter_alone_leaves_the_fit_s_uncertainty(found: ResonanceFit) -> None:
    """But for Student's t of its 58 degrees of freedom: sqrt(n/(n - 2)) = 1.0177."""
    dof = found.degrees_of_freedom
    wider = math.sqrt(dof / (dof - 2.0))
    got = deduced(found)
    for name, u in (
        ("resonant_frequency", found.u_resonant_frequency_hz),
        ("loaded_q", found.u_loaded_q),
        ("bandwidth", found.u_bandwidth_hz),
    ):
        assert got[name].standard_uncertainty == pytest.approx(u * wider, rel=1e-6)
        assert [part.source for part in got[name].budget] == ["readings and fit"]


def test_the_reference_s_error_goes_into_f0_and_not_into_q(
    found: ResonanceFit,
) -> None:
    """Limits of 20 ppm at 7 MHz are 140 Hz / sqrt(3); Q is a ratio."""
    got = deduced(found, reference=Stated.within(0.0, half_width=20e-6))
    parts = {part.source: part.u for part in got["resonant_frequency"].budget}
    assert parts["frequency reference"] == pytest.approx(
        found.resonant_frequency_hz * 20e-6 / math.sqrt(3.0)
    )
    assert {part.source for part in got["loaded_q"].budget} == {"readings and fit"}


@pytest.mark.parametrize("error", [-0.01, 0.001, 0.01])
def test_a_ratio_wrong_by_e_moves_q_by_two_e(error: float) -> None:
    """Half-power points taken at (1 + e)/sqrt(2) of the peak, on the exact curve.

    There Qt = sqrt(2/(1 + e)^2 - 1), so the Q that is read is Q/Qt; that is
    Q (1 + 2e) to first order, and the second order is below 6 e^2.
    """
    read = 100.0 / math.sqrt(2.0 / (1.0 + error) ** 2 - 1.0)
    right = corrected(
        Resonance(frequency_hz=1e6, loaded_q=100.0),
        frequency_reference=0.0,
        linearity=error,
        loss_exponent=0.0,
    )
    assert right.loaded_q == pytest.approx(read, abs=100.0 * 6.0 * error**2)


def test_the_pair_carries_the_fit_s_covariance(found: ResonanceFit) -> None:
    """f0 and Q in this order, with the degrees of freedom of their noise."""
    resonance = measured_pair(found)
    assert resonance.frequency_hz.column.tolist() == [found.resonant_frequency_hz]
    assert resonance.loaded_q.column.tolist() == [found.loaded_q]
    joint = resonance.loaded_q.joint
    assert joint is resonance.frequency_hz.joint
    assert np.array_equal(joint.covariance[0], found.covariance[:2, :2])
    assert joint.degrees_of_freedom.tolist() == [found.degrees_of_freedom]
