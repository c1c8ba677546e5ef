"""The bench file: what is on the bench, and what is known of it."""

import re
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BeforeValidator,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from ...analysis.errors import InputError
from ...analysis.quantity import Stated
from ..toml_file import TomlTable, line_of, load_toml, toml_text
from ..toml_quantities import (
    Coupling,
    Farads,
    FaradsExact,
    Fraction,
    Henries,
    Hertz,
    Loss,
    Ohms,
    OhmsExact,
    Resistance,
    Seconds,
    Volts,
)

__all__ = [
    "BenchFile",
    "CapacitorTable",
    "DetectorTable",
    "FixtureTable",
    "GeneratorTable",
    "LimitsTable",
    "load_bench_file",
]


def _days(given: Any) -> float:
    """Read a span of days or hours (``30d``, ``12h``) as seconds."""
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([dh])\s*", str(given))
    if match is None:
        raise ValueError(f"{given!r} is not a time like 30d or 12h")
    return float(match[1]) * {"d": 86400.0, "h": 3600.0}[match[2]]


HAND = "hand"


class _InstrumentTable(TomlTable):
    """What generator and detector have in common.

    Attributes
    ----------
    resource
        VISA resource name; ``hand``: a person sets or reads it.
    dialect
        A bundled dialect's name, or a file beside the bench file; a person needs
        none.
    identity
        Whom to expect there: a pattern in which ``*`` is any text and ``?`` any
        character, of letters in either case; "": anybody.
    settle_s
        (key ``settle``) time it needs after a setting, or for a reading to follow a
        change (of its range, too), in s; where a detector averages, for one of its
        averages.
    timeout_s
        (key ``timeout``) how long an answer may take, in s.
    """

    resource: str
    dialect: str = Field(default="", validate_default=True)
    identity: str = ""
    settle_s: Seconds = Field(alias="settle", default=0.0)
    timeout_s: Seconds = Field(alias="timeout", default=5.0)

    @property
    def is_hand(self) -> bool:
        """Whether a person is this instrument."""
        return self.resource == HAND

    @field_validator("dialect")
    @classmethod
    def _spoken_to(cls, dialect: str, info: ValidationInfo) -> str:
        is_hand = info.data.get("resource") == HAND
        if is_hand and dialect:
            raise ValueError(
                "resource 'hand' is a person, who needs none: leave it out"
            )
        if not is_hand and not dialect:
            raise PydanticCustomError("missing", "a dialect is missing")
        return dialect

    @field_validator("identity")
    @classmethod
    def _expected(cls, identity: str, info: ValidationInfo) -> str:
        if info.data.get("resource") == HAND:
            raise ValueError("resource 'hand' is a person, who has none: leave it out")
        if not identity.strip():
            raise ValueError(
                "a pattern that nobody has: write what the instrument answers to "
                "*IDN?, with * for any text, or leave it out"
            )
        return identity


class GeneratorTable(_InstrumentTable):
    """``[generator]``: the source of the signal.

    Attributes
    ----------
    level_v
        (key ``level``) e.m.f. behind the source resistance, V r.m.s.
    source_resistance
        In ohm.
    frequency_reference
        Limits of the reference's relative error (``"2ppm"``).
    level_linearity
        Limits of the relative error of a ratio of two of its levels (``"0.1%"``):
        what a linearised detector leans on. The default, 0.5 %, is 0.04 dB: common
        practice, no published source.
    """

    level_v: Volts = Field(alias="level")
    source_resistance: Resistance = Stated(value=50.0)
    frequency_reference: Fraction
    level_linearity: Fraction = 0.005


class DetectorTable(_InstrumentTable):
    """``[detector]``: what reads the amplitude.

    Attributes
    ----------
    input_resistance, input_capacitance
        What it puts across the circuit at the frequency of use, in ohm and F. A
        probe's resistance falls with frequency: the data sheet's figure for direct
        current is too high.
    linearity
        Limits of the relative error of a ratio of two readings (``"0.2%"``).
    linearisation
        A file beside the bench file that ``halfpower bench linearise`` has written:
        every reading goes through it, and what it leaves takes the place of
        ``linearity``, unless that is stated to be better.
    averages
        How many samples or records make one reading; None: what the dialect says.
    load_ohm
        (key ``load``) resistance that a person's reading in dBm or W is told across.
    """

    input_resistance: Resistance
    input_capacitance: Farads = Stated(value=0.0)
    linearity: Fraction
    linearisation: str = ""
    averages: int | None = Field(default=None, ge=1)
    load_ohm: OhmsExact = Field(alias="load", default=50.0)


