"""What `halfpower records` shows: sentences and tables, all text."""

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ...records.base import (
    CheckRow,
    Circumstances,
    LotRow,
    LotSummary,
    PartRecord,
    PartRow,
    QuantitySummary,
)
from ...reports.lot import TextTable, quantity_text
from ...reports.result import WORDS

if TYPE_CHECKING:
    from .reworking import Reworked

__all__ = [
    "found_table",
    "lot_view",
    "lots_document",
    "lots_table",
    "part_view",
    "rework_view",
]

View = tuple[list[str], list[TextTable]]


def lots_table(lots: Sequence[LotRow]) -> TextTable:
    """List lots."""
    return TextTable(
        title="Lots",
        heads=("lot", "state", "parts", "begun", "station"),
        rows=tuple(
            (one.name, one.state.value, str(one.positions), one.begun, one.station)
            for one in lots
        ),
        numeric=frozenset({2}),
    )


def lots_document(lots: Sequence[LotRow], where: str) -> dict[str, Any]:
    """Give the same as a document."""
    return {
        "schema": "halfpower.lots/1",
        "records": str(where),
        "lots": [
            {
                "name": one.name,
                "state": one.state.value,
                "parts": one.positions,
                "entries": one.entries,
                "begun": one.begun,
                "station": one.station,
                "head": one.head,
            }
            for one in lots
        ],
    }


def found_table(parts: Sequence[PartRow]) -> TextTable:
    """List where a label was found."""
    return TextTable(
        title="Found",
        heads=("lot", "#", "part", "verdict", "when", "why"),
        rows=tuple(
            (
                one.lot,
                str(one.position),
                one.label,
                one.verdict.value + (" (suspect)" if one.suspect else ""),
                one.at,
                _why(one),
            )
            for one in parts
        ),
        numeric=frozenset({1}),
    )


def _why(part: PartRow | CheckRow) -> str:
    return "; ".join(one.text for one in part.reasons)


def lot_view(summary: LotSummary, checks: Sequence[CheckRow]) -> View:
    """Show a lot in figures."""
    lot = summary.lot
    bad = sum(not one.in_control for one in checks)
    begun = f"{lot.state.value}, begun {lot.begun} at {lot.station}"
    control = f"out of control: {bad}; suspect parts: {summary.suspect}"
    lines = [
        f"Lot {lot.name}: {lot.positions} parts, {begun}",
        f"Checks of the standard: {len(checks)}, {control}",
        f"Head after {lot.entries} entries: {lot.head}",
    ]
    verdicts = TextTable(
        title="Verdicts",
        heads=("verdict", "parts"),
        rows=tuple((k.value, str(n)) for k, n in summary.verdicts.items()),
        numeric=frozenset({1}),
    )
    quantities = TextTable(
        title="Quantities",
        heads=("quantity", "n", "mean", "least", "greatest", "unit"),
        rows=tuple(_summed(one) for one in summary.quantities),
        numeric=frozenset({1, 2, 3, 4}),
    )
    return lines, [one for one in (verdicts, quantities) if one.rows]


def _summed(one: QuantitySummary) -> tuple[str, ...]:
    numbers = (f"{value:.7g}" for value in (one.mean, one.least, one.greatest))
    unit = "" if one.unit == "1" else one.unit
    return (WORDS.get(one.name, one.name), str(one.n), *numbers, unit)


def part_view(attempts: Sequence[PartRecord]) -> View:
    """Show a part: every attempt, its first result beside its newest."""
    newest = attempts[-1].newest
    where = f"position {newest.position} of lot {newest.lot}"
    said = f"{where}, attempts: {len(attempts)}; the last counts"
    lines = [f"Part {newest.label or '(no label)'}: {said}"]
    tables = [_results(one) for one in attempts]
    tables += [_sweeps(attempts[-1])]
    tables += [_constants(attempts[-1])]
    return lines, [one for one in tables if one.rows]


def _results(record: PartRecord) -> TextTable:
    """Put the first result of an attempt beside its newest."""
    first, newest = record.first, record.newest
    reworked = first.result != newest.result
    names = list(
        dict.fromkeys(one.name for one in (*first.quantities, *newest.quantities))
    )
    old = {one.name: one for one in first.quantities}
    new = {one.name: one for one in newest.quantities}
    suspect = " (suspect)" if newest.suspect else ""
    rows = [("verdict", first.verdict.value + suspect, newest.verdict.value + suspect)]
    rows += [
        (
            WORDS.get(name, name),
            quantity_text(old.get(name)),
            quantity_text(new.get(name)),
        )
        for name in names
    ]
    rows.append(("why", _why(first), _why(newest)))
    heads: tuple[str, ...] = ("", "as measured")
    title = f"Attempt {first.attempt}, {first.at}, at {first.station}"
    if reworked:
        heads = (*heads, f"reworked (entry {newest.result})")
        title += f"; reworked because: {record.rework_reason}"
    return TextTable(
        title=title,
        heads=heads,
        rows=tuple(row[: len(heads)] for row in rows if any(row[1:])),
    )


