"""Dialects: how one kind of instrument is spoken to, as data.

A dialect is a TOML table of command templates and reply units. Bundled ones use the
standard's own forms; a file beside the bench file serves for any other instrument.
"""

import math
import string
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

from ..analysis.errors import InputError
from .toml_file import load_toml

__all__ = [
    "DetectorDialect",
    "GeneratorDialect",
    "bundled_dialects",
    "load_detector_dialect",
    "load_generator_dialect",
]


# One line of ASCII, which is all that the links carry.
Command = Annotated[str, StringConstraints(pattern=r"^[\x20-\x7e]+$")]


def _template(*fields: str) -> AfterValidator:
    """Accept a command whose placeholders are just these."""

    def check(text: str) -> str:
        try:
            used = {name for _, name, _, _ in string.Formatter().parse(text) if name}
            text.format(**dict.fromkeys(fields, 1.0))
        except (ValueError, LookupError, AttributeError) as error:
            raise ValueError(f"{text!r} is not a usable template: {error}") from error
        if used != set(fields):
            raise ValueError(f"{text!r} must contain {{{'}, {'.join(fields)}}}")
        return text

    return AfterValidator(check)


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Start(_Table):
    """``[start]``: what is sent once after opening."""

    commands: list[Command] = []


class Frequency(_Table):
    """``[frequency]``: set it in Hz, read it back."""

    set: Annotated[Command, _template("frequency_hz")]
    read: Command


class Level(_Table):
    """``[level]``: set it in this unit, across this assumed load."""

    set: Annotated[Command, _template("level")]
    read: Command
    unit: Literal["Vrms", "Vpp", "dBm"]
    load_ohm: float = Field(gt=0.0)

    @model_validator(mode="after")
    def _power_needs_a_load(self) -> Self:
        if self.unit == "dBm" and math.isinf(self.load_ohm):
            raise ValueError("a level in dBm needs a load_ohm that is finite")
        return self


class Output(_Table):
    """``[output]``: on, off, and which of the two (``1`` or ``0``)."""

    on: Command
    off: Command
    read: Command


class Range(_Table):
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


class ReadingTable(_Table):
    """``[reading]``: the query for one amplitude and the unit of its answer."""

    read: Command
    unit: Literal["Vrms", "dBm"]
    load_ohm: float = Field(default=50.0, gt=0.0, allow_inf_nan=False)


class Common(_Table):
    """``[common]``: identity and error queue."""

    identity: Command
    error: Command


class GeneratorDialect(_Table):
    """How a generator is spoken to."""

    kind: Literal["generator"]
    start: Start = Start()
    frequency: Frequency
    level: Level
    output: Output
    common: Common


class DetectorDialect(_Table):
    """How a detector is spoken to; without ``[range]`` it needs no following."""

    kind: Literal["detector"]
    start: Start = Start()
    reading: ReadingTable
    range: Range | None = None
    common: Common


Dialect = TypeVar("Dialect", GeneratorDialect, DetectorDialect)


def bundled_dialects() -> tuple[str, ...]:
    """Names of the dialects that come with the package."""
    folder = resources.files(__package__) / "dialects"
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(n.removesuffix(".toml") for n in names if n.endswith(".toml")))


def load_generator_dialect(name: str, *, folder: Path) -> GeneratorDialect:
    """Load a generator's dialect by bundled name or by file (see `_load`)."""
    return _load(name, folder=folder, record=GeneratorDialect)


def load_detector_dialect(name: str, *, folder: Path) -> DetectorDialect:
    """Load a detector's dialect by bundled name or by file (see `_load`)."""
    return _load(name, folder=folder, record=DetectorDialect)


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
    with resources.as_file(resources.files(__package__) / "dialects") as bundled:
        path = bundled / f"{name}.toml"
        return load_toml(path, record=record, what="dialect")
