"""Quantities in a TOML file, as types of a model's fields; what is read is in SI.

A quantity is text with a unit, and with its doubt where it has one
(``"10pF +- 0.5pF"``: limits; ``"5pF u=0.5pF"``: a standard uncertainty).
"""

from collections.abc import Callable
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field

from ..analysis.errors import InputError
from ..analysis.quantity import Stated, Unit, parse_quantity, parse_stated

__all__ = [
    "Coupling",
    "Farads",
    "FaradsExact",
    "Fraction",
    "Henries",
    "Hertz",
    "Loss",
    "Ohms",
    "OhmsExact",
    "Resistance",
    "Seconds",
    "Volts",
    "read_quantity",
]

Read = TypeVar("Read")


def read_quantity(given: Any, unit: Unit) -> float:
    """Read a quantity without doubt.

    Raises
    ------
    ValueError
        It is no text, or no such quantity; a model turns it into its own error.
    """
    return _read(given, parse_quantity, unit)


def _read(given: Any, parse: Callable[[str, Unit], Read], unit: Unit) -> Read:
    if not isinstance(given, str):
        raise ValueError(f"{given!r} must be text with a unit, in quotes")  # noqa: TRY004 - pydantic wants ValueError
    try:
        return parse(given, unit)
    except InputError as error:
        raise ValueError(str(error)) from error


def _exact(unit: Unit) -> BeforeValidator:
    return BeforeValidator(lambda given: read_quantity(given, unit))


def _stated(unit: Unit) -> BeforeValidator:
    def read(given: Any) -> Stated:
        return given if isinstance(given, Stated) else _read(given, parse_stated, unit)

    return BeforeValidator(read)


def _not_negative(stated: Stated) -> Stated:
    if stated.value < 0.0:
        raise ValueError(f"{stated.value:g} is below zero")
    return stated


def _above_zero(stated: Stated) -> Stated:
    if stated.value <= 0.0:
        raise ValueError(f"{stated.value:g} is not above zero")
    return stated


NotNegative, AboveZero = AfterValidator(_not_negative), AfterValidator(_above_zero)
Farads = Annotated[Stated, _stated("F"), NotNegative]
Coupling = Annotated[Stated, _stated("F"), AboveZero]
Ohms = Annotated[Stated, _stated("ohm"), NotNegative]
Resistance = Annotated[Stated, _stated("ohm"), AboveZero]
Henries = Annotated[Stated, _stated("H"), NotNegative]
Loss = Annotated[Stated, _stated("fraction"), NotNegative]
Fraction = Annotated[float, _exact("fraction"), Field(ge=0.0, lt=0.5)]
FaradsExact = Annotated[float, _exact("F"), Field(gt=0.0)]
OhmsExact = Annotated[float, _exact("ohm"), Field(gt=0.0)]
Volts = Annotated[float, _exact("V"), Field(gt=0.0)]
Hertz = Annotated[float, _exact("Hz"), Field(gt=0.0)]
Seconds = Annotated[float, _exact("s"), Field(ge=0.0)]
