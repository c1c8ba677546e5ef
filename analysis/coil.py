"""A coil from one resonance on a known capacitor.

The circuit is a coil (L and R in series) on the total capacitance T and the
conductance G of everything else across it; `halfpower.analysis.balance` has the
equations.

The leads between tank and coil are in series with it and are taken off. w0 is the
undamped resonance, which is what a fit with the fixture's own exponent
gives (to about 0.55/Q^4 of itself).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from .balance import AtResonance, loop_from
from .corrected import RESONANCE_UNITS, corrected
from .errors import AnalysisError
from .loading import Shunt, coupled_branch
from .propagate import Deduced, MeasuredPair, propagate
from .stated import Stated

__all__ = ["COIL_UNITS", "Tank", "deduce_coil", "tank_shunt"]

FixtureKind = Literal["coupled-tank", "coupled-both-sides"]

COIL_UNITS: Mapping[str, str] = {
    **RESONANCE_UNITS,
    "unloaded_q": "1",
    "inductance": "H",
    "series_resistance": "ohm",
    "parallel_resistance": "ohm",
}


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


def _deduction(inputs: Mapping[str, Any]) -> Mapping[str, Any]:
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
    coil = _deduction(plain | values)
    if coil["series_resistance"] <= 0.0 or coil["inductance"] <= 0.0:
        raise AnalysisError(
            "the leads alone account for more than the whole inductance or resistance "
            f"of the loop: {coil['inductance']:.4g} H and "
            f"{coil['series_resistance']:.4g} ohm are left for the coil; the bench "
            "file's lead inductance or resistance is too large",
            inductance_h=coil["inductance"],
            series_resistance_ohm=coil["series_resistance"],
        )
    return propagate(_deduction, stated=tank.stated, measured=(measured,))