class FixtureTable(TomlTable):
    """``[fixture]``: how the tank is driven and read, and what that adds.

    Attributes
    ----------
    kind
        ``coupled-tank``: driven through a small capacitor, read by a
        high-impedance probe; ``coupled-both-sides``: read through a second small
        capacitor into a low impedance.
    coupling_capacitance, output_coupling_capacitance
        The small capacitors, in F.
    stray_capacitance, stray_loss
        Across the tank, beside the couplings and the probe, in F, and its
        dissipation factor.
    lead_inductance, lead_resistance
        Of the leads between the tank and the part, in H and ohm.
    record
        A file beside the bench file that ``halfpower fixture measure`` has written:
        what it holds takes the place of ``stray_capacitance`` and of the detector's
        ``input_resistance`` and ``input_capacitance``.
    record_age_s
        (key ``record_age``) how old it may be (``"30d"``); None: any age.
    """

    kind: Literal["coupled-tank", "coupled-both-sides"]
    coupling_capacitance: Coupling
    output_coupling_capacitance: Coupling | None = None
    stray_capacitance: Farads
    stray_loss: Loss = Stated(value=0.0)
    lead_inductance: Henries = Stated(value=0.0)
    lead_resistance: Ohms = Stated(value=0.0)
    record: str = ""
    record_age_s: Annotated[float, BeforeValidator(_days)] | None = Field(
        alias="record_age", default=None
    )


class CapacitorTable(TomlTable):
    """``[capacitor]``: a calibrated variable capacitor across the tank.

    Attributes
    ----------
    resource
        ``hand``: a person turns it.
    lowest_f, highest_f
        (keys ``lowest``, ``highest``) the ends of its dial, in F.
    scale_error
        Limits of the relative error of its dial (``"0.2%"``).
    inductance
        Of its plates and leads, in H.
    loss
        Its dissipation factor.
    """

    resource: Literal["hand"] = "hand"
    lowest_f: FaradsExact = Field(alias="lowest")
    highest_f: FaradsExact = Field(alias="highest")
    scale_error: Fraction
    inductance: Henries = Stated(value=0.0)
    loss: Loss = Stated(value=0.0)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.lowest_f >= self.highest_f:
            raise ValueError("lowest is not below highest")
        return self


class LimitsTable(TomlTable):
    """``[limits]``: what must not be passed.

    Attributes
    ----------
    tank_voltage_v
        (key ``tank_voltage``) the tank's highest voltage, V r.m.s. The default is
        the touch limit in normal condition of IEC 61010-1, 6.3.1.
    lowest_frequency_hz, highest_frequency_hz
        (keys without ``_hz``) the generator's range in Hz.
    """

    tank_voltage_v: Volts = Field(alias="tank_voltage", default=30.0)
    lowest_frequency_hz: Hertz = Field(alias="lowest_frequency", default=1.0)
    highest_frequency_hz: Hertz = Field(alias="highest_frequency", default=1e12)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.lowest_frequency_hz >= self.highest_frequency_hz:
            raise ValueError("lowest_frequency is not below highest_frequency")
        return self


class BenchFile(TomlTable):
    """A whole bench file.

    Attributes
    ----------
    visa
        Which VISA pyvisa is to load; ``@py`` is pyvisa-py.
    generator, detector, fixture, capacitor, limits
        The tables; a bench without a variable capacitor has no ``[capacitor]``.
    """

    visa: str = "@py"
    generator: GeneratorTable
    detector: DetectorTable
    fixture: FixtureTable
    capacitor: CapacitorTable | None = None
    limits: LimitsTable = LimitsTable()


def load_bench_file(path: Path) -> BenchFile:
    """Read and check a bench file.

    Raises
    ------
    InputError
        Every mistake with its line (see `load_toml`), or a fixture whose second
        coupling capacitor is missing.
    """
    bench = load_toml(path, record=BenchFile, what="bench file")
    fixture = bench.fixture
    if (
        fixture.kind == "coupled-both-sides"
        and fixture.output_coupling_capacitance is None
    ):
        line = line_of(("fixture", "kind"), toml_text(path, what="bench file"))
        raise InputError(
            f"bench file {path}: line {line}: a coupled-both-sides fixture needs "
            "'output_coupling_capacitance' in [fixture]",
            path=path,
        )
    return bench
