"""A lot's results as tables of text, for a terminal or a page."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from ...analysis.lots import QuantityFigures, Verdict
from ...analysis.quantity import format_quantity
from ...records.base import PartRow, StoredQuantity
from ..result import WORDS
from .findings import TESTED, LotResult, bin_of, quantity_of

__all__ = [
    "Scale",
    "TextTable",
    "heading_of",
    "lot_tables",
    "notes_of",
    "parts_table",
    "quantity_text",
    "scale_of",
    "yield_text",
]

MOST_LISTED = 200  # suspect parts or outliers named one by one


@dataclass(frozen=True, slots=True, kw_only=True)
class TextTable:
    """A table, all text; ``numeric`` are the columns that stand on the right."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How an axis is written: values are divided by ``by`` and are in ``unit``."""

    by: float
    unit: str


def scale_of(figures: QuantityFigures) -> Scale:
    """Choose the prefix that a lot's mean is read with."""
    unit = figures.column.unit
    if unit == "1":
        return Scale(by=1.0, unit="")
    _, _, shown = format_quantity(figures.mean, u=math.nan, unit=unit)
    bare = "Ω" if unit == "ohm" else unit
    letter = shown.removesuffix(bare)
    powers = {"f": -15, "p": -12, "n": -9, "µ": -6, "m": -3, "": 0, "k": 3, "M": 6}
    return Scale(by=10.0 ** powers.get(letter, 9), unit=shown)


def heading_of(result: LotResult) -> str:
    """Say in one line what a lot is and where it stands."""
    lot = result.lot
    return (
        f"Lot {lot.name}: {lot.positions} parts, {lot.state.value}, begun {lot.begun} "
        f"at {lot.station}"
    )


def yield_text(result: LotResult) -> str:
    """Say the yield with its interval in one sentence; empty where none was tested."""
    found = result.yield_
    if found is None:
        return ""
    low, high = found.interval
    accepted = result.verdicts.get(Verdict.ACCEPTED, 0)
    doubtful = accepted - result.sound
    return (
        f"{found.conforming} of {found.tested} tested parts are accepted"
        + (
            f" and not suspect ({doubtful} more are accepted but suspect)"
            * (doubtful > 0)
        )
        + f": {_percent(found.share)}; of the parts these were drawn from "
        f"{_percent(low)} to {_percent(high)} ({found.level:.0%} confidence, exact)."
    )


def notes_of(result: LotResult) -> tuple[str, ...]:
    """Give what must be known before the figures are believed, a sentence each."""
    notes = []
    if result.suspect:
        n, bad = len(result.suspect), sum(not one.in_control for one in result.checks)
        notes.append(
            f"{n} {'part is' if n == 1 else 'parts are'} suspect: the check standard "
            f"was out of control ({bad} of {len(result.checks)} checks); measure them "
            "again"
        )
    if result.held.limits and not result.figures:
        notes.append("no part has a value to hold against the limits")
    for one in result.figures:
        word = WORDS.get(one.column.quantity, one.column.quantity)
        if one.column.limits is not None or one.trend is not None:
            notes += [
                f"{word}: {caution.text}"
                for caution in one.cautions
                if one.column.limits is not None or caution.code == "not_normal"
            ]
    return tuple(dict.fromkeys(notes))


def lot_tables(result: LotResult) -> tuple[TextTable, ...]:
    """Put a lot into tables; those that would be empty are left out."""
    made = (
        _verdicts(result),
        _quantities(result),
        _capability(result),
        _bins(result),
        _defects(result),
        _outliers(result),
        _suspect(result),
        _checks(result),
    )
    return tuple(one for one in made if one.rows)


def quantity_text(one: StoredQuantity | None) -> str:
    """Write a value with its expanded uncertainty (k = 2) and unit."""
    if one is None:
        return ""
    doubt = 2.0 * (one.standard_uncertainty or 0.0)
    value, shown, unit = format_quantity(one.value, u=doubt, unit=one.unit)
    return f"{value} ± {shown} {unit}".rstrip() if doubt else f"{value} {unit}".rstrip()


def parts_table(result: LotResult) -> TextTable:
    """List every part with its verdict and quantities."""
    names = [one.column.quantity for one in result.figures]
    heads = ("#", "part", "verdict", *(WORDS.get(n, n) for n in names), "why")
    rows = []
    for part in result.parts:
        by_name = {one.name: one for one in part.quantities}
        rows.append(
            (
                str(part.position),
                part.label,
                _verdict_text(part, result),
                *(quantity_text(by_name.get(name)) for name in names),
                "; ".join(one.text for one in part.reasons),
            )
        )
    numeric = frozenset({0, *range(3, 3 + len(names))})
    return TextTable(title="Parts", heads=heads, rows=tuple(rows), numeric=numeric)


def _verdict_text(part: PartRow, result: LotResult) -> str:
    sorted_into = bin_of(part, result.held)
    reworked = "reworked" if part.result != part.sequence else ""
    suspect = "suspect" if part.suspect else ""
    beside = ", ".join(one for one in (sorted_into, suspect, reworked) if one)
    return part.verdict.value + (f" ({beside})" if beside else "")


def _verdicts(result: LotResult) -> TextTable:
    rows = []
    for verdict, count in result.verdicts.items():
        rows.append((verdict.value, str(count), ""))
        rows += [
            ("", str(one.count), f"{one.code}: {one.text}")
            for one in result.reasons
            if one.verdict is verdict and verdict is not Verdict.ACCEPTED
        ]
    return TextTable(
        title="Verdicts",
        heads=("verdict", "parts", "reason (the first part's)"),
        rows=tuple(rows),
        numeric=frozenset({1}),
    )


