"""Dialects: how one kind of instrument is spoken to, as data.

A dialect is a TOML table of command templates and reply units. Bundled ones use the
standard's own forms; a file beside the bench file serves for any other instrument.
"""

import functools
import math
import re
import string
import tomllib
from importlib import resources
from pathlib import Path
from typing import Annotated, Literal, Self, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)

from ...analysis.errors import InputError
from ...analysis.given_text import shown
from ..toml_file import load_toml
from .levels import LevelUnit, ReadingUnit
from .scpi import (
    QueuedError,
    ReplyForm,
    parse_event_status,
    parse_numbered_error,
    parse_queued_error,
)

__all__ = [
    "Common",
    "DetectorDialect",
    "ErrorForm",
    "Frequency",
    "GeneratorDialect",
    "Level",
    "LinkTable",
    "Range",
    "ReadingTable",
    "Reference",
    "Tuning",
    "bundled_dialects",
    "check_dialect_text",
    "load_detector_dialect",
    "load_generator_dialect",
]


# One line of ASCII, which is all that the links carry.
Command = Annotated[str, StringConstraints(pattern=r"^[\x20-\x7e]+$")]
ErrorForm = Literal["queue", "number", "register"]
_ERROR_FORMS = {
    "queue": parse_queued_error,
    "number": parse_numbered_error,
    "register": parse_event_status,
}
FREQUENCY_FIELDS = {"frequency_hz": 1.0, "frequency_khz": 1e-3, "frequency_mhz": 1e-6}
LEVEL_FIELDS = {"level": 1.0, "level_milli": 1e3}


def _fields_of(text: str, samples: dict[str, float]) -> set[str]:
    try:
        fields = [one for one in string.Formatter().parse(text) if one[1]]
        for _, _, form, _ in fields:
            _refuse_wide(form or "")
        text.format(**samples)
    except (ValueError, LookupError, AttributeError, TypeError) as error:
        raise ValueError(f"{shown(text)} is not a usable template: {error}") from error
    return {str(name) for _, name, _, _ in fields}


def _refuse_wide(form: str) -> None:
    if re.search(r"\{|[0-9]{3}", form):
        raise ValueError("a width or a precision has two digits at most")


def _template(name: str, *, sample: float = 1.0) -> AfterValidator:
    """Accept a command with this one placeholder."""

    def check(text: str) -> str:
        if _fields_of(text, {name: sample}) != {name}:
            raise ValueError(f"{text!r} must contain {{{name}}}")
        return text

    return AfterValidator(check)


def _one_of(factors: dict[str, float]) -> AfterValidator:
    """Accept a command with one of these placeholders."""

    def check(text: str) -> str:
        used = _fields_of(text, factors)
        if len(used) != 1 or not used <= factors.keys():
            *first, last = (f"{{{name}}}" for name in factors)
            raise ValueError(
                f"{text!r} must contain {', '.join(first)} or {last}, and one of them "
                "only"
            )
        return text

    return AfterValidator(check)


def _filled(text: str, value: float, factors: dict[str, float]) -> str:
    return text.format(**{name: value * factor for name, factor in factors.items()})


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class LinkTable(_Table):
    """``[link]``: how lines are ended and paced.

    Attributes
    ----------
    write_termination, read_termination
        What ends a line to and from the instrument.
    echo
        Whether it sends every command back before it answers.
    greeting
        Whether it sends a line to whoever connects, before it is asked anything.
    pause_s
        Rest that it needs between two commands, in s.
    baud_rate, data_bits, parity, stop_bits, flow_control
        Of a serial line; elsewhere they are not used.
    """

    write_termination: Literal["\n", "\r\n", "\r"] = "\n"
    read_termination: Literal["\n", "\r\n", "\r"] = "\n"
    echo: bool = False
    greeting: bool = False
    pause_s: float = Field(default=0.0, ge=0.0, le=10.0)
    baud_rate: int = Field(default=9600, gt=0)
    data_bits: Literal[7, 8] = 8
    parity: Literal["none", "odd", "even"] = "none"
    stop_bits: Literal[1, 2] = 1
    flow_control: Literal["none", "xon-xoff", "rts-cts"] = "none"


