"""`halfpower marking`: what a marking may mean, and what a measurement says to it."""

from typing import TYPE_CHECKING, Annotated

import typer

from ..words import JsonOption, OverwriteOption

if TYPE_CHECKING:
    from ...analysis.markings import Kind
    from ...analysis.quantity import Unit

__all__ = ["marking"]


def marking(
    *,
    text: Annotated[
        str,
        typer.Argument(
            metavar="MARKING",
            help="What is printed on the part; capitals matter.",
            show_default=False,
        ),
    ],
    kind: Annotated[
        str,
        typer.Option(
            "--kind",
            metavar="KIND",
            help="capacitor, inductor or resistor.",
            show_default=False,
        ),
    ],
    measured: Annotated[
        str | None,
        typer.Option(
            "--measured",
            metavar="QUANTITY",
            help="A measured value with its uncertainty, as '98pF u=1pF'.",
        ),
    ] = None,
    tolerance: Annotated[
        str | None,
        typer.Option(
            "--tolerance",
            metavar="SHARE",
            help="The part's, where no letter says it; 20% otherwise.",
        ),
    ] = None,
    none_share: Annotated[
        str,
        typer.Option(
            "--none-share",
            metavar="SHARE",
            help="How likely none of the readings is right, before the measurement.",
        ),
    ] = "5%",
    json: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Read a marking in every way it allows; weigh the readings by a measurement.

    Exit status 1: the measurement fits none of them, or does not decide.

    Example: halfpower marking 470K --kind capacitor --measured "46.2pF u=0.5pF"
    """
    from ...analysis.markings import read_marking, weigh_readings
    from ...analysis.quantity import parse_quantity, parse_stated
    from ..words import end_with, hand_out_marking

    part, unit = _kind(kind)
    share = parse_quantity(none_share, "fraction")
    known = None if tolerance is None else parse_quantity(tolerance, "fraction")
    value = None if measured is None else parse_stated(measured, unit)
    readings = read_marking(text, kind=part, tolerance=known)
    odds = (
        None
        if value is None
        else weigh_readings(readings, measured=value, none_share=share)
    )
    hand_out_marking(
        readings,
        text=text,
        kind=part,
        measured=value,
        odds=odds,
        json=json,
        overwrite=overwrite,
    )
    end_with(None if odds is None else odds.verdict)


def _kind(text: str) -> tuple["Kind", "Unit"]:
    from ...analysis.errors import InputError
    from ...analysis.markings import KINDS

    units: dict[Kind, Unit] = {"capacitor": "F", "inductor": "H", "resistor": "ohm"}
    for kind in KINDS:
        if kind == text:
            return kind, units[kind]
    raise InputError(f"--kind {text!r} is not one of " + ", ".join(KINDS))