def _quantities(result: LotResult) -> TextTable:
    rows = tuple(_quantity_row(one) for one in result.figures)
    return TextTable(
        title="Quantities",
        heads=(
            "quantity",
            "n",
            "mean",
            "sd",
            "least",
            "greatest",
            "u",
            "drift",
            "unit",
        ),
        rows=rows,
        numeric=frozenset(range(1, 8)),
    )


def _quantity_row(one: QuantityFigures) -> tuple[str, ...]:
    spread = one.sd if math.isfinite(one.sd) and one.sd > 0.0 else math.nan
    prefix, by = _scaled(one)
    digits = _digits(one.mean / by, spread / by)
    trend = one.trend
    drift = "" if trend is None else f"{trend.drift / by:+.2g}"
    sure = "" if trend is None or trend.p_value >= 0.01 else " !"  # noqa: PLR2004 - the caution's own
    return (
        WORDS.get(one.column.quantity, one.column.quantity),
        str(one.n),
        f"{one.mean / by:.{digits}g}",
        "" if math.isnan(spread) else f"{spread / by:.2g}",
        f"{one.least / by:.{digits}g}",
        f"{one.greatest / by:.{digits}g}",
        "" if math.isnan(one.median_u) else f"{one.median_u / by:.2g}",
        drift + sure,
        prefix,
    )


def _scaled(one: QuantityFigures) -> tuple[str, float]:
    scale = scale_of(one)
    return scale.unit, scale.by


def _digits(value: float, spread: float) -> int:
    if not (math.isfinite(spread) and spread > 0.0 and value):
        return 5
    return max(2, math.ceil(math.log10(abs(value) / spread)) + 2)


def _capability(result: LotResult) -> TextTable:
    rows = []
    for one in result.figures:
        limits, found = one.column.limits, one.capability
        if limits is None:
            continue
        unit, by = _scaled(one)
        ends = [
            "" if end is None else f"{end / by:.6g} {unit}".rstrip()
            for end in (limits.lower, limits.upper)
        ]
        cells = ["", "", ""]
        if found is not None:
            cells = [
                _index(found.cp, found.cp_interval),
                _index(found.cpk, found.cpk_interval),
                ""
                if found.normality_p_value is None
                else f"{found.normality_p_value:.2g}",
            ]
        name = WORDS.get(one.column.quantity, one.column.quantity)
        rows.append((name, *ends, *cells))
    return TextTable(
        title="Against the limits",
        heads=("quantity", "lower", "upper", "Cp", "Cpk", "p (normal)"),
        rows=tuple(rows),
        numeric=frozenset(range(1, 6)),
    )


def _index(value: float | None, interval: tuple[float, float] | None) -> str:
    if value is None or interval is None:
        return ""
    return f"{value:.2f} ({interval[0]:.2f} to {interval[1]:.2f})"


def _bins(result: LotResult) -> TextTable:
    return TextTable(
        title="Bins of accepted parts",
        heads=("bin", "parts"),
        rows=tuple((one.name or "(none)", str(one.count)) for one in result.bins),
        numeric=frozenset({1}),
    )


def _defects(result: LotResult) -> TextTable:
    rows = tuple(
        (
            str(one.position),
            one.label,
            f"{one.likely.share:.0%}",
            one.said,
        )
        for one in result.defects[:MOST_LISTED]
    )
    return TextTable(
        title="Parts that stand apart, and the likely cause",
        heads=("#", "part", "share", "what is said for it"),
        rows=rows,
        numeric=frozenset({0, 2}),
    )


def _outliers(result: LotResult) -> TextTable:
    tested = [one for one in result.parts if one.verdict in TESTED]
    rows = [
        (str(tested[i].position), tested[i].label, word, _at(one, i))
        for one in result.figures
        if one.column.limits is not None
        for word in (WORDS.get(one.column.quantity, one.column.quantity),)
        for i in one.outliers[:MOST_LISTED]
    ]
    return TextTable(
        title="Outliers",
        heads=("#", "part", "quantity", "value"),
        rows=tuple(rows),
        numeric=frozenset({0, 3}),
    )


def _at(one: QuantityFigures, index: int) -> str:
    unit, by = _scaled(one)
    return f"{one.column.values[index] / by:.5g} {unit}".rstrip()


def _suspect(result: LotResult) -> TextTable:
    rows = tuple(_stretches(result))
    return TextTable(
        title="Suspect parts", heads=("positions", "parts"), rows=rows[:MOST_LISTED],
        numeric=frozenset({1}),
    )  # fmt: skip


def _stretches(result: LotResult) -> Iterator[tuple[str, str]]:
    """Give runs of suspect parts that follow one another."""
    begun: int | None = None
    last, count = 0, 0
    for part in result.parts:
        if part.suspect and part.verdict in TESTED:
            begun, last, count = begun or part.position, part.position, count + 1
        elif begun is not None:
            yield f"{begun} to {last}", str(count)
            begun, count = None, 0
    if begun is not None:
        yield f"{begun} to {last}", str(count)


def _checks(result: LotResult) -> TextTable:
    rows = []
    names = [one.column.quantity for one in result.figures]  # those limited first
    for one in result.checks[-MOST_LISTED:]:
        found = (quantity_of(one, name) for name in names)
        value = quantity_text(next((q for q in found if q is not None), None))
        said = "in control" if one.in_control else "OUT OF CONTROL"
        why = "; ".join(reason.text for reason in one.reasons)
        rows.append((one.at, one.standard, value, said, why))
    return TextTable(
        title="Check standard",
        heads=("when", "standard", "value", "", "why"),
        rows=tuple(rows),
        numeric=frozenset({2}),
    )


def _percent(share: float) -> str:
    return f"{100.0 * share:.3g} %"
