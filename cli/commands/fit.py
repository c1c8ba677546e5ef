"""`halfpower fit`: a resonance from a readings file, whoever took the readings."""

from pathlib import Path
from typing import Annotated

import typer

from ..words import JsonOption, LabelOption, OverwriteOption, PageOption, PlotOption

__all__ = ["fit"]


def fit(
    *,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="CSV with frequency_hz (or capacitance_f) and amplitude_v or "
            "power_dbm.",
            show_default=False,
        ),
    ],
    exponent: Annotated[
        float | None,
        typer.Option(
            "--exponent",
            metavar="K",
            help="How the fixture's response rises with frequency: 1 one coupling "
            "capacitor, 2 two, 0 a resistance, -1 series injection. Without it the "
            "readings choose among responses, and the choice is shown.",
            show_default=False,
        ),
    ] = None,
    step: Annotated[
        str,
        typer.Option(
            "--step", metavar="NAME", help="Which sweep of a file that holds several."
        ),
    ] = "",
    stray: Annotated[
        str | None,
        typer.Option(
            "--stray",
            metavar="CAPACITANCE",
            help="Over a variable capacitor: what else is across the coil.",
        ),
    ] = None,
    label: LabelOption = "",
    json: JsonOption = None,
    plot: PlotOption = None,
    page: PageOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Fit a resonance to readings from a file; no instrument is needed.

    Example: halfpower fit readings.csv --plot readings.png
    """
    from ...analysis.given_text import usable_label
    from ...analysis.quantity import parse_stated
    from ...records.files import read_sweep
    from ...sweeps.procedures import NO_STRAY, fit_readings
    from ..words import Wanted, check_outputs, hand_out

    wanted = Wanted(json=json, plot=plot, page=page, overwrite=overwrite)
    check_outputs(wanted.files, read={"the readings": file}, overwrite=overwrite)
    sweep = read_sweep(file, step=step)
    result = fit_readings(
        sweep.trace,
        exponent=exponent,
        label=usable_label(label or file.stem, what="the label"),
        source=f"{file.name}, {step}" if step else file.name,
        abscissa=sweep.abscissa,
        frequency_hz=sweep.frequency_hz,
        stray_f=NO_STRAY if stray is None else parse_stated(stray, "F"),
    )
    hand_out(result, wanted)
