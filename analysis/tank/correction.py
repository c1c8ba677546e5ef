"""A fitted resonance with the instruments' own errors in its uncertainty."""

from collections.abc import Mapping
from typing import Any

from ..fitting import ResonanceFit
from ..quantity import Stated
from ..uncertainty import Deduced, MeasuredPair, propagate

__all__ = ["RESONANCE_UNITS", "corrected", "deduce_resonance", "measured_pair"]

RESONANCE_UNITS: Mapping[str, str] = {
    "resonant_frequency": "Hz",
    "bandwidth": "Hz",
    "loaded_q": "1",
}


def measured_pair(found: ResonanceFit, *, step: str = "") -> MeasuredPair:
    """Hand a fit's centre and Q on, with their covariance and degrees of freedom.

    Parameters
    ----------
    found
        The fit.
    step
        What the resonance is called among several; it is added to the names.
    """
    beside = f", {step}" if step else ""
    return MeasuredPair(
        names=(f"resonant_{found.abscissa.quantity}{beside}", f"loaded_q{beside}"),
        values=(found.centre, found.loaded_q),
        covariance=found.covariance[:2, :2],
        degrees_of_freedom=found.degrees_of_freedom,
        source=f"readings and fit{beside}",
    )


def corrected(inputs: Mapping[str, Any]) -> dict[str, Any]:
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
    inputs
        ``resonant_frequency`` in Hz, ``loaded_q``, ``frequency reference`` and
        ``detector linearity`` (both relative), ``loss exponent``.
    """
    exponent = inputs["loss exponent"]
    read_q = inputs["loaded_q"] * (1.0 + 2.0 * inputs["detector linearity"])
    loaded_q = read_q * (1.0 - 3.0 * exponent * exponent / (8.0 * read_q * read_q))
    frequency_hz = (
        inputs["resonant_frequency"]
        * (1.0 + inputs["frequency reference"])
        * (1.0 + exponent / (4.0 * loaded_q**2))
    )
    return {
        "resonant_frequency": frequency_hz,
        "bandwidth": frequency_hz / loaded_q,
        "loaded_q": loaded_q,
    }


def deduce_resonance(
    found: ResonanceFit,
    *,
    frequency_reference: Stated,
    linearity: Stated,
    loss_exponent: Stated,
) -> tuple[Deduced, ...]:
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
    tuple of Deduced
        In the order of `RESONANCE_UNITS`.
    """
    stated = {
        "frequency reference": frequency_reference,
        "detector linearity": linearity,
        "loss exponent": loss_exponent,
    }
    return propagate(corrected, stated=stated, measured=(measured_pair(found),))