class Start(_Table):
    """``[start]``: what is sent once after opening."""

    commands: list[Command] = []


class _Answer(_Table):
    """What every table with a numeric answer may say of its form.

    Attributes
    ----------
    header
        What stands before the number (``"CH1:"``).
    suffixes
        What may stand behind it and what it means (``{ V = 1.0, mV = 1e-3 }``);
        anything else is refused. Without the key a bare number is expected.
    """

    header: str = ""
    suffixes: dict[str, Annotated[float, Field(gt=0.0, allow_inf_nan=False)]] = {}

    @functools.cached_property
    def form(self) -> ReplyForm:
        """The form of its replies."""
        return ReplyForm(header=self.header, suffixes=self.suffixes)


class Frequency(_Answer):
    """``[frequency]``: set it in Hz, kHz or MHz; read it back in Hz, or not."""

    set: Annotated[Command, _one_of(FREQUENCY_FIELDS)]
    read: Command | None = None

    def command(self, frequency_hz: float) -> str:
        """Return the command that sets a frequency in Hz."""
        return _filled(self.set, frequency_hz, FREQUENCY_FIELDS)


class Tuning(Frequency):
    """``[tuning]``: a detector that must be told where to listen, at every step.

    Attributes
    ----------
    tolerance_hz
        How far off its frequency may read back; a receiver rounds to its own steps.
    """

    tolerance_hz: float = Field(default=0.51, gt=0.0, allow_inf_nan=False)


class Level(_Answer):
    """``[level]``: set it in this unit or its thousandth, across this load."""

    set: Annotated[Command, _one_of(LEVEL_FIELDS)]
    read: Command | None = None
    unit: LevelUnit
    load_ohm: float = Field(gt=0.0)

    @model_validator(mode="after")
    def _power_needs_a_load(self) -> Self:
        if self.unit == "dBm" and math.isinf(self.load_ohm):
            raise ValueError("a level in dBm needs a load_ohm that is finite")
        if self.unit == "dBm" and "{level_m" in self.set:
            raise ValueError("a level in dBm has no thousandths: write {level}")
        return self

    def command(self, level: float) -> str:
        """Return the command that sets a level in the table's unit."""
        return _filled(self.set, level, LEVEL_FIELDS)


class Output(_Table):
    """``[output]``: on, off, and which of the two (``1`` or ``0``), if it can say."""

    on: Command
    off: Command
    read: Command | None = None
    header: str = ""


class Range(_Answer):
    """``[range]``: a scope's vertical scale, in V per division."""

    set: Annotated[Command, _template("volts_per_division")]
    read: Command
    divisions: float = Field(gt=0.0, allow_inf_nan=False)
    lowest: float = Field(gt=0.0, allow_inf_nan=False)
    highest: float = Field(gt=0.0, allow_inf_nan=False)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.lowest > self.highest:
            raise ValueError("lowest is above highest")
        return self


class Averaging(_Answer):
    """``[averaging]``: how many records or samples make one reading."""

    set: Annotated[Command, _template("count", sample=1)]
    read: Command | None = None
    count: int = Field(default=1, ge=1)


class ReadingTable(_Answer):
    """``[reading]``: the query for one amplitude and what its answer means.

    Attributes
    ----------
    unit
        ``Vrms``, ``Vpp``, ``Vpeak`` (a peak-reading diode probe's d.c.), ``dBm`` or
        ``W``.
    load_ohm
        Resistance that a power is told across.
    overload
        Its own answers to an overload, numbers or words. With them named, 9.9E37 is
        an overload too; without, it may be too much, too little or not yet.
    nothing
        Its own answers where there is too little to measure: an amplitude of 0.
    field
        Which of several numbers in one reply it is, from 1.
    separator
        What stands between them.
    """

    read: Command
    unit: ReadingUnit
    load_ohm: float = Field(default=50.0, gt=0.0, allow_inf_nan=False)
    overload: list[Annotated[float, Field(allow_inf_nan=False)] | str] = []
    nothing: list[Annotated[float, Field(allow_inf_nan=False)] | str] = []
    field: int | None = Field(default=None, ge=1)
    separator: str = Field(default=",", min_length=1)

    @functools.cached_property
    def form(self) -> ReplyForm:
        """The form of its replies."""
        return ReplyForm(
            header=self.header,
            suffixes=self.suffixes,
            overload=tuple(self.overload),
            nothing=tuple(self.nothing),
            place=self.field,
            separator=self.separator,
        )


