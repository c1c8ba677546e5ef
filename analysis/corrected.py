"""A fitted resonance with the instruments' own errors in its uncertainty."""

from collections.abc import Mapping
from typing import Any

from .propagate import Deduced, MeasuredPair, propagate
from .resonance_fit import ResonanceFit
from .stated import Stated

__all__ = ["RESONANCE_UNITS", "corrected", "deduce_resonance", "measured_pair"]

RESONANCE_UNITS: Mapping[str, str] = {
    "resonant_frequency": "Hz",
    "bandwidth": "Hz",
    "loaded_q": "1",
}


def measured_pair(found: ResonanceFit) -> MeasuredPair:
    """Hand a fit's f0 and Q on, with their covariance and degrees of freedom."""
    return MeasuredPair(
        names=("resonant_frequency", "loaded_q"),
        values=(found.resonant_frequency_hz, found.loaded_q),
        covariance=found.covariance[:2, :2],
        degrees_of_freedom=found.degrees_of_freedom,
    )


def corrected(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """Apply the corrections for frequency reference and detector linearity.

    Both are zero with a doubt. A ratio of readings that is wrong by e moves the
    half-power points so that Q moves by 2e: d(ln V) = -(1/2) d(ln Q) at Qt = 1.

    Parameters
    ----------
    inputs
        ``resonant_frequency`` in Hz, ``loaded_q``, ``frequency reference`` and
        ``detector linearity`` (both relative).
    """
    frequency_hz = inputs["resonant_frequency"] * (1.0 + inputs["frequency reference"])
    loaded_q = inputs["loaded_q"] * (1.0 + 2.0 * inputs["detector linearity"])
    return {
        "resonant_frequency": frequency_hz,
        "bandwidth": frequency_hz / loaded_q,
        "loaded_q": loaded_q,
    }


def deduce_resonance(
    found: ResonanceFit, *, frequency_reference: Stated, linearity: Stated
) -> tuple[Deduced, ...]:
    """Give f0, bandwidth and loaded Q with all of their uncertainty.

    Parameters
    ----------
    found
        The fit.
    frequency_reference, linearity
        Relative errors of the generator's reference and of a ratio of two readings:
        zero, with their doubt.

    Returns
    -------
    tuple of Deduced
        In the order of `RESONANCE_UNITS`.
    """
    stated = {
        "frequency reference": frequency_reference,
        "detector linearity": linearity,
    }
    return propagate(corrected, stated=stated, measured=measured_pair(found))
