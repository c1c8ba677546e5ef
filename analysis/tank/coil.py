"""A coil from one resonance on a known capacitor.

The circuit is a coil (L and R in series) on the total capacitance T and the
conductance G of everything else across it; `halfpower.analysis.tank.balance` has the
equations.

The leads between tank and coil are in series with it and are taken off. w0 is the
undamped resonance, which is what a fit with the fixture's own exponent
gives (to about 0.55/Q^4 of itself).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Generic

from ..errors import AnalysisError
from ..quantity import Quantity
from ..uncertainty import Known, Member, N, Number, propagate, values_of
from .balance import AtResonance, loop_from
from .correction import RESONANCE_UNITS, Resonance, corrected, resonance_results
from .tank import Tank, tank_shunt

__all__ = ["COIL_UNITS", "OneResonance", "coil_deduction", "deduce_coil"]


COIL_UNITS: Mapping[str, str] = {
    **RESONANCE_UNITS,
    "unloaded_q": "1",
    "inductance": "H",
    "series_resistance": "ohm",
    "parallel_resistance": "ohm",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class OneResonance(Generic[N]):
    """A tank, and its resonance with what is on it."""

    tank: Tank[N]
    resonance: Resonance[N]


def coil_deduction(at: OneResonance[Number]) -> dict[str, Number]:
    """Deduce a coil, or many, from one resonance."""
    tank = at.tank
    resonance = corrected(
        at.resonance,
        frequency_reference=tank.frequency_reference,
        linearity=tank.linearity,
        loss_exponent=tank.loss_exponent,
    )
    omega = 2.0 * math.pi * resonance.frequency_hz
    loop = loop_from(
        AtResonance(omega=omega, loss=1.0 / resonance.loaded_q),
        shunt=tank_shunt(tank, omega=omega),
    )
    series_ohm = loop.resistance_ohm - tank.lead_ohm
    inductance_h = loop.inductance_h - tank.lead_h
    unloaded_q = omega * inductance_h / series_ohm
    return resonance_results(resonance) | {
        "unloaded_q": unloaded_q,
        "inductance": inductance_h,
        "series_resistance": series_ohm,
        "parallel_resistance": series_ohm * (1.0 + unloaded_q**2),
    }


def deduce_coil(tank: Tank, *, measured: Resonance[Member]) -> tuple[Quantity, ...]:
    """Deduce a coil's inductance, Q and resistances from one resonance.

    Parameters
    ----------
    tank
        Everything known but the coil.
    measured
        The fitted resonance.

    Returns
    -------
    tuple of Quantity
        In the order of `COIL_UNITS`. The inductance is the coil's own, with its
        self-capacitance taken out; ``unloaded_q`` is w0 L / R of the coil alone.

    Raises
    ------
    AnalysisError
        The fixture's own loading, or its leads, leave nothing for the coil.
    """
    known: OneResonance[Known] = OneResonance(tank=tank, resonance=measured)
    plain: OneResonance[float] = values_of(known)
    loaded_q = plain.resonance.loaded_q
    omega = 2.0 * math.pi * plain.resonance.frequency_hz
    shunt = tank_shunt(plain.tank, omega=omega)
    susceptance = omega * shunt.capacitance_f
    if susceptance <= loaded_q * shunt.conductance_s:
        fixture_q = susceptance / shunt.conductance_s
        raise AnalysisError(
            f"the loaded Q of {loaded_q:.4g} is not below the "
            f"{fixture_q:.4g} that the fixture's loading alone would allow; the bench "
            "file's probe resistance, couplings or capacitor loss are too pessimistic",
            loaded_q=loaded_q,
            fixture_q=fixture_q,
        )
    coil = coil_deduction(plain)
    if coil["series_resistance"] <= 0.0 or coil["inductance"] <= 0.0:
        raise AnalysisError(
            "the leads alone account for more than the whole inductance or resistance "
            f"of the loop: {coil['inductance']:.4g} H and "
            f"{coil['series_resistance']:.4g} ohm are left for the coil; the bench "
            "file's lead inductance or resistance is too large",
            inductance_h=coil["inductance"],
            series_resistance_ohm=coil["series_resistance"],
        )
    return propagate(coil_deduction, known, units=COIL_UNITS)
