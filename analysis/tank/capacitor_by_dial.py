"""A capacitor by a calibrated variable one, at one frequency.

The tank is turned to resonance without and with the unknown across it. The response
over the capacitor is a Lorentzian whose half-width is the whole conductance over w, so
the coil drops out:

    Cx = C1 - C2,        D = (h2 - h1)/Cx + Dv,

h the half-widths and Dv the variable capacitor's own dissipation factor, whose part the
unknown takes the place of. Its lead inductance Lv makes C/(1 - w^2 Lv C) of C.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ..errors import AnalysisError
from ..fitting import CapacitanceFit
from ..quantity import Stated
from ..uncertainty import Deduced, propagate
from .attached import REFERENCE, UNKNOWN, loss_of, refuse_gain, refuse_none, step_pairs
from .shunt import Shunt

__all__ = ["Dial", "deduce_by_dial"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Dial:
    """A calibrated variable capacitor, as far as it is known.

    Attributes
    ----------
    scale_error
        Relative error of its dial: zero, with its doubt.
    loss
        Its dissipation factor.
    inductance_h
        Of its leads and plates, in H.
    """

    scale_error: Stated
    loss: Stated
    inductance_h: Stated

    @property
    def stated(self) -> dict[str, Stated]:
        """The inputs by the names that a budget shows."""
        return {
            "variable capacitor's scale": self.scale_error,
            "variable capacitor's loss": self.loss,
            "variable capacitor's inductance": self.inductance_h,
        }


def deduce_by_dial(
    dial: Dial,
    *,
    frequency_hz: float,
    reference: CapacitanceFit,
    unknown: CapacitanceFit,
    linearity: Stated,
) -> tuple[Deduced, ...]:
    """Deduce a capacitor from two settings of a variable one at one frequency.

    Parameters
    ----------
    dial
        The variable capacitor.
    frequency_hz
        The generator's, in Hz.
    reference, unknown
        The fits over the dial without the unknown and with it.
    linearity
        Relative error of a ratio of two readings: zero, with its doubt.

    Returns
    -------
    tuple of Deduced
        In the order of `CAPACITOR_UNITS`.

    Raises
    ------
    AnalysisError
        The dial had to be turned up, or the loss fell, when it was attached.
    """
    omega = 2.0 * math.pi * frequency_hz

    def true(inputs: Mapping[str, Any], step: str) -> tuple[Any, Any]:
        shown = inputs[f"resonant_capacitance, {step}"]
        # A ratio of readings that is wrong by e moves the half-width by -2e.
        quality = inputs[f"loaded_q, {step}"] * (
            1.0 + 2.0 * inputs["detector linearity"]
        )
        scaled = shown * (1.0 + inputs["variable capacitor's scale"])
        rise = 1.0 - omega**2 * inputs["variable capacitor's inductance"] * scaled
        return scaled / rise, scaled / quality / rise**2

    def deduction(inputs: Mapping[str, Any]) -> Mapping[str, Any]:
        (first, width), (second, wider) = (
            true(inputs, step) for step in (REFERENCE, UNKNOWN)
        )
        farad = first - second
        own = inputs["variable capacitor's loss"] * farad
        attached = Shunt(
            capacitance_f=farad, conductance_s=omega * (wider - width + own)
        )
        return loss_of(attached, omega=omega)

    if unknown.resonant_capacitance_f >= reference.resonant_capacitance_f:
        raise AnalysisError(
            "with the unknown attached the dial stands at "
            f"{unknown.resonant_capacitance_f * 1e12:.5g} pF in resonance, not below "
            f"the {reference.resonant_capacitance_f * 1e12:.5g} pF without it, so no "
            "capacitance was added; see that it is attached, and that it is a capacitor"
        )
    found = propagate(
        deduction,
        stated={**dial.stated, "detector linearity": linearity},
        measured=step_pairs(
            {REFERENCE: reference.resonance, UNKNOWN: unknown.resonance}
        ),
    )
    refuse_none(found)
    refuse_gain(found)
    return found
