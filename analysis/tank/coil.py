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
from typing import Any

from ..errors import AnalysisError
from ..uncertainty import Deduced, MeasuredPair, propagate
from .balance import AtResonance, loop_from
from .correction import RESONANCE_UNITS, corrected
from .tank import Tank, tank_shunt

__all__ = ["COIL_UNITS", "coil_deduction", "deduce_coil"]


COIL_UNITS: Mapping[str, str] = {
    **RESONANCE_UNITS,
    "unloaded_q": "1",
    "inductance": "H",
    "series_resistance": "ohm",
    "parallel_resistance": "ohm",
}


def coil_deduction(inputs: Mapping[str, Any]) -> Mapping[str, Any]:
    """Deduce a coil from one resonance; plain arithmetic.

    Parameters
    ----------
    inputs
        Values by the names of `Tank.stated`, ``resonant_frequency`` in Hz and
        ``loaded_q``.
    """
    resonance = corrected(inputs)
    frequency_hz, loaded_q = resonance["resonant_frequency"], resonance["loaded_q"]
    omega = 2.0 * math.pi * frequency_hz
    loop = loop_from(
        AtResonance(omega=omega, loss=1.0 / loaded_q),
        shunt=tank_shunt(inputs, omega=omega),
    )
    series_ohm = loop.resistance_ohm - inputs["lead resistance"]
    inductance_h = loop.inductance_h - inputs["lead inductance"]
    unloaded_q = omega * inductance_h / series_ohm
    return resonance | {
        "unloaded_q": unloaded_q,
        "inductance": inductance_h,
        "series_resistance": series_ohm,
        "parallel_resistance": series_ohm * (1.0 + unloaded_q**2),
    }


def deduce_coil(tank: Tank, *, measured: MeasuredPair) -> tuple[Deduced, ...]:
    """Deduce a coil's inductance, Q and resistances from one resonance.

    Parameters
    ----------
    tank
        Everything known but the coil.
    measured
        Fitted ``resonant_frequency`` in Hz and ``loaded_q``, with their covariance.

    Returns
    -------
    tuple of Deduced
        In the order of `COIL_UNITS`. The inductance is the coil's own, with its
        self-capacitance taken out; ``unloaded_q`` is w0 L / R of the coil alone.

    Raises
    ------
    AnalysisError
        The fixture's own loading, or its leads, leave nothing for the coil.
    """
    values = dict(zip(measured.names, measured.values, strict=True))
    omega = 2.0 * math.pi * values["resonant_frequency"]
    plain = {name: one.value for name, one in tank.stated.items()}
    shunt = tank_shunt(plain, omega=omega)
    susceptance = omega * shunt.capacitance_f
    if susceptance <= values["loaded_q"] * shunt.conductance_s:
        fixture_q = susceptance / shunt.conductance_s
        raise AnalysisError(
            f"the loaded Q of {values['loaded_q']:.4g} is not below the "
            f"{fixture_q:.4g} that the fixture's loading alone would allow; the bench "
            "file's probe resistance, couplings or capacitor loss are too pessimistic",
            loaded_q=values["loaded_q"],
            fixture_q=fixture_q,
        )
    coil = coil_deduction(plain | values)
    if coil["series_resistance"] <= 0.0 or coil["inductance"] <= 0.0:
        raise AnalysisError(
            "the leads alone account for more than the whole inductance or resistance "
            f"of the loop: {coil['inductance']:.4g} H and "
            f"{coil['series_resistance']:.4g} ohm are left for the coil; the bench "
            "file's lead inductance or resistance is too large",
            inductance_h=coil["inductance"],
            series_resistance_ohm=coil["series_resistance"],
        )
    return propagate(coil_deduction, stated=tank.stated, measured=(measured,))
