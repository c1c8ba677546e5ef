"""A capacitor by a calibrated variable one, at one frequency.

The tank is turned to resonance without and with the unknown across it. The response
over the capacitor is a Lorentzian whose half-width is the whole conductance over w, so
the coil drops out:

    Cx = C1 - C2,        D = (h2 - h1)/Cx + Dv,

h the half-widths and Dv the variable capacitor's own dissipation factor, whose part the
unknown takes the place of. Its lead inductance Lv makes C/(1 - w^2 Lv C) of C.
"""

import math
from dataclasses import dataclass, field
from typing import Generic

from ..errors import AnalysisError
from ..fitting import CapacitanceFit
from ..quantity import Quantity, Stated
from ..uncertainty import Known, N, Number, named, propagate
from .attached import (
    CAPACITOR_UNITS,
    REFERENCE,
    UNKNOWN,
    loss_of,
    refuse_gain,
    refuse_none,
)
from .correction import ResonantSetting, measured_setting
from .shunt import Shunt

__all__ = ["Dial", "deduce_by_dial"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Dial(Generic[N]):
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

    scale_error: N = field(metadata=named("variable capacitor's scale"))
    loss: N = field(metadata=named("variable capacitor's loss"))
    inductance_h: N = field(metadata=named("variable capacitor's inductance"))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Turned(Generic[N]):
    """A dial, and its settings in resonance without the unknown and with it."""

    omega: float
    dial: Dial[N]
    linearity: N = field(metadata=named("detector linearity"))
    reference: ResonantSetting[N]
    unknown: ResonantSetting[N]


def _true(at: _Turned[Number], shown: ResonantSetting[Number]) -> tuple[Number, Number]:
    """Give capacitance and half-width, in F, of a setting as the dial shows it."""
    # A ratio of readings that is wrong by e moves the half-width by -2e.
    quality = shown.loaded_q * (1.0 + 2.0 * at.linearity)
    scaled = shown.capacitance_f * (1.0 + at.dial.scale_error)
    rise = 1.0 - at.omega**2 * at.dial.inductance_h * scaled
    return scaled / rise, scaled / quality / rise**2


def _deduction(at: _Turned[Number]) -> dict[str, Number]:
    first, width = _true(at, at.reference)
    second, wider = _true(at, at.unknown)
    farad = first - second
    own = at.dial.loss * farad
    attached = Shunt(
        capacitance_f=farad, conductance_s=at.omega * (wider - width + own)
    )
    return loss_of(attached, omega=at.omega)


def deduce_by_dial(
    dial: Dial,
    *,
    frequency_hz: float,
    reference: CapacitanceFit,
    unknown: CapacitanceFit,
    linearity: Stated,
) -> tuple[Quantity, ...]:
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
    tuple of Quantity
        In the order of `CAPACITOR_UNITS`.

    Raises
    ------
    AnalysisError
        The dial had to be turned up, or the loss fell, when it was attached.
    """
    if unknown.resonant_capacitance_f >= reference.resonant_capacitance_f:
        raise AnalysisError(
            "with the unknown attached the dial stands at "
            f"{unknown.resonant_capacitance_f * 1e12:.5g} pF in resonance, not below "
            f"the {reference.resonant_capacitance_f * 1e12:.5g} pF without it, so no "
            "capacitance was added; see that it is attached, and that it is a capacitor"
        )
    known: _Turned[Known] = _Turned(
        omega=2.0 * math.pi * frequency_hz,
        dial=dial,
        linearity=linearity,
        reference=measured_setting(reference.resonance, step=REFERENCE),
        unknown=measured_setting(unknown.resonance, step=UNKNOWN),
    )
    found = propagate(_deduction, known, units=CAPACITOR_UNITS)
    refuse_none(found)
    refuse_gain(found)
    return found