class Reference(ReadingTable):
    """``[reference]``: a second channel, read with every reading.

    A reading then counts as a ratio to it, at the level that the reference had first:
    a drift of the generator's level drops out.
    """


class Common(_Table):
    """``[common]``: identity, and how the instrument says what it refused.

    Attributes
    ----------
    identity
        The question who it is; "" where it has none.
    error
        The query; without it refusals show in read-back values alone.
    error_form
        ``queue``: ``<number>,"<text>"``, one entry a query; ``number``: a queue that
        has no texts; ``register``: the standard event status register (``*ESR?``).
    """

    identity: Annotated[str, StringConstraints(pattern=r"^[\x20-\x7e]*$")] = ""
    error: Command | None = None
    error_form: ErrorForm = "queue"

    def queued(self, reply: str) -> QueuedError:
        """Read one answer to the error query."""
        return _ERROR_FORMS[self.error_form](reply)


class _Dialect(_Table):
    """What both kinds have.

    Attributes
    ----------
    settle_s
        Time that it needs after a setting, in s, unless the bench file says another.
    """

    settle_s: float = Field(default=0.0, ge=0.0, le=60.0)
    link: LinkTable = LinkTable()
    start: Start = Start()
    common: Common = Common()

    def where(self, command: str) -> str:
        """Give the table and the key that hold a command."""
        for name, table in self:
            if isinstance(table, BaseModel):
                for key, value in table:
                    if value == command:
                        return f"{key} under [{name}]"
        return "it"


class GeneratorDialect(_Dialect):
    """How a generator is spoken to."""

    kind: Literal["generator"]
    frequency: Frequency
    level: Level
    output: Output


class DetectorDialect(_Dialect):
    """How a detector is spoken to; without ``[range]`` it needs no following."""

    kind: Literal["detector"]
    reading: ReadingTable
    reference: Reference | None = None
    tuning: Tuning | None = None
    range: Range | None = None
    averaging: Averaging | None = None


Dialect = TypeVar("Dialect", GeneratorDialect, DetectorDialect)


def bundled_dialects() -> tuple[str, ...]:
    """Names of the dialects that come with the package."""
    folder = resources.files(__package__)
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(n.removesuffix(".toml") for n in names if n.endswith(".toml")))


def load_generator_dialect(name: str, *, folder: Path) -> GeneratorDialect:
    """Load a generator's dialect by bundled name or by file (see `_load`)."""
    return _load(name, folder=folder, record=GeneratorDialect)


def load_detector_dialect(name: str, *, folder: Path) -> DetectorDialect:
    """Load a detector's dialect by bundled name or by file (see `_load`)."""
    return _load(name, folder=folder, record=DetectorDialect)


def check_dialect_text(text: str, *, kind: Literal["generator", "detector"]) -> None:
    """See that a dialect file's text would load.

    Raises
    ------
    pydantic.ValidationError, tomllib.TOMLDecodeError
        It would not.
    """
    record = GeneratorDialect if kind == "generator" else DetectorDialect
    record.model_validate(tomllib.loads(text))


def _load(name: str, *, folder: Path, record: type[Dialect]) -> Dialect:
    """Load ``name``: bundled, or a ``.toml`` file relative to ``folder``.

    Raises
    ------
    InputError
        There is neither such a bundled dialect nor such a file, or it has mistakes.
    """
    if name.endswith(".toml"):
        return load_toml(folder / name, record=record, what="dialect file")
    if name not in bundled_dialects():
        raise InputError(
            f"there is no dialect {name!r}; bundled are "
            f"{', '.join(bundled_dialects())}, and a file's name ends in .toml",
            dialect=name,
        )
    with resources.as_file(resources.files(__package__)) as bundled:
        path = bundled / f"{name}.toml"
        return load_toml(path, record=record, what="dialect")
