"""What a scene file and a fixture table may say, as closed, checked tables."""

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from .part_models import LotTable, Part
from .spread import NONE, NotNegative, Positive, Quantity, Table, exactly

__all__ = [
    "DetectorTable",
    "DiodeProbeTable",
    "ElementTable",
    "EnvironmentTable",
    "FaultTable",
    "FixtureTable",
    "GeneratorTable",
    "PowerMeterTable",
    "SceneTable",
    "ScopeTable",
    "Slot",
    "VoltmeterTable",
]

Dialect = Literal["standard", "compact"]


def _is_resource(name: str) -> str:
    from pyvisa.rname import to_canonical_name

    to_canonical_name(name)
    return name


Resource = Annotated[str, AfterValidator(_is_resource)]


class ElementTable(Table):
    """One element of a fixture: a series R-L-C branch between two nodes."""

    name: str
    nodes: tuple[str, str] = Field(strict=False)
    resistance_ohm: NotNegative = NONE
    inductance_h: NotNegative = NONE
    capacitance_f: NotNegative | None = None
    dissipation_factor: NotNegative = NONE
    dissipation_exponent: Quantity = NONE
    reference_hz: Positive = exactly(1e6)


class Slot(Table):
    """Where a part is put."""

    name: str
    nodes: tuple[str, str] = Field(strict=False)


class FixtureTable(Table):
    """A fixture: elements between named nodes, and slots for parts."""

    schema_: Literal["halfpower.fixture/1"] = Field(alias="schema")
    title: str
    description: str
    source_node: str
    detector_node: str
    slot: tuple[Slot, ...] = Field(strict=False)
    element: tuple[ElementTable, ...] = Field(strict=False)

    @model_validator(mode="after")
    def _check(self) -> "FixtureTable":
        names = [e.name for e in self.element] + [s.name for s in self.slot]
        doubled = sorted({n for n in names if names.count(n) > 1})
        if doubled:
            raise ValueError(f"two elements or slots are called {doubled[0]}")
        touched = {n for e in self.element for n in e.nodes}
        touched |= {n for s in self.slot for n in s.nodes}
        for node in (self.source_node, self.detector_node):
            if node not in touched:
                raise ValueError(f"no element and no slot touches the node {node}")
        return self


class GeneratorTable(Table):
    """The signal generator."""

    resource: Resource
    dialect: Dialect = "standard"
    source_resistance_ohm: Positive = exactly(50.0)
    frequency_min_hz: float = Field(default=1e3, gt=0.0)
    frequency_max_hz: float = Field(default=60e6, gt=0.0)
    frequency_resolution_hz: float = Field(default=0.01, gt=0.0)
    reference_error_ppm: Quantity = NONE
    level_min_vpp: float = Field(default=2e-3, gt=0.0)
    level_max_vpp: float = Field(default=10.0, gt=0.0)
    level_step_db: float = Field(default=0.01, ge=0.0)
    level_error_db: Quantity = NONE
    frequency_dip: float = Field(default=0.2, ge=0.0, le=1.0)
    settling_s: float = Field(default=1e-3, ge=0.0)
    harmonics_dbc: tuple[float, ...] = Field(default=(), strict=False, max_length=9)

    @model_validator(mode="after")
    def _check(self) -> "GeneratorTable":
        if self.frequency_min_hz >= self.frequency_max_hz:
            raise ValueError("frequency_min_hz must be below frequency_max_hz")
        if self.level_min_vpp >= self.level_max_vpp:
            raise ValueError("level_min_vpp must be below level_max_vpp")
        return self


class _Input(Table):
    """The load that a detector is, and the time it takes."""

    resource: Resource
    dialect: Dialect = "standard"
    input_resistance_ohm: Positive = exactly(10e6)
    input_capacitance_f: NotNegative = exactly(10e-12)
    input_dissipation: NotNegative = NONE
    gain_error: Quantity = NONE
    window_s: float = Field(default=10e-6, gt=0.0)
    reading_s: float = Field(default=5e-3, ge=0.0)
    lag_s: float = Field(default=0.0, ge=0.0)


class ScopeTable(_Input):
    """An oscilloscope."""

    kind: Literal["scope"]
    scale_min_v: float = Field(default=1e-3, gt=0.0)
    scale_max_v: float = Field(default=10.0, gt=0.0)
    bits: int = Field(default=8, ge=4, le=16)
    noise_v: float = Field(default=0.2e-3, ge=0.0)
    noise_divisions: float = Field(default=0.02, ge=0.0)
    bandwidth_hz: float = Field(default=200e6, gt=0.0)
    offset_v: Quantity = NONE


