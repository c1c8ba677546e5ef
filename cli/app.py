"""The command `halfpower`. Importing this imports nothing heavy."""

from typing import Annotated

import typer

from .commands import (
    bench,
    capacitor,
    coil,
    demo,
    fit,
    fixture,
    lot,
    marking,
    predict,
    records,
    sheet,
    sim,
    sweep,
)
from .words import with_exit_status

__all__ = ["app"]

app = typer.Typer(
    name="halfpower",
    help="Find a resonance, measure it, and say what the part is and how surely.",
    epilog="Exit status: 0 done, 1 done and something found wanting (a part, a "
    "marking, a check), 2 unusable arguments or file, 3 an instrument or link failed, "
    "4 nothing measurable, 70 a fault of the program itself, 130 interrupted with all "
    "readings kept.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,  # plain help starts in half the time
    pretty_exceptions_enable=False,
)


def _version(asked: bool) -> None:  # noqa: FBT001  typer's callback
    if asked:
        from importlib.metadata import version

        typer.echo(f"halfpower {version('halfpower')}")
        raise typer.Exit


@app.callback()
def halfpower(
    *,
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            callback=_version,
            is_eager=True,
            help="Say the version and exit.",
        ),
    ] = False,
) -> None:
    """Take what stands before a command's name."""


app.command("demo")(with_exit_status(demo.demo))
app.add_typer(bench.app, name="bench")
app.add_typer(fixture.app, name="fixture")
app.command("sweep")(with_exit_status(sweep.sweep))
app.command("coil")(with_exit_status(coil.coil))
app.command("capacitor")(with_exit_status(capacitor.capacitor))
app.command("sheet")(with_exit_status(sheet.sheet))
app.command("fit")(with_exit_status(fit.fit))
app.add_typer(lot.app, name="lot")
app.add_typer(records.app, name="records")
app.add_typer(predict.app, name="predict")
app.command("marking")(with_exit_status(marking.marking))
app.add_typer(sim.app, name="sim")
