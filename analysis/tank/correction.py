"""A fitted resonance with the instruments' own errors in its uncertainty."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Generic

from ..fitting import ResonanceFit
from ..quantity import Quantity, Stated
from ..uncertainty import Joint, Known, Member, N, Number, named, propagate

__all__ = [
    "RESONANCE_UNITS",
    "Resonance",
    "ResonantSetting",
    "corrected",
    "deduce_resonance",
    "measured_pair",
    "measured_setting",
    "resonance_results",
]

RESONANCE_UNITS: Mapping[str, str] = {
    "resonant_frequency": "Hz",
    "bandwidth": "Hz",
    "loaded_q": "1",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Resonance(Generic[N]):
    """A fitted resonance.

    Attributes
    ----------
    frequency_hz
        Undamped, in Hz.
    loaded_q
        The tank's Q with its fixture.
    """

    frequency_hz: N
    loaded_q: N

    @classmethod
    def of(cls, joint: Joint) -> "Resonance[Member]":
        """Take what was fitted together, in this order."""
        frequency, q = joint.members
        return Resonance(frequency_hz=frequency, loaded_q=q)


@dataclass(frozen=True, slots=True, kw_only=True)
class ResonantSetting(Generic[N]):
    """A resonance fitted over a variable capacitor's settings.

    Attributes
    ----------
    capacitance_f
        The setting, in F.
    loaded_q
        The setting over its half-width.
    """

    capacitance_f: N
    loaded_q: N


def measured_pair(found: ResonanceFit, *, step: str = "") -> Resonance[Member]:
    """Hand a fit's f0 and Q on, with their covariance and degrees of freedom.

    Parameters
    ----------
    found
        The fit.
    step
        What the resonance is called among several; a budget's source ends in it.
    """
    return Resonance.of(_joint(found, step=step))


def measured_setting(found: ResonanceFit, *, step: str = "") -> ResonantSetting[Member]:
    """Hand on a fit over a variable capacitor's settings, as `measured_pair` does."""
    capacitance_f, loaded_q = _joint(found, step=step).members
    return ResonantSetting(capacitance_f=capacitance_f, loaded_q=loaded_q)


def _joint(found: ResonanceFit, *, step: str) -> Joint:
    return Joint.of_one(
        (found.centre, found.loaded_q),
        covariance=found.covariance[:2, :2],
        degrees_of_freedom=found.degrees_of_freedom,
        source=f"readings and fit, {step}" if step else "readings and fit",
    )


def corrected(
    resonance: Resonance[Number],
    *,
    frequency_reference: Number,
    linearity: Number,
    loss_exponent: Number,
) -> Resonance[Number]:
    """Apply the corrections for reference, linearity and the loss's own slope.

    Reference and linearity are zero with a doubt. A ratio of readings that is wrong by
    e moves the half-power points so that Q moves by 2e: d(ln V) = -(1/2) d(ln Q) at
    Qt = 1. A series loss that goes as w^n tilts the peak, and a fit that takes it as
    constant finds f0 low by n/(4 Q^2) of itself: near f0 the tilt multiplies V by
    1 - n (x - 1)/(1 + Q^2 t^2), which is what moving f0 by that much does. In the next
    order it finds Q high by 3 n^2/(8 Q^2) of itself (the coefficient by circuit
    arithmetic, tests/references/test_coil_circuit.py).

    Parameters
    ----------
    resonance
        As it was fitted.
    frequency_reference, linearity
        Relative errors.
    loss_exponent
        n.
    """
    read_q = resonance.loaded_q * (1.0 + 2.0 * linearity)
    tilt = 3.0 * loss_exponent * loss_exponent / (8.0 * read_q * read_q)
    loaded_q = read_q * (1.0 - tilt)
    frequency_hz = (
        resonance.frequency_hz
        * (1.0 + frequency_reference)
        * (1.0 + loss_exponent / (4.0 * loaded_q**2))
    )
    return Resonance(frequency_hz=frequency_hz, loaded_q=loaded_q)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fitted(Generic[N]):
    """A resonance, and what it is corrected for."""

    resonance: Resonance[N]
    frequency_reference: N = field(metadata=named("frequency reference"))
    linearity: N = field(metadata=named("detector linearity"))
    loss_exponent: N = field(metadata=named("loss exponent"))


def resonance_results(resonance: Resonance[Number]) -> dict[str, Number]:
    """Give f0, bandwidth and loaded Q of a corrected resonance by their names."""
    return {
        "resonant_frequency": resonance.frequency_hz,
        "bandwidth": resonance.frequency_hz / resonance.loaded_q,
        "loaded_q": resonance.loaded_q,
    }


def _deduction(at: _Fitted[Number]) -> dict[str, Number]:
    return resonance_results(
        corrected(
            at.resonance,
            frequency_reference=at.frequency_reference,
            linearity=at.linearity,
            loss_exponent=at.loss_exponent,
        )
    )


def deduce_resonance(
    found: ResonanceFit,
    *,
    frequency_reference: Stated,
    linearity: Stated,
    loss_exponent: Stated,
) -> tuple[Quantity, ...]:
    """Give f0, bandwidth and loaded Q with all of their uncertainty.

    Parameters
    ----------
    found
        The fit.
    frequency_reference, linearity
        Relative errors of the generator's reference and of a ratio of two readings:
        zero, with their doubt.
    loss_exponent
        n of a series loss that goes as w^n; 0 where the loss is constant, or where
        nothing is known of the circuit.

    Returns
    -------
    tuple of Quantity
        In the order of `RESONANCE_UNITS`.
    """
    known: _Fitted[Known] = _Fitted(
        resonance=measured_pair(found),
        frequency_reference=frequency_reference,
        linearity=linearity,
        loss_exponent=loss_exponent,
    )
    return propagate(_deduction, known, units=RESONANCE_UNITS)
