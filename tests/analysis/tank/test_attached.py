"""When a loss is a value, when it is a bound, and when it cannot be."""

from dataclasses import replace
from statistics import NormalDist

import pytest

from halfpower.analysis import AnalysisError, Quantity
from halfpower.analysis.tank import bound_of
from halfpower.analysis.tank.attached import loss_of, refuse_gain, refuse_none
from halfpower.analysis.tank.shunt import Shunt

U = 1e-4


def loss(value: float) -> Quantity:
    """Give a dissipation factor of so many standard uncertainties."""
    return Quantity(
        name="dissipation_factor", value=value * U, unit="1", standard_uncertainty=U
    )


@pytest.mark.parametrize("value", [-3.9, 0.0, 2.1, 2.9])
def test_a_loss_below_three_uncertainties_is_a_bound(value: float) -> None:
    """One part without loss in 740 stands above three: below that there is no value.

    The bound is the 95 % quantile of a normal distribution cut off at zero (JCGM 106,
    7.2), here by the standard library's arithmetic.
    """
    normal = NormalDist(value, 1.0)
    below = normal.cdf(0.0)
    expected = normal.inv_cdf(below + 0.95 * (1.0 - below)) * U
    assert bound_of(loss(value)) == pytest.approx(expected, rel=1e-6, abs=0.0)


@pytest.mark.parametrize("value", [3.1, 3.5, 30.0])
def test_a_loss_above_three_uncertainties_is_a_value(value: float) -> None:
    """It needs no bound."""
    assert bound_of(loss(value)) is None


def test_four_uncertainties_below_zero_are_no_chance() -> None:
    """One part without loss in 31 000 stands below -4; -3.9 is let pass, as a bound."""
    refuse_gain([loss(-2.1)])
    refuse_gain([loss(-3.9)])
    said = r"D would be -0\.00041 ± 0\.0002\), .* repeat both"  # U = 2 u
    with pytest.raises(AnalysisError, match=said):
        refuse_gain([loss(-4.1)])


def test_a_loss_is_its_conductance_over_its_susceptance() -> None:
    """D = G/(wC); the same impedance in series has R = Re 1/(G + jwC).

    Complex arithmetic: 100 pF with 0.5 mS at 1 Mrad/s, D = 5, where D^2 counts.
    """
    got = loss_of(Shunt(capacitance_f=1e-10, conductance_s=5e-4), omega=1e6)
    assert got["capacitance"] == 1e-10
    assert got["dissipation_factor"] == pytest.approx(5.0)
    assert got["series_resistance"] == pytest.approx((1.0 / (5e-4 + 1e-4j)).real)


@pytest.mark.parametrize(("value", "bound"), [(2e-3, None), (0.0, 0.0), (-1e-3, 0.0)])
def test_an_exact_loss_is_what_it_is(value: float, bound: float | None) -> None:
    """Without doubt: a value above zero, else none at all."""
    exact = Quantity(
        name="dissipation_factor", value=value, unit="1", standard_uncertainty=0.0
    )
    assert bound_of(exact) == bound


def test_a_capacitance_that_reaches_zero_is_refused() -> None:
    """Its interval says so, in pF and with U = 2 u; clear of zero it passes."""
    doubtful = Quantity(
        name="capacitance",
        value=1e-12,
        unit="F",
        standard_uncertainty=0.6e-12,
        interval=(0.0, 2e-12),
    )
    with pytest.raises(AnalysisError, match=r"as 1 pF, uncertain by 1\.2 pF"):
        refuse_none([loss(1.0), doubtful])
    refuse_none([replace(doubtful, interval=(1e-15, 2e-12))])
