"""`halfpower fit`: a resonance from a readings file, whoever took the readings."""

from pathlib import Path
from typing import Annotated

import typer

from .options import JsonOption, LabelOption, PageOption, PlotOption

__all__ = ["fit"]


def fit(
    *,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="CSV with frequency_hz and amplitude_v or power_dbm.",
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
    label: LabelOption = "",
    json: JsonOption = None,
    plot: PlotOption = None,
    page: PageOption = None,
) -> None:
    """Fit a resonance to readings from a file; no instrument is needed.

    Example: halfpower fit readings.csv --plot readings.png
    """
    from ..records.readings_file import read_readings
    from ..sweeps.from_file import fit_readings
    from .output import Wanted, hand_out

    trace = read_readings(file)
    result = fit_readings(
        trace, exponent=exponent, label=label or file.stem, source=file.name
    )
    hand_out(result, Wanted(json=json, plot=plot, page=page))
