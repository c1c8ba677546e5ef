"""What was attached to a tank: found from the resonances without it and with it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Generic

from scipy import stats

from ..errors import AnalysisError
from ..quantity import Quantity
from ..uncertainty import Known, Member, N, Number
from .balance import Loop, at_resonance, loop_from, shunt_from
from .correction import Resonance
from .shunt import Shunt
from .tank import Tank, tank_shunt

__all__ = [
    "CAPACITOR_UNITS",
    "REFERENCE",
    "UNKNOWN",
    "Steps",
    "attached_shunt",
    "bound_of",
    "loss_of",
    "refuse_gain",
    "refuse_none",
]

REFERENCE, UNKNOWN = "reference", "unknown"
CAPACITOR_UNITS: Mapping[str, str] = {
    "capacitance": "F",
    "dissipation_factor": "1",
    "series_resistance": "ohm",
}
RESOLVED = 3.0  # standard uncertainties from zero that make a value of a loss
IMPOSSIBLE = 4.0  # below zero by so many, and no chance explains it


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps(Generic[N]):
    """A tank, and its resonances without something and with it.

    Attributes
    ----------
    tank
        Everything known of the tank but its coil.
    before, loaded
        The resonances without the part and with it.
    """

    tank: Tank[N]
    before: Resonance[N]
    loaded: Resonance[N]

    @classmethod
    def known(
        cls, tank: Tank, *, before: Resonance[Member], loaded: Resonance[Member]
    ) -> "Steps[Known]":
        """Put together what is stated and what was measured."""
        return Steps(tank=tank, before=before, loaded=loaded)


def attached_shunt(
    tank: Tank[Number], *, before: Resonance[Number], loaded: Resonance[Number]
) -> tuple[Shunt, Number]:
    """Find what was put across the tank between two sweeps, and w in the second.

    Parameters
    ----------
    tank
        Everything known of the tank but its coil.
    before, loaded
        The resonances without it and with it.
    """
    alone = at_resonance(tank, before)
    loop = loop_from(alone, shunt=tank_shunt(tank, omega=alone.omega))
    with_it = at_resonance(tank, loaded)
    ohm = loop.resistance_ohm * (with_it.omega / alone.omega) ** tank.loss_exponent
    across = shunt_from(
        with_it, loop=Loop(resistance_ohm=ohm, inductance_h=loop.inductance_h)
    )
    rest = tank_shunt(tank, omega=with_it.omega)
    return across - rest, with_it.omega


def loss_of(attached: Shunt, *, omega: Number) -> dict[str, Number]:
    """Give C, D, and the loss as a resistance in series."""
    loss = attached.conductance_s / (omega * attached.capacitance_f)
    return {
        "capacitance": attached.capacitance_f,
        "dissipation_factor": loss,
        "series_resistance": loss
        / (omega * attached.capacitance_f * (1.0 + loss * loss)),
    }


def bound_of(loss: Quantity) -> float | None:
    """Give the 95 % limit of a loss that cannot be resolved; None where it can.

    A loss is not negative: the limit is the 95 % quantile of the normal distribution
    of value and u, cut off at zero (a uniform prior above zero; JCGM 106, 7.2 takes
    prior knowledge in so).
    """
    u = loss.standard_uncertainty
    if loss.value > RESOLVED * u:
        return None
    if u <= 0.0:
        return max(loss.value, 0.0)
    low = -loss.value / u
    return float(stats.truncnorm.ppf(0.95, low, math.inf, loc=loss.value, scale=u))


def refuse_gain(found: Sequence[Quantity], *, name: str = "dissipation_factor") -> None:
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
    u = loss.standard_uncertainty
    if loss.value < -IMPOSSIBLE * u:
        raise AnalysisError(
            f"the tank's loss fell when the part was attached (D would be "
            f"{loss.value:.2g} ± {2.0 * u:.1g}), which no part without a supply "
            "can do; a contact, the coupling or the coil's place changed between the "
            "sweeps: repeat both",
            dissipation_factor=loss.value,
        )


def refuse_none(found: Sequence[Quantity]) -> None:
    """Refuse a capacitance that is not clear of zero.

    Raises
    ------
    AnalysisError
        It is not: what is stated of the tank is as large as what was attached.
    """
    capacitance = next(one for one in found if one.name == "capacitance")
    if capacitance.limits[0] <= 0.0:
        raise AnalysisError(
            f"the capacitance comes out as {capacitance.value * 1e12:.3g} pF, "
            f"uncertain by {2e12 * capacitance.standard_uncertainty:.2g} pF: it "
            "does not stand out of what the tank is uncertain by; state the tank more "
            "closely",
            capacitance_f=capacitance.value,
        )
