"""What the fixture puts across the tank: capacitance and conductance.

Plain arithmetic, so that whatever the engine moves or draws passes.
"""

from dataclasses import dataclass

from ..uncertainty import Number

__all__ = ["Shunt", "coupled_branch"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shunt:
    """A parallel capacitance in F and conductance in S at one frequency."""

    capacitance_f: Number
    conductance_s: Number

    def __add__(self, other: "Shunt") -> "Shunt":
        return Shunt(
            capacitance_f=self.capacitance_f + other.capacitance_f,
            conductance_s=self.conductance_s + other.conductance_s,
        )

    def __sub__(self, other: "Shunt") -> "Shunt":
        return Shunt(
            capacitance_f=self.capacitance_f - other.capacitance_f,
            conductance_s=self.conductance_s - other.conductance_s,
        )


def coupled_branch(
    coupling_f: Number,
    *,
    resistance_ohm: Number,
    omega: Number,
    capacitance_f: Number = 0.0,
) -> Shunt:
    """Shunt that a small capacitor shows with a resistance at its other end.

    Parameters
    ----------
    coupling_f
        The coupling capacitor in F.
    resistance_ohm
        What it leads to: the generator's or the detector's resistance in ohm.
    omega
        Angular frequency in rad/s.
    capacitance_f
        Capacitance in F across that resistance.

    Notes
    -----
    Y = jwC (G + jB) / (G + j(B + wC)), with G = 1/R and B = w C_R. For wCR << 1
    this is G ~ (wC)^2 R, and C itself.
    """
    conductance = 1.0 / resistance_ohm
    susceptance = omega * capacitance_f
    coupling = omega * coupling_f
    total = susceptance + coupling
    magnitude = conductance**2 + total**2
    return Shunt(
        capacitance_f=coupling_f * (conductance**2 + susceptance * total) / magnitude,
        conductance_s=conductance * coupling**2 / magnitude,
    )
