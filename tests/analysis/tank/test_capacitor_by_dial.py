"""A capacitor by a dial, against the circuit written out in complex arithmetic."""

import math

import numpy as np
import pytest

from halfpower.analysis import Quantity, Stated
from halfpower.analysis.fitting import CapacitanceFit, fit_in_capacitance
from halfpower.analysis.tank import Dial, deduce_by_dial

EXACT = Stated(value=0.0)
FREQUENCY_HZ = 10e6
OMEGA = 2.0 * math.pi * FREQUENCY_HZ
COIL_S = 1.0 / (1.2 + 1j * OMEGA * 0.9e-6)  # Q = 47: 282 pF of tank
OTHER_F, OTHER_LOSS = 100e-12, 1e-3


def turned(*, loss: float, inductance_h: float, other: bool) -> CapacitanceFit:
    """Turn the dial through the peak of a current-driven tank, and fit it."""

    def amplitude(shown_f: np.ndarray) -> np.ndarray:
        own = 1.0 / (1j * OMEGA * shown_f + OMEGA * shown_f * loss)
        siemens = COIL_S + 1.0 / (own + 1j * OMEGA * inductance_h)
        if other:
            siemens = siemens + OMEGA * OTHER_F * (1j + OTHER_LOSS)
        result: np.ndarray = 1.0 / np.abs(siemens)
        return result

    coarse = np.linspace(50e-12, 350e-12, 300_001)
    high = coarse[amplitude(coarse) > 0.6 * amplitude(coarse).max()]
    fine = np.linspace(high[0], high[-1], 61)
    wobble = 1.0 + 1e-7 * (-1.0) ** np.arange(61)
    return fit_in_capacitance(fine, amplitude_v=amplitude(fine) * wobble)


def deduced(
    *, loss: float, inductance_h: float, linearity: Stated = EXACT
) -> dict[str, Quantity]:
    """Deduce the other capacitor from both peaks."""
    found = deduce_by_dial(
        Dial(
            scale_error=EXACT,
            loss=Stated(value=loss),
            inductance_h=Stated(value=inductance_h),
        ),
        frequency_hz=FREQUENCY_HZ,
        reference=turned(loss=loss, inductance_h=inductance_h, other=False),
        unknown=turned(loss=loss, inductance_h=inductance_h, other=True),
        linearity=linearity,
    )
    return {one.name: one for one in found}


@pytest.mark.parametrize(
    ("loss", "inductance_h"), [(0.0, 0.0), (1e-3, 0.0), (0.0, 20e-9)]
)
def test_the_dial_s_own_loss_and_inductance_are_taken_off(
    loss: float, inductance_h: float
) -> None:
    """C to 1e-4 and D to 2 %, where either of them would spoil D by its own size.

    100 pF of the dial's D = 1e-3 go as 100 pF of the unknown come, so its loss counts
    in full. 20 nH add 2.2 % to the dial's 275 pF and 1.4 % to its 179 pF: for each
    power of that forgotten, the widths of 6 pF differ by 0.05 pF more, half of the
    0.1 pF that the unknown's loss makes.
    """
    found = deduced(loss=loss, inductance_h=inductance_h)
    assert found["capacitance"].value == pytest.approx(OTHER_F, rel=1e-4, abs=0.0)
    assert found["dissipation_factor"].value == pytest.approx(OTHER_LOSS, rel=0.02)


def test_a_detector_s_error_counts_twice_in_a_width() -> None:
    """A half-width is a ratio's square: 1 % of detector is 2 % of what widened it."""
    found = deduced(loss=0.0, inductance_h=0.0, linearity=Stated(value=0.0, u=0.01))[
        "dissipation_factor"
    ]
    assert found.standard_uncertainty == pytest.approx(0.02 * OTHER_LOSS, rel=0.02)
