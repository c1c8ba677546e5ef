"""Predictions, readings of a marking and choices of capacitors, on a terminal."""

from collections.abc import Sequence
from typing import Any

from rich.console import Console
from rich.table import Table

from ...analysis.markings import (
    ARTICLES,
    SERIES,
    Kind,
    MarkedReading,
    MarkingOdds,
    nearest_series,
    neighbours,
    series_of,
)
from ...analysis.predict import Choice, Prediction, Use
from ...analysis.quantity import Judged, Quantity, Stated, format_quantity
from ...records.files import (
    capacitors_document,
    document_text,
    marking_document,
    prediction_document,
)
from .output import STANDARD_OUTPUT, write_document
from .outputs import check_outputs
from .tables import put, put_table

__all__ = ["hand_out_capacitors", "hand_out_marking", "hand_out_prediction"]

WORDS = {
    "unloaded_q": "unloaded Q",
    "apparent_q": "apparent Q",
    "inductance_per_turn_squared": "A_L (per turn squared)",
    "edge_share": "edge field's share",
}


def hand_out_prediction(
    prediction: Prediction, *, json: str | None, overwrite: bool
) -> None:
    """Print a prediction, or its document, and write the file asked for.

    Raises
    ------
    InputError
        The file is there already, or cannot be written.
    """
    check_outputs({"--json": json}, overwrite=overwrite)
    if json != STANDARD_OUTPUT:
        _print_prediction(prediction)
    _write(prediction_document(prediction), json, overwrite=overwrite)


def hand_out_marking(
    readings: tuple[MarkedReading, ...],
    *,
    text: str,
    kind: Kind,
    measured: Stated | None,
    odds: MarkingOdds | None,
    json: str | None,
    overwrite: bool,
) -> None:
    """Print what a marking may mean, or its document, and write the file asked for.

    Raises
    ------
    InputError
        The file is there already, or cannot be written.
    """
    check_outputs({"--json": json}, overwrite=overwrite)
    if json != STANDARD_OUTPUT:
        _print_marking(readings, title=f"{text} on {ARTICLES[kind]} {kind}", odds=odds)
    document = marking_document(
        readings, text=text, kind=kind, measured=measured, odds=odds
    )
    _write(document, json, overwrite=overwrite)


def hand_out_capacitors(choice: Choice, *, json: str | None, overwrite: bool) -> None:
    """Print a choice of capacitors, or its document, and write the file asked for.

    Raises
    ------
    InputError
        The file is there already, or cannot be written.
    """
    check_outputs({"--json": json}, overwrite=overwrite)
    if json != STANDARD_OUTPUT:
        _print_choice(choice)
    _write(capacitors_document(choice), json, overwrite=overwrite)


def _write(document: dict[str, Any], target: str | None, *, overwrite: bool) -> None:
    if target is not None:
        write_document(document_text(document), target, overwrite=overwrite)


def _print_prediction(prediction: Prediction) -> None:
    console = Console(highlight=False)
    stated = ", ".join(f"{name} {text}" for name, text in prediction.inputs)
    put(console, f"{prediction.title}: {stated}")
    table = Table(box=None)
    table.add_column("quantity")
    table.add_column("value", justify="right")
    table.add_column("± (95 %)", justify="right")
    table.add_column("unit")
    table.add_column("doubt comes from")
    for one in prediction.quantities:
        value, doubt, unit = format_quantity(
            one.value, u=_half_width(one), unit=one.unit
        )
        name = WORDS.get(one.name, one.name.replace("_", " "))
        table.add_row(name, value, doubt, unit, _main_doubt(one))
    put_table(console, table)
    for remark in prediction.remarks:
        put(console, remark)
    for caution in prediction.warnings:
        put(console, f"! {caution.text}")


def _half_width(quantity: Quantity) -> float:
    """Give the farther end of the 95 % interval, as result tables do."""
    if quantity.interval is None:
        return 0.0
    low, high = quantity.interval
    return max(high - quantity.value, quantity.value - low)


def _main_doubt(quantity: Quantity) -> str:
    if not quantity.budget:
        return "-"
    main = quantity.budget[0]
    share = (main.u / quantity.standard_uncertainty) ** 2
    return f"{main.source} ({share:.0%})"