class PowerMeterTable(_Input):
    """A power meter."""

    kind: Literal["power-meter"]
    input_resistance_ohm: Positive = exactly(50.0)
    input_capacitance_f: NotNegative = exactly(0.5e-12)
    window_s: float = Field(default=10e-3, gt=0.0)
    reading_s: float = Field(default=50e-3, ge=0.0)
    power_max_dbm: float = 20.0
    noise_dbm: float = -70.0
    offset_w: Quantity = NONE
    bandwidth_hz: float = Field(default=2e9, gt=0.0)
    frequency_min_hz: float = Field(default=10e3, gt=0.0)
    frequency_max_hz: float = Field(default=6e9, gt=0.0)


class VoltmeterTable(_Input):
    """An r.f. voltmeter that answers r.m.s. values."""

    kind: Literal["voltmeter"]
    input_resistance_ohm: Positive = exactly(1e6)
    input_capacitance_f: NotNegative = exactly(8e-12)
    window_s: float = Field(default=20e-3, gt=0.0)
    reading_s: float = Field(default=40e-3, ge=0.0)
    range_min_v: float = Field(default=0.1, gt=0.0)
    range_max_v: float = Field(default=100.0, gt=0.0)
    counts: int = Field(default=20_000, ge=100)
    noise_v: float = Field(default=50e-6, ge=0.0)
    bandwidth_hz: float = Field(default=20e6, gt=0.0)


class DiodeProbeTable(_Input):
    """A diode and its capacitor in front of a d.c. voltmeter."""

    kind: Literal["diode-probe"]
    input_resistance_ohm: Positive = exactly(50e3)
    input_capacitance_f: NotNegative = exactly(3e-12)
    window_s: float = Field(default=20e-3, gt=0.0)
    reading_s: float = Field(default=40e-3, ge=0.0)
    emission_voltage_v: Positive = exactly(28e-3)
    breakdown_v: float = Field(default=20.0, gt=0.0)
    resolution_v: float = Field(default=10e-6, gt=0.0)
    noise_v: float = Field(default=20e-6, ge=0.0)
    offset_v: Quantity = NONE
    bandwidth_hz: float = Field(default=500e6, gt=0.0)


DetectorTable = Annotated[
    ScopeTable | PowerMeterTable | VoltmeterTable | DiodeProbeTable,
    Field(discriminator="kind"),
]


class ElementOverride(Table):
    """Values by which a scene's fixture differs from its table."""

    resistance_ohm: NotNegative | None = None
    inductance_h: NotNegative | None = None
    capacitance_f: NotNegative | None = None
    dissipation_factor: NotNegative | None = None
    dissipation_exponent: Quantity | None = None
    reference_hz: Positive | None = None


class FixtureChoice(Table):
    """Which fixture table, and how this one differs."""

    table: str
    elements: dict[str, ElementOverride] = {}  # noqa: RUF012 # pydantic copies it


class EnvironmentTable(Table):
    """The room: parts are what their values say at the reference temperature."""

    temperature_c: Quantity = exactly(23.0)
    reference_temperature_c: float = 23.0
    warming_k_per_s: Quantity = NONE


class FaultTable(Table):
    """Something that goes wrong on a link or in an instrument.

    Attributes
    ----------
    instrument
        ``generator`` or ``detector``.
    kind
        ``silence``, ``late``, ``half``, ``garbage``, ``overload`` (an answer of
        9.9E37) and ``terminator`` (a carriage return in the line feed's place) spoil
        an answer; ``error`` (an entry in the error queue), ``reset`` (settings lost)
        and ``closed`` (the link breaks) come with any message.
    probability
        For each message that it can spoil.
    at_message, at_s
        Once instead: at the n-th such message, or at the first after that time.
    delay_s
        Of a late answer.
    """

    instrument: Literal["generator", "detector"]
    kind: Literal[
        "silence",
        "late",
        "half",
        "garbage",
        "overload",
        "terminator",
        "error",
        "reset",
        "closed",
    ]
    probability: float | None = Field(default=None, gt=0.0, le=1.0)
    at_message: int | None = Field(default=None, ge=1)
    at_s: float | None = Field(default=None, ge=0.0)
    delay_s: float = Field(default=30.0, gt=0.0)

    @model_validator(mode="after")
    def _check(self) -> "FaultTable":
        given = [
            v for v in (self.probability, self.at_message, self.at_s) if v is not None
        ]
        if len(given) != 1:
            raise ValueError("give one of probability, at_message and at_s")
        return self


class SceneTable(Table):
    """A whole bench and the parts in it."""

    schema_: Literal["halfpower.scene/1"] = Field(alias="schema")
    title: str
    setting: str
    generator: GeneratorTable
    detector: DetectorTable
    fixture: FixtureChoice
    parts: dict[str, Part] = {}  # noqa: RUF012 # pydantic copies it
    lot: LotTable | None = None
    environment: EnvironmentTable = EnvironmentTable()
    fault: tuple[FaultTable, ...] = Field(default=(), strict=False)

    @model_validator(mode="after")
    def _check(self) -> "SceneTable":
        if self.lot is not None and self.lot.slot in self.parts:
            raise ValueError(
                f"the slot {self.lot.slot} is the lot's: leave it out of parts"
            )
        return self
