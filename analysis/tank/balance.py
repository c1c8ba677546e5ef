"""The balance of a tank at resonance, solved for its coil or for what is across it.

The loop (coil and leads: R and L in series) and the shunt across it (T and G) balance
where

    w0^2 L T = 1 + R G,        1/Q = w0 (R T + L G) / (1 + R G),

which is exact for constant R and G. Two of the four are found from a resonance's w0 and
Q when the other two are known. Plain arithmetic, so that whatever the engine moves or
draws passes.
"""

import math
from dataclasses import dataclass

from ..uncertainty import Number
from .correction import Resonance, corrected
from .shunt import Shunt
from .tank import Tank

__all__ = ["AtResonance", "Loop", "at_resonance", "loop_from", "shunt_from"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """A series resistance in ohm and inductance in H at one frequency."""

    resistance_ohm: Number
    inductance_h: Number


@dataclass(frozen=True, slots=True, kw_only=True)
class AtResonance:
    """A resonance with its corrections: w0 in rad/s and 1/Q."""

    omega: Number
    loss: Number


def at_resonance(tank: Tank[Number], measured: Resonance[Number]) -> AtResonance:
    """Correct a measured resonance for what its tank's instruments err by."""
    resonance = corrected(
        measured,
        frequency_reference=tank.frequency_reference,
        linearity=tank.linearity,
        loss_exponent=tank.loss_exponent,
    )
    return AtResonance(
        omega=2.0 * math.pi * resonance.frequency_hz, loss=1.0 / resonance.loaded_q
    )


def loop_from(resonance: AtResonance, *, shunt: Shunt) -> Loop:
    """Solve the balance for the loop, given all that is across it.

    With q = 1/Q and g = G/(w0 T): R = (q - g)/(w0 T - (q - g) G), L from the first
    equation.
    """
    susceptance = resonance.omega * shunt.capacitance_f
    own = resonance.loss - shunt.conductance_s / susceptance
    ohm = own / (susceptance - own * shunt.conductance_s)
    return Loop(
        resistance_ohm=ohm,
        inductance_h=(1.0 + ohm * shunt.conductance_s)
        / (resonance.omega * susceptance),
    )


def shunt_from(resonance: AtResonance, *, loop: Loop) -> Shunt:
    """Solve the balance for all that is across the loop, given the loop.

    With x = w0 L and s = (q - R/x)/x: G = s/(1 - R s), T = (1 + R G)/(w0 x).
    """
    reactance = resonance.omega * loop.inductance_h
    ohm = loop.resistance_ohm
    share = (resonance.loss - ohm / reactance) / reactance
    conductance = share / (1.0 - ohm * share)
    return Shunt(
        capacitance_f=(1.0 + ohm * conductance) / (resonance.omega * reactance),
        conductance_s=conductance,
    )
