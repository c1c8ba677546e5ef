"""Everything that is known of a tank but its coil, and what it puts across the coil."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from ..errors import AnalysisError
from ..quantity import Stated
from .shunt import Shunt, coupled_branch

__all__ = ["FixtureKind", "Tank", "tank_shunt"]

FixtureKind = Literal["coupled-tank", "coupled-both-sides"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tank:
    """Everything known of the tank but the coil.

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
    output_coupling_f
        The reading capacitor in F (``coupled-both-sides`` only).
    probe_ohm, probe_f
        What the detector puts at its end, in ohm and F.
    frequency_reference, linearity
        Relative errors of the generator's reference and of a ratio of two
        readings: zero, with their doubt.
    loss_exponent
        n of the tank's loss, which goes as w^n.
    """

    kind: FixtureKind
    capacitor_f: Stated
    capacitor_loss: Stated
    self_capacitance_f: Stated
    stray_f: Stated
    stray_loss: Stated
    lead_h: Stated
    lead_ohm: Stated
    coupling_f: Stated
    source_ohm: Stated
    probe_ohm: Stated
    probe_f: Stated
    output_coupling_f: Stated | None = None
    frequency_reference: Stated
    linearity: Stated
    loss_exponent: Stated

    def __post_init__(self) -> None:
        """Refuse a tank that is not complete."""
        if self.kind == "coupled-both-sides" and self.output_coupling_f is None:
            raise AnalysisError(
                "a tank coupled on both sides needs its output coupling capacitor"
            )

    @property
    def stated(self) -> dict[str, Stated]:
        """The inputs by the names that a budget shows."""
        named = {
            "resonating capacitor": self.capacitor_f,
            "resonating capacitor's loss": self.capacitor_loss,
            "coil's self-capacitance": self.self_capacitance_f,
            "fixture's stray": self.stray_f,
            "fixture's stray loss": self.stray_loss,
            "lead inductance": self.lead_h,
            "lead resistance": self.lead_ohm,
            "coupling capacitor": self.coupling_f,
            "source resistance": self.source_ohm,
            "probe resistance": self.probe_ohm,
            "probe capacitance": self.probe_f,
            "frequency reference": self.frequency_reference,
            "detector linearity": self.linearity,
            "loss exponent": self.loss_exponent,
        }
        if self.output_coupling_f is not None:
            named["output coupling capacitor"] = self.output_coupling_f
        return named


def tank_shunt(inputs: Mapping[str, Any], *, omega: Any) -> Shunt:
    """All that lies across the coil at one frequency, its self-capacitance too.

    Parameters
    ----------
    inputs
        Values by the names of `Tank.stated`.
    omega
        Angular frequency in rad/s.
    """
    source = coupled_branch(
        inputs["coupling capacitor"],
        resistance_ohm=inputs["source resistance"],
        omega=omega,
    )
    if "output coupling capacitor" in inputs:
        detector = coupled_branch(
            inputs["output coupling capacitor"],
            resistance_ohm=inputs["probe resistance"],
            capacitance_f=inputs["probe capacitance"],
            omega=omega,
        )
    else:
        detector = Shunt(
            capacitance_f=inputs["probe capacitance"],
            conductance_s=1.0 / inputs["probe resistance"],
        )
    capacitor = Shunt(
        capacitance_f=inputs["resonating capacitor"],
        conductance_s=omega
        * inputs["resonating capacitor"]
        * inputs["resonating capacitor's loss"],
    )
    strays = Shunt(
        capacitance_f=inputs["coil's self-capacitance"] + inputs["fixture's stray"],
        conductance_s=omega
        * inputs["fixture's stray"]
        * inputs["fixture's stray loss"],
    )
    return source + detector + capacitor + strays
