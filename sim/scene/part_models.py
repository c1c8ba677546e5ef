"""The parts a scene can put on the bench, as closed, checked tables."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from .spread import NONE, NotNegative, Positive, Quantity, Table, exactly

__all__ = [
    "CapacitorPart",
    "CoilPart",
    "Defect",
    "LotTable",
    "Part",
    "SheetPart",
    "VariableCapacitorPart",
]


class CoilPart(Table):
    """A coil.

    Attributes
    ----------
    inductance_h
        At small current.
    resistance_ohm, rise_ohm, rise_exponent
        Series resistance: constant, and rising as f^exponent from `reference_hz`.
    core_loss_tangent
        Of the inductance.
    self_capacitance_f, self_capacitance_dissipation
        Across the winding.
    saturation_current_a
        R.m.s. current at which the inductance has dropped to half; 0: it never does.
    second_resonance_hz, second_resonance_q, second_inductance_h
        A further series resonance across the winding; 0 Hz: none.
    temperature_coefficient_ppm_per_k, drift_ppm_per_s
        Relative change of the inductance.
    """

    kind: Literal["coil"]
    inductance_h: Positive
    resistance_ohm: NotNegative = NONE
    rise_ohm: NotNegative = NONE
    rise_exponent: Quantity = exactly(0.5)
    reference_hz: Positive = exactly(1e6)
    core_loss_tangent: NotNegative = NONE
    self_capacitance_f: NotNegative = NONE
    self_capacitance_dissipation: NotNegative = NONE
    saturation_current_a: NotNegative = NONE
    second_resonance_hz: NotNegative = NONE
    second_resonance_q: Positive = exactly(50.0)
    second_inductance_h: Positive = exactly(1e-6)
    temperature_coefficient_ppm_per_k: Quantity = NONE
    drift_ppm_per_s: Quantity = NONE


class CapacitorPart(Table):
    """A capacitor: C, D(f), lead inductance and lead resistance."""

    kind: Literal["capacitor"]
    capacitance_f: Positive
    dissipation_factor: NotNegative = NONE
    dissipation_exponent: Quantity = NONE
    reference_hz: Positive = exactly(1e6)
    inductance_h: NotNegative = NONE
    resistance_ohm: NotNegative = NONE
    temperature_coefficient_ppm_per_k: Quantity = NONE
    drift_ppm_per_s: Quantity = NONE


class VariableCapacitorPart(Table):
    """A calibrated variable capacitor, set by its dial.

    Attributes
    ----------
    minimum_f, maximum_f
        Ends of the dial.
    setting_f
        Where the dial stands when the bench is set up.
    dial_error_relative, dial_offset_f
        The true capacitance is setting (1 + error) + offset.
    """

    kind: Literal["variable-capacitor"]
    minimum_f: float = Field(gt=0.0)
    maximum_f: float = Field(gt=0.0)
    setting_f: float = Field(gt=0.0)
    dial_error_relative: Quantity = NONE
    dial_offset_f: Quantity = NONE
    dissipation_factor: NotNegative = NONE
    inductance_h: NotNegative = NONE
    temperature_coefficient_ppm_per_k: Quantity = NONE

    @model_validator(mode="after")
    def _check(self) -> "VariableCapacitorPart":
        if not self.minimum_f <= self.setting_f <= self.maximum_f:
            raise ValueError("setting_f must lie between minimum_f and maximum_f")
        return self


class SheetPart(Table):
    """A sheet of insulator between two plates.

    Attributes
    ----------
    relative_permittivity, loss_tangent, loss_exponent
        Of the sheet; the loss tangent at `reference_hz`, as f^exponent.
    area_m2, thickness_m
        Of the plates, and of the sheet.
    edge_capacitance_f, edge_capacitance_in_air_f
        What the field round the edges and the plates' leads add, lossless; without the
        second it is the same with the sheet out (a sheet that is flush).
    bond_thickness_m, bond_permittivity, bond_loss_tangent
        A layer (glue, or air where the plates do not touch) in series; 0 m: none.
    """

    kind: Literal["sheet"]
    relative_permittivity: Positive
    loss_tangent: NotNegative = NONE
    loss_exponent: Quantity = NONE
    reference_hz: Positive = exactly(1e6)
    area_m2: Positive
    thickness_m: Positive
    edge_capacitance_f: NotNegative = NONE
    edge_capacitance_in_air_f: NotNegative | None = None
    bond_thickness_m: NotNegative = NONE
    bond_permittivity: Positive = exactly(1.0)
    bond_loss_tangent: NotNegative = NONE
    temperature_coefficient_ppm_per_k: Quantity = NONE


Part = Annotated[
    CoilPart | CapacitorPart | VariableCapacitorPart | SheetPart,
    Field(discriminator="kind"),
]


class Defect(Table):
    """What can be wrong with one part of a lot.

    Attributes
    ----------
    kind
        ``shorted-turn``: one turn closed on itself; ``cracked-core``: the
        inductance falls, the core's loss rises; ``wrong-value``: a part of another
        value; ``open``: the winding is broken.
    probability
        That a part has it.
    coupling
        Of the shorted turn, squared: the share of the inductance it takes away.
    inductance_factor
        Of a cracked core or a wrong value.
    core_loss_tangent
        What a crack adds.
    """

    kind: Literal["shorted-turn", "cracked-core", "wrong-value", "open"]
    probability: float = Field(ge=0.0, le=1.0)
    coupling: Quantity = exactly(0.1)
    inductance_factor: Positive = exactly(0.7)
    core_loss_tangent: NotNegative = exactly(2e-3)


class LotTable(Table):
    """Many coils of one kind, put into the same slot one after the other."""

    slot: str
    count: int = Field(ge=1, le=100_000)
    part: CoilPart
    defect: tuple[Defect, ...] = Field(default=(), strict=False)

    @model_validator(mode="after")
    def _check(self) -> "LotTable":
        if sum(d.probability for d in self.defect) > 1.0:
            raise ValueError("the probabilities of the defects pass 1")
        return self
