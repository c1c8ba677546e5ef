"""A marking held against a measured value."""

import pytest

from halfpower.analysis.quantity import Judged, Quantity
from halfpower.sweeps.procedures import Marked


@pytest.mark.parametrize(
    ("value_pf", "u_pf", "outcome"),
    [
        (101.0, 1.0, Judged.FITS),  # 101K: 100 pF within 10 %
        (150.0, 1.0, Judged.DOES_NOT_FIT),
        (-0.2, 0.1, Judged.DOES_NOT_FIT),  # an open part: nothing is there
        (-5.0, 60.0, Judged.UNDECIDED),  # 2 u reach 115 pF, above the band's 90 pF
    ],
)
def test_every_measured_value_is_judged(
    value_pf: float, u_pf: float, outcome: Judged
) -> None:
    """Also one that is not above zero, which ended a finished measurement with 2."""
    measured = Quantity(
        name="capacitance",
        value=1e-12 * value_pf,
        unit="F",
        standard_uncertainty=1e-12 * u_pf,
        interval=(1e-12 * (value_pf - 2.0 * u_pf), 1e-12 * (value_pf + 2.0 * u_pf)),
    )
    judged = Marked("101K", "capacitor").judge(measured)
    assert judged.outcome is outcome
    assert judged.text.startswith("Marked '101K': ")
