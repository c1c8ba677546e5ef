"""Everything that is known of a tank but its coil, and what it puts across the coil."""

from dataclasses import dataclass, field
from typing import Generic, Literal

from ..errors import AnalysisError
from ..uncertainty import N, Number, named
from .shunt import Shunt, coupled_branch

__all__ = ["FixtureKind", "Tank", "tank_shunt"]

FixtureKind = Literal["coupled-tank", "coupled-both-sides"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tank(Generic[N]):
    """Everything known of the tank but the coil.

    As it is known, a plain ``Tank``, its fields are `Stated`; a deduction gets numbers.

    Attributes
    ----------
    kind
        How it is driven and read.
    capacitor_f, capacitor_loss
        The known resonating capacitor in F and its dissipation factor.
    self_capacitance_f
        The coil's, in F: measured, or a stated estimate.
    stray_f, stray_loss
        The fixture's, beside couplings and probe, in F, and its dissipation factor.
    lead_h, lead_ohm
        Of the leads between tank and coil, in H and ohm.
    coupling_f, source_ohm
        The driving capacitor in F and the resistance behind it in ohm.
    probe_ohm, probe_f
        What the detector puts at its end, in ohm and F.
    frequency_reference, linearity
        Relative errors of the generator's reference and of a ratio of two
        readings: zero, with their doubt.
    loss_exponent
        n of the tank's loss, which goes as w^n.
    output_coupling_f
        The reading capacitor in F (``coupled-both-sides`` only).
    """

    kind: FixtureKind
    capacitor_f: N = field(metadata=named("resonating capacitor"))
    capacitor_loss: N = field(metadata=named("resonating capacitor's loss"))
    self_capacitance_f: N = field(metadata=named("coil's self-capacitance"))
    stray_f: N = field(metadata=named("fixture's stray"))
    stray_loss: N = field(metadata=named("fixture's stray loss"))
    lead_h: N = field(metadata=named("lead inductance"))
    lead_ohm: N = field(metadata=named("lead resistance"))
    coupling_f: N = field(metadata=named("coupling capacitor"))
    source_ohm: N = field(metadata=named("source resistance"))
    probe_ohm: N = field(metadata=named("probe resistance"))
    probe_f: N = field(metadata=named("probe capacitance"))
    frequency_reference: N = field(metadata=named("frequency reference"))
    linearity: N = field(metadata=named("detector linearity"))
    loss_exponent: N = field(metadata=named("loss exponent"))
    output_coupling_f: N | None = field(
        default=None, metadata=named("output coupling capacitor")
    )

    def __post_init__(self) -> None:
        """Refuse a tank that is not complete."""
        if self.kind == "coupled-both-sides" and self.output_coupling_f is None:
            raise AnalysisError(
                "a tank coupled on both sides needs its output coupling capacitor"
            )


def tank_shunt(tank: Tank[Number], *, omega: Number) -> Shunt:
    """All that lies across the coil at one frequency, its self-capacitance too.

    Parameters
    ----------
    tank
        Its constants, as numbers.
    omega
        Angular frequency in rad/s.
    """
    source = coupled_branch(
        tank.coupling_f, resistance_ohm=tank.source_ohm, omega=omega
    )
    if tank.output_coupling_f is not None:
        detector = coupled_branch(
            tank.output_coupling_f,
            resistance_ohm=tank.probe_ohm,
            capacitance_f=tank.probe_f,
            omega=omega,
        )
    else:
        detector = Shunt(capacitance_f=tank.probe_f, conductance_s=1.0 / tank.probe_ohm)
    capacitor = Shunt(
        capacitance_f=tank.capacitor_f,
        conductance_s=omega * tank.capacitor_f * tank.capacitor_loss,
    )
    strays = Shunt(
        capacitance_f=tank.self_capacitance_f + tank.stray_f,
        conductance_s=omega * tank.stray_f * tank.stray_loss,
    )
    return source + detector + capacitor + strays