def _sweeps(record: PartRecord) -> TextTable:
    rows = []
    for one in record.sweeps:
        n = one.frequency_hz.size
        used = n if one.used is None else one.used.size
        span = (
            f"{one.frequency_hz.min():.8g} to {one.frequency_hz.max():.8g}" if n else ""
        )
        rows.append((one.name, str(n), str(used), span, f"{one.amplitude_v.max():.4g}"))
    return TextTable(
        title="Readings of the last attempt",
        heads=("sweep", "taken", "used", "Hz", "highest, V"),
        rows=tuple(rows),
        numeric=frozenset({1, 2, 3, 4}),
    )


def _constants(record: PartRecord) -> TextTable:
    now = _flat(record.circumstances)
    newer = record.rework_circumstances
    then = now if newer is None else _flat(newer)
    changed = newer is not None
    rows = [
        (name, now.get(name, ""), then.get(name, ""))
        for name in dict.fromkeys((*now, *then))
        if not changed or now.get(name) != then.get(name)
    ]
    return TextTable(
        title="Constants that were corrected" if changed else "In force",
        heads=("name", "as measured", "now") if changed else ("name", "value"),
        rows=tuple(row if changed else row[:2] for row in rows),
    )


def _flat(given: Circumstances) -> dict[str, str]:
    """Write circumstances as names and texts."""
    found: dict[str, str] = {}
    for start, text in (("", given.bench), ("fixture.", given.fixture)):
        try:
            kept = json.loads(text)
        except ValueError:
            kept = {"(unreadable)": text}
        _flatten(kept, start, found)
    found |= {f"instrument {name}": text for name, text in given.instruments.items()}
    found |= {f"version of {name}": text for name, text in given.software.items()}
    return found


def _flatten(kept: Any, start: str, found: dict[str, str]) -> None:
    if isinstance(kept, Mapping) and set(kept) == {"value", "u", "distribution"}:
        found[start.removesuffix(".")] = f"{kept['value']:.7g} (u = {kept['u']:.2g})"
    elif isinstance(kept, Mapping):
        for key, value in kept.items():
            _flatten(value, f"{start}{key}.", found)
    elif kept is not None:
        found[start.removesuffix(".")] = str(kept)


def rework_view(done: "Reworked", *, before: LotSummary, after: LotSummary) -> View:
    """Show what a rework changed."""
    singly = f", {done.singly} of them fitted by themselves" if done.singly else ""
    lines = [
        f"{done.parts} parts of lot {after.lot.name} were worked out again{singly}"
    ]
    if done.unmeasured:
        lines.append(f"{done.unmeasured} of them have no value now")
    if not done.changed:
        lines.append("no constant was changed")
    changed = TextTable(
        title="Constants",
        heads=("name", "before", "now"),
        rows=done.changed,
    )
    keys = dict.fromkeys((*before.verdicts, *after.verdicts))
    verdicts = TextTable(
        title="Verdicts",
        heads=("verdict", "before", "now"),
        rows=tuple(
            (k.value, str(before.verdicts.get(k, 0)), str(after.verdicts.get(k, 0)))
            for k in keys
        ),
        numeric=frozenset({1, 2}),
    )
    old = {one.name: one for one in before.quantities}
    means = TextTable(
        title="Means",
        heads=("quantity", "before", "now", "unit", "change"),
        rows=tuple(_moved(old.get(one.name), one) for one in after.quantities),
        numeric=frozenset({1, 2, 4}),
    )
    return lines, [one for one in (changed, verdicts, means) if one.rows]


def _moved(old: QuantitySummary | None, new: QuantitySummary) -> tuple[str, ...]:
    unit = "" if new.unit == "1" else new.unit
    name = WORDS.get(new.name, new.name)
    if old is None:
        return (name, "", f"{new.mean:.7g}", unit, "")
    change = f"{100.0 * (new.mean / old.mean - 1.0):+.3g} %" if old.mean else ""
    return (name, f"{old.mean:.7g}", f"{new.mean:.7g}", unit, change)
