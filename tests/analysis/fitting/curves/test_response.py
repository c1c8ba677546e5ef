"""Response families: their shape against complex arithmetic, their slopes."""

import numpy as np
import pytest

from halfpower.analysis import InputError, LeakyPeak, Notch, Peak, PeakOnFloor, Response
from halfpower.analysis.fitting import PeakInCapacitance
from halfpower.analysis.fitting.circuit import Circuit, KnownElements
from halfpower.analysis.fitting.curves import TwoPeaks

F0, Q, A = 7.1e6, 40.0, 0.3
F = F0 * (1.0 + np.linspace(-6.0, 7.0, 31) / (2.0 * Q))
J = 1j * Q * (F / F0 - F0 / F)

FAMILIES: list[tuple[Response, list[float]]] = [
    (Peak(), []),
    (Peak(exponent=2.0), []),
    (PeakOnFloor(exponent=1.0), [0.004]),
    (LeakyPeak(exponent=-1.0), [0.06, 0.01]),
    (Notch(), [0.2]),
    (TwoPeaks(exponent=1.0), [0.03, 3.9, 0.3, 0.2]),
    (PeakInCapacitance(), []),
    (Circuit(known=KnownElements(capacitance_f=1e-10, source_resistance_ohm=1e5)), []),
]


@pytest.mark.parametrize(("family", "extra"), FAMILIES)
def test_slopes_are_those_of_the_curve(family: Response, extra: list[float]) -> None:
    """Each slope is the central difference; its rounding is 1e-10."""
    at = np.array([F0, Q, A, *extra])
    value, slopes = family.amplitude_and_slopes(F, at)
    assert value == pytest.approx(family.amplitude(F, at), rel=1e-12)
    for i in range(at.size):
        step = np.zeros(at.size)
        step[i] = 1e-6
        up = family.amplitude(F, family.step(at, step))
        down = family.amplitude(F, family.step(at, -step))
        assert slopes[i] == pytest.approx((up - down) / 2e-6, abs=1e-8 * A)


@pytest.mark.parametrize(("family", "extra"), FAMILIES)
def test_a_step_and_its_scale_agree(family: Response, extra: list[float]) -> None:
    """A small step moves each parameter by its scale."""
    at = np.array([F0, Q, A, *extra])
    for i in range(at.size):
        step = np.zeros(at.size)
        step[i] = 1e-6
        moved = (family.step(at, step) - at)[i]
        # second order in 1e-6, and rounding of f0: 1e-16 against 1e-8
        assert moved == pytest.approx(1e-6 * family.scale(at)[i], rel=1e-5)


def test_a_peak_is_a_tank_in_phasors() -> None:
    """A x^k |1/(1 + jQt)|, by complex arithmetic."""
    seen = Peak(exponent=1.0).amplitude(F, np.array([F0, Q, A]))
    assert seen == pytest.approx(A * F / F0 * np.abs(1 / (1 + J)), rel=1e-12)


def test_a_floor_adds_power() -> None:
    """Powers add: V^2 = peak^2 + B."""
    seen = PeakOnFloor().amplitude(F, np.array([F0, Q, A, 0.01]))
    assert seen**2 == pytest.approx(np.abs(A / (1 + J)) ** 2 + 0.01, rel=1e-12)


@pytest.mark.parametrize("c", [0.1 + 0.05j, -0.08 - 0.02j, 0.15j])
def test_leakage_adds_as_a_phasor(c: complex) -> None:
    """The lopsided curve is |H/(1 + jq) + H c|, and leads back to c."""
    h = 0.25
    inverse = 1.0 / abs(1 + c) ** 2
    s = -c.imag * inverse
    w = abs(c) ** 2 * inverse - s * s
    at = np.array([F0, Q, h * abs(1 + c), s, w])
    assert LeakyPeak().amplitude(F, at) == pytest.approx(
        np.abs(h / (1 + J) + h * c), rel=1e-12
    )
    assert min(abs(found - c) for found in LeakyPeak().leakage(at)) < 1e-7


def test_both_leakages_make_the_same_curve() -> None:
    """A detector of amplitude cannot tell the two apart."""
    at = np.array([F0, Q, A, 0.06, 0.01])
    curves = []
    for c in LeakyPeak().leakage(at):
        h = A / abs(1 + c)
        curves.append(np.abs(h / (1 + J) + h * c))
    assert curves[0] == pytest.approx(curves[1], rel=1e-9)


def test_two_peaks_add_as_phasors() -> None:
    """The sum of two tanks, by complex arithmetic."""
    f2, q2, c = F0 * 1.03, 50.0, 0.3 + 0.2j
    other = 1j * q2 * (F / f2 - f2 / F)
    at = np.array([F0, Q, A, np.log(f2 / F0), np.log(q2), c.real, c.imag])
    seen = TwoPeaks().amplitude(F, at)
    assert seen == pytest.approx(A * np.abs(1 / (1 + J) + c / (1 + other)), rel=1e-12)


def test_detuning_is_one_at_the_half_power_points() -> None:
    """At f0 (sqrt(1 + 1/4Q^2) +/- 1/2Q), exactly: a quadratic in f."""
    edge = F0 * (np.sqrt(1 + 1 / (4 * Q**2)) + np.array([-1, 1]) / (2 * Q))
    at = np.array([F0, Q, A])
    assert Peak().detuning(edge, at) == pytest.approx([-1.0, 1.0], rel=1e-12)
    assert Peak().amplitude(edge, at) == pytest.approx(A / np.sqrt(2), rel=1e-12)


def test_an_exponent_of_no_fixture_is_refused() -> None:
    """An exponent of 7 is a slip."""
    with pytest.raises(InputError, match="exponent"):
        Peak(exponent=7.0)
