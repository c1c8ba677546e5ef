"""Options that several commands share, and how their text is read."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

if TYPE_CHECKING:
    from ...analysis.quantity import Stated, Unit
    from ...sweeps.run import Expected, KnownCapacitor

Choice = TypeVar("Choice", bound=str)

__all__ = [
    "AttachedOption",
    "BenchOption",
    "CapacitorLossOption",
    "FromOption",
    "HookupOption",
    "JsonOption",
    "LabelOption",
    "MostOption",
    "OverwriteOption",
    "PageOption",
    "PlotOption",
    "ReadingsOption",
    "ResumeOption",
    "SceneOption",
    "SeedOption",
    "TankCapacitorOption",
    "TankLossOption",
    "TargetOption",
    "ToOption",
    "TraceOption",
    "WorkCoilOption",
    "choice_of",
    "expected_of",
    "known_capacitor",
    "length_of",
    "length_or_none",
    "stated_or_none",
]

BenchOption = Annotated[
    Path | None,
    typer.Option("--bench", metavar="FILE", help="Bench file (TOML)."),
]
SceneOption = Annotated[
    str | None,
    typer.Option(
        "--scene",
        metavar="SCENE",
        help="Measure on a simulated bench instead of instruments.",
    ),
]
SeedOption = Annotated[
    int, typer.Option("--seed", min=0, help="Seed of the simulated bench.")
]
FromOption = Annotated[
    str | None,
    typer.Option("--from", metavar="FREQUENCY", help="Lowest frequency, as 5MHz."),
]
ToOption = Annotated[
    str | None,
    typer.Option("--to", metavar="FREQUENCY", help="Highest frequency, as 10MHz."),
]
LabelOption = Annotated[
    str, typer.Option("--label", metavar="TEXT", help="What the part is called.")
]
TargetOption = Annotated[
    str,
    typer.Option(
        "--target",
        metavar="SHARE",
        help="Stop when the loaded Q is known to this standard uncertainty.",
    ),
]
MostOption = Annotated[
    int,
    typer.Option("--most-readings", metavar="N", help="Stop after so many readings."),
]
JsonOption = Annotated[
    str | None,
    typer.Option(
        "--json",
        metavar="FILE",
        help="Write the result document; - for standard output, and nothing else.",
    ),
]
PlotOption = Annotated[
    Path | None,
    typer.Option("--plot", metavar="FILE", help="Draw it (.png, .svg or .pdf)."),
]
OverwriteOption = Annotated[
    bool,
    typer.Option(
        "--overwrite",
        help="Replace files that are there already; never one that is read, readings, "
        "a trace or a record base.",
    ),
]
PageOption = Annotated[
    Path | None,
    typer.Option("--page", metavar="FILE", help="Write a page of the result (.html)."),
]
ReadingsOption = Annotated[
    Path | None,
    typer.Option(
        "--readings",
        metavar="FILE",
        help="Where to keep every reading (CSV); by default under halfpower-out/.",
    ),
]
ResumeOption = Annotated[
    Path | None,
    typer.Option(
        "--resume",
        metavar="FILE",
        help="Go on from the readings of an interrupted measurement (same options; "
        "--target and --most-readings may change).",
    ),
]
TraceOption = Annotated[
    Path | None,
    typer.Option(
        "--trace",
        metavar="FILE",
        help="Write every byte to and from the instruments to FILE, with its time.",
    ),
]
HookupOption = Annotated[
    Path | None,
    typer.Option(
        "--hookup",
        metavar="FOLDER",
        help="Draw what is to be hooked up for each step, as SVG in FOLDER.",
    ),
]
AttachedOption = Annotated[
    bool,
    typer.Option(
        "--attached",
        help="What is asked for first is on the fixture already: do not ask, drive it "
        "(for runs that nobody attends).",
    ),
]
TankCapacitorOption = Annotated[
    str | None,
    typer.Option(
        "--tank",
        metavar="CAPACITANCE",
        help="The known capacitor that stays across the work coil, as '150pF +- 1%'.",
    ),
]
TankLossOption = Annotated[
    str | None,
    typer.Option(
        "--tank-loss",
        metavar="D",
        help="Its dissipation factor, as '0.0002 +- 0.0001'.",
    ),
]
WorkCoilOption = Annotated[
    str | None,
    typer.Option(
        "--self-capacitance",
        metavar="CAPACITANCE",
        help="The work coil's own, as '4pF +- 1pF'.",
    ),
]
CapacitorLossOption = Annotated[
    str | None,
    typer.Option(
        "--capacitor-loss",
        metavar="D",
        help="The capacitors' dissipation factor, as '0.0002 +- 0.0001'.",
    ),
]


def stated_or_none(text: str | None, unit: "Unit") -> "Stated | None":
    """Read a quantity with its doubt, if there is one."""
    from ...analysis.quantity import parse_stated

    return None if text is None else parse_stated(text, unit)


def length_of(text: str, *, option: str) -> "Stated":
    """Read a length, which nobody at a bench means in metres by leaving the unit out.

    Raises
    ------
    InputError
        It has no unit, or is none.
    """
    from ...analysis.errors import InputError
    from ...analysis.given_text import shown
    from ...analysis.quantity import parse_stated

    if re.fullmatch(r"[\d.eE+\-]+", text.strip(), re.ASCII):
        raise InputError(
            f"{option} {shown(text)} has no unit; write it like {text.strip()[:60]}mm"
        )
    return parse_stated(text, "m")


def length_or_none(text: str | None, *, option: str) -> "Stated | None":
    """Read a length, if there is one."""
    return None if text is None else length_of(text, option=option)


def known_capacitor(text: str, *, loss: str | None) -> "KnownCapacitor":
    """Read a known capacitor and its loss."""
    from ...analysis.quantity import parse_stated
    from ...sweeps.run import KnownCapacitor

    return KnownCapacitor(
        capacitance_f=parse_stated(text, "F"), loss=stated_or_none(loss, "fraction")
    )


def expected_of(text: str | None, unit: "Unit") -> "Expected | None":
    """Read what a part is thought to be."""
    from ...analysis.quantity import parse_stated
    from ...sweeps.run import Expected

    return None if text is None else Expected(value=parse_stated(text, unit))


def choice_of(text: str, choices: tuple[Choice, ...], *, option: str) -> Choice:
    """Read one of several words.

    Raises
    ------
    InputError
        It is none of them.
    """
    from ...analysis.errors import InputError
    from ...analysis.given_text import shown

    for choice in choices:
        if choice == text:
            return choice
    raise InputError(f"{option} is one of {', '.join(choices)}, not {shown(text)}")
