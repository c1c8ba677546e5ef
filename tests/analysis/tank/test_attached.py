"""When a loss is a value, when it is a bound, and when it cannot be."""

from statistics import NormalDist

import pytest

from halfpower.analysis import AnalysisError, Quantity
from halfpower.analysis.tank import bound_of
from halfpower.analysis.tank.attached import refuse_gain

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
    with pytest.raises(AnalysisError, match="repeat both"):
        refuse_gain([loss(-4.1)])