def _print_marking(
    readings: Sequence[MarkedReading], *, title: str, odds: MarkingOdds | None
) -> None:
    console = Console(highlight=False)
    put(console, title)
    table = Table(box=None)
    table.add_column("value", justify="right")
    table.add_column("tolerance")
    if odds is not None:
        table.add_column("odds", justify="right")
    for column in ("series", "next to it", "read as"):
        table.add_column(column)
    for index, one in enumerate(readings):
        share = [] if odds is None else [_odds(odds.shares[index])]
        how = one.how if one.standard else f"{one.how} (trade practice)"
        table.add_row(
            _plain(one.value, one.unit),
            one.tolerance,
            *share,
            _first_series(one),
            _beside(one),
            how,
        )
    put_table(console, table)
    if odds is None:
        if len({one.value for one in readings}) > 1:
            put(console, "More than one reading: measure it, and say --measured.")
        return
    put(console, _sentence(readings, odds))


def _sentence(readings: Sequence[MarkedReading], odds: MarkingOdds) -> str:
    beforehand = (
        f"none of these: {_odds(odds.none)} (taken as {odds.none_share:.0%} beforehand)"
    )
    best = readings[odds.best]
    if odds.verdict is Judged.FITS:
        return f"Verdict: it is {_plain(best.value, best.unit)}; {beforehand}."
    if odds.verdict is Judged.DOES_NOT_FIT:
        return f"Verdict: none fits; {beforehand}."
    return f"Verdict: undecided; {beforehand}."


def _odds(share: float) -> str:
    """Write a share in per cent, never as certain."""
    if share > 0.999:  # noqa: PLR2004 - what rounds to 100
        return "> 99.9 %"
    return "< 0.1 %" if share < 0.001 else f"{share * 100:.1f} %"  # noqa: PLR2004


def _plain(value: float, unit: str) -> str:
    number, _, prefixed = format_quantity(value, u=0.0, unit=unit)
    return f"{number} {prefixed}"


def _first_series(reading: MarkedReading) -> str:
    held = series_of(reading.value)
    return held[0] if held else f"none of {next(iter(SERIES))} to E192"


def _beside(reading: MarkedReading) -> str:
    below, above = neighbours(reading.value, series=nearest_series(reading.value))
    return f"{_plain(below, reading.unit)}, {_plain(above, reading.unit)}"


def _print_choice(choice: Choice) -> None:
    console = Console(highlight=False)
    put(
        console,
        f"Coils of {_plain(choice.lowest_h, 'H')} to {_plain(choice.highest_h, 'H')}, "
        f"Q about {choice.plan.coil_q:g}; {_readings(choice)}",
    )
    table = Table(box=None)
    table.add_column("capacitor")
    for column in ("with", "resonance", "loaded Q", "fixture Q", "its share"):
        table.add_column(column, justify="right")
    for column in ("tank", "time", "u(L)/L", "of strays", "u(Q)/Q"):
        table.add_column(column, justify="right")
    for outlook in choice.outlooks:
        for use in outlook.uses:
            table.add_row(outlook.name, *_use_row(use))
    put_table(console, table)
    for outlook in choice.outlooks:
        for use in outlook.uses:
            for text in (*use.obstacles, *use.cautions):
                put(
                    console,
                    f"! {outlook.name} with {_plain(use.inductance_h, 'H')}: {text}",
                )
    put(console, choice.sentence)


def _readings(choice: Choice) -> str:
    plan = choice.plan
    worst = max(use.u_loaded_q for one in choice.outlooks for use in one.uses)
    noise = (
        f"{plan.noise * 100.0:g} % of the peak"
        if plan.noise_v is None
        else f"{_plain(plan.noise_v, 'V')} at the tank"
    )
    return (
        f"{plan.n_readings} readings with noise of {noise} give the loaded Q to "
        f"{_share(worst)} or better"
    )


def _use_row(use: Use) -> tuple[str, ...]:
    return (
        _plain(use.inductance_h, "H"),
        _plain(use.resonant_frequency_hz, "Hz"),
        f"{use.loaded_q:.3g}",
        f"{use.fixture_q:.3g}",
        f"{use.fixture_share:.0%}",
        f"{use.peak_v:.2g} V",
        f"{use.seconds:.2g} s",
        _share(use.u_inductance),
        _share(use.u_from_strays),
        _share(use.u_unloaded_q),
    )


def _share(share: float | None) -> str:
    if share is None:
        return "-"
    return "> 100 %" if share > 1.0 else f"{share * 100.0:.2g} %"
