"""Options that several commands share, and how their text is read."""

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from ..sweeps.on_bench import Span

__all__ = [
    "BenchOption",
    "FromOption",
    "JsonOption",
    "LabelOption",
    "MostOption",
    "PageOption",
    "PlotOption",
    "ReadingsOption",
    "SceneOption",
    "SeedOption",
    "TargetOption",
    "ToOption",
    "TraceOption",
    "span_of",
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
TraceOption = Annotated[
    Path | None,
    typer.Option(
        "--trace",
        metavar="FILE",
        help="Write every byte to and from the instruments to FILE, with its time.",
    ),
]


def span_of(
    lowest: str | None, highest: str | None, *, target: str, most_readings: int
) -> "Span":
    """Read the span and the goal from their options.

    Raises
    ------
    InputError
        A frequency is missing, wrong, or the span is empty.
    """
    from ..analysis.errors import InputError
    from ..analysis.quantities import parse_quantity
    from ..sweeps.on_bench import Span

    if lowest is None or highest is None:
        raise InputError("say where to look: --from FREQUENCY --to FREQUENCY")
    low_hz, high_hz = parse_quantity(lowest, "Hz"), parse_quantity(highest, "Hz")
    share = parse_quantity(target, "fraction")
    if not (low_hz < high_hz and math.isfinite(high_hz)):
        raise InputError(
            f"--from {lowest} is not below --to {highest}; give the lower one first"
        )
    return Span(
        lowest_hz=low_hz, highest_hz=high_hz, target=share, most_readings=most_readings
    )
