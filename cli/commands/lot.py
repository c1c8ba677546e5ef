"""`halfpower lot`: go through a lot of parts, and see what became of it."""

from pathlib import Path
from typing import Annotated

import typer

from ..words import (
    BenchOption,
    OverwriteOption,
    SceneOption,
    SeedOption,
    TraceOption,
    with_exit_status,
)
from . import lot_show

__all__ = ["app"]

app = typer.Typer(
    help="A lot of parts: measure each, decide, keep all.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@app.callback()
def several() -> None:
    """A lot of parts: measure each, decide, keep all."""  # noqa: D401 - its help


def run(
    lot: Annotated[
        str,
        typer.Argument(metavar="LOT", help="Lot file (TOML), or a bundled one's name."),
    ],
    *,
    bench: BenchOption = None,
    scene: SceneOption = None,
    seed: SeedOption = 0,
    records: Annotated[
        str | None,
        typer.Option(
            "--records",
            metavar="PATH|URL",
            help="Record base: a path (SQLite), or postgresql+psycopg://user@host/"
            "base. By default the user's own; for a scene, one under halfpower-out/.",
        ),
    ] = None,
    station: Annotated[
        str | None,
        typer.Option(
            "--station", metavar="NAME", help="What this bench is called, for records."
        ),
    ] = None,
    present: Annotated[
        str | None,
        typer.Option(
            "--present",
            metavar="COMMAND",
            help="A command that puts each part in, called with its number and label: "
            "status 0 it is there, 10 there are no more, any other stops the lot.",
        ),
    ] = None,
    again: Annotated[
        list[str] | None,
        typer.Option(
            "--again",
            metavar="LABEL",
            help="Measure that part anew first, in a finished lot too (repeat the "
            "option); both results are kept, the new one counts.",
        ),
    ] = None,
    bell: Annotated[
        bool,
        typer.Option("--bell", help="Ring: once for an accepted part, else twice."),
    ] = False,
    json: Annotated[
        str | None,
        typer.Option(
            "--json",
            metavar="FILE",
            help="Write the lot's document; - for standard output, and nothing else.",
        ),
    ] = None,
    junit: Annotated[
        Path | None,
        typer.Option("--junit", metavar="FILE", help="Write JUnit XML, for CI."),
    ] = None,
    trace: TraceOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Measure every part of a lot, decide, and keep all; run it again to go on.

    With a scene the parts are put in by the simulated bench, without any question.

    Exit status: 0 all accepted, 1 at least one is not (or the lot is not finished), 2
    unusable arguments or file, 3 a link, an instrument, the record base's server or the
    presenting command failed, 4 nothing measurable, 130 interrupted with all kept.

    Example: halfpower lot run chokes.toml --bench bench.toml --bell
    """
    from ..lots import Asked, run_lot

    status = run_lot(
        Asked(
            lot=lot,
            bench=bench,
            scene=scene,
            seed=seed,
            records=records,
            station=station,
            present=present,
            again=tuple(again or ()),
            bell=bell,
            json=json,
            junit=junit,
            trace=trace,
            overwrite=overwrite,
        )
    )
    if status:
        raise typer.Exit(status)


app.command("run")(with_exit_status(run))

app.command("show")(with_exit_status(lot_show.show))
app.command("match")(with_exit_status(lot_show.match))
app.command("labels")(with_exit_status(lot_show.labels))
app.command("gauge")(with_exit_status(lot_show.gauge))
