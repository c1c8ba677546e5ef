"""What was attached to a tank: found from the resonances without it and with it."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from scipy import stats

from ..errors import AnalysisError
from ..fitting import ResonanceFit
from ..uncertainty import Deduced, MeasuredPair
from .balance import Loop, at_resonance, loop_from, shunt_from
from .correction import measured_pair
from .shunt import Shunt
from .tank import tank_shunt

__all__ = [
    "CAPACITOR_UNITS",
    "REFERENCE",
    "UNKNOWN",
    "attached_shunt",
    "bound_of",
    "loss_of",
    "refuse_gain",
    "refuse_none",
    "step_pairs",
]

REFERENCE, UNKNOWN = "reference", "unknown"
CAPACITOR_UNITS: Mapping[str, str] = {
    "capacitance": "F",
    "dissipation_factor": "1",
    "series_resistance": "ohm",
}
RESOLVED = 3.0  # standard uncertainties from zero that make a value of a loss
IMPOSSIBLE = 4.0  # below zero by so many, and no chance explains it


def attached_shunt(
    inputs: Mapping[str, Any], *, step: str, before: str = REFERENCE
) -> tuple[Shunt, Any]:
    """Find what was put across the tank between two sweeps, and w in the second.

    Parameters
    ----------
    inputs
        The tank's stated values and both steps' pairs, by name.
    step, before
        The sweep with it and the one without.
    """
    alone = at_resonance(inputs, step=before)
    loop = loop_from(alone, shunt=tank_shunt(inputs, omega=alone.omega))
    loaded = at_resonance(inputs, step=step)
    ohm = loop.resistance_ohm * (loaded.omega / alone.omega) ** inputs["loss exponent"]
    across = shunt_from(
        loaded, loop=Loop(resistance_ohm=ohm, inductance_h=loop.inductance_h)
    )
    rest = tank_shunt(inputs, omega=loaded.omega)
    return across - rest, loaded.omega


def loss_of(attached: Shunt, *, omega: Any) -> dict[str, Any]:
    """Give C, D, and the loss as a resistance in series."""
    loss = attached.conductance_s / (omega * attached.capacitance_f)
    return {
        "capacitance": attached.capacitance_f,
        "dissipation_factor": loss,
        "series_resistance": loss
        / (omega * attached.capacitance_f * (1.0 + loss * loss)),
    }


def bound_of(loss: Deduced) -> float | None:
    """Give the 95 % limit of a loss that cannot be resolved; None where it can.

    A loss is not negative: the limit is the 95 % quantile of the normal distribution
    of value and u, cut off at zero (a uniform prior above zero; JCGM 106, 7.2 takes
    prior knowledge in so).
    """
    if loss.value > RESOLVED * loss.u:
        return None
    if loss.u <= 0.0:
        return max(loss.value, 0.0)
    low = -loss.value / loss.u
    return float(stats.truncnorm.ppf(0.95, low, math.inf, loc=loss.value, scale=loss.u))


def refuse_gain(found: Sequence[Deduced], *, name: str = "dissipation_factor") -> None:
    """Refuse a part that would make the tank's loss less.

    Parameters
    ----------
    found
        What was deduced.
    name
        What its loss is called there.

    Raises
    ------
    AnalysisError
        It is below zero by more than chance explains.
    """
    loss = next(one for one in found if one.name == name)
    if loss.value < -IMPOSSIBLE * loss.u:
        raise AnalysisError(
            f"the tank's loss fell when the part was attached (D would be "
            f"{loss.value:.2g} ± {2.0 * loss.u:.1g}), which no part without a supply "
            "can do; a contact, the coupling or the coil's place changed between the "
            "sweeps: repeat both",
            dissipation_factor=loss.value,
        )


def refuse_none(found: Sequence[Deduced]) -> None:
    """Refuse a capacitance that is not clear of zero.

    Raises
    ------
    AnalysisError
        It is not: what is stated of the tank is as large as what was attached.
    """
    capacitance = next(one for one in found if one.name == "capacitance")
    if capacitance.interval[0] <= 0.0:
        raise AnalysisError(
            f"the capacitance comes out as {capacitance.value * 1e12:.3g} pF, "
            f"uncertain by {2.0 * capacitance.u * 1e12:.2g} pF: it does not stand out "
            "of what the tank is uncertain by; state the tank more closely",
            capacitance_f=capacitance.value,
        )


def step_pairs(found: Mapping[str, ResonanceFit]) -> tuple[MeasuredPair, ...]:
    """Hand several steps' fits on, under their names."""
    return tuple(measured_pair(one, step=step) for step, one in found.items())
