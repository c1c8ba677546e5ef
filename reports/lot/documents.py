"""A lot's results as a document (JSON), and its parts as a table (CSV)."""

import csv
import io
import math
from collections.abc import Mapping, Sequence
from typing import Any

from ...analysis.lots import Capability, Limits, QuantityFigures, Trend, Yield
from ...records.base import LotRow, LotState, PartRow, as_spreadsheet_text
from .findings import Defect, LotResult, bin_of
from .matched import MatchedLot

__all__ = ["lot_csv", "lot_document", "matching_csv", "matching_document"]


def lot_document(result: LotResult) -> dict[str, Any]:
    """Give a lot's results as a document; what cannot be had is null.

    ``schema`` is ``halfpower.lot/1``; quantities are in SI. ``complete`` says whether
    the lot was gone through to its end.
    """
    return {
        "schema": "halfpower.lot/1",
        "complete": result.lot.state is LotState.FINISHED,
        "lot": _lot(result.lot),
        "all_accepted": result.all_accepted,
        "yield": _yield(result.yield_),
        "verdicts": {one.value: n for one, n in result.verdicts.items()},
        "suspect": [one.position for one in result.suspect],
        "reasons": [
            {
                "verdict": one.verdict.value,
                "code": one.code,
                "text": one.text,
                "parts": one.count,
            }
            for one in result.reasons
        ],
        "bins": [{"name": one.name, "parts": one.count} for one in result.bins],
        "quantities": {
            one.column.quantity: _figures(one, result) for one in result.figures
        },
        "defects": [_defect(one) for one in result.defects],
        "parts": [_part(one, result) for one in result.parts],
    }


def _lot(lot: LotRow) -> dict[str, Any]:
    return {
        "name": lot.name,
        "state": lot.state.value,
        "begun": lot.begun,
        "station": lot.station,
        "parts": lot.positions,
        "entries": lot.entries,
        "head": lot.head,
    }


def _yield(found: Yield | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "conforming": found.conforming,
        "tested": found.tested,
        "share": found.share,
        "interval": list(found.interval),
        "level": found.level,
    }


def _defect(one: Defect) -> dict[str, Any]:
    return {
        "position": one.position,
        "label": one.label,
        "cause": one.likely.cause.value,
        "share": one.likely.share,
        "text": one.text,
    }


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else value


def _figures(one: QuantityFigures, result: LotResult) -> dict[str, Any]:
    positions = result.tested_positions
    return {
        "unit": one.column.unit,
        "n": one.n,
        "mean": one.mean,
        "sd": _number(one.sd),
        "least": one.least,
        "greatest": one.greatest,
        "median_standard_uncertainty": _number(one.median_u),
        "limits": _limits(one.column.limits),
        "capability": _capability(one.capability),
        "trend": _trend(one.trend),
        "outliers": [positions[i] for i in one.outliers],
        "warnings": [{"code": c.code, "text": c.text} for c in one.cautions],
    }


def _limits(limits: Limits | None) -> dict[str, Any] | None:
    return None if limits is None else {"lower": limits.lower, "upper": limits.upper}


def _capability(found: Capability | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "cp": found.cp,
        "cp_interval": _interval(found.cp_interval),
        "cpk": found.cpk,
        "cpk_interval": _interval(found.cpk_interval),
        "level": found.level,
        "normality_p_value": found.normality_p_value,
    }


def _interval(found: tuple[float, float] | None) -> list[float | None] | None:
    return None if found is None else [_number(one) for one in found]


def _trend(found: Trend | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "drift": found.drift,
        "slope": found.slope,
        "slope_interval": list(found.slope_interval),
        "p_value": found.p_value,
    }


def _part(part: PartRow, result: LotResult) -> dict[str, Any]:
    return {
        "position": part.position,
        "attempt": part.attempt,
        "label": part.label,
        "verdict": part.verdict.value,
        "bin": bin_of(part, result.held),
        "suspect": part.suspect,
        "reworked": part.result != part.sequence,
        "reasons": [{"code": one.code, "text": one.text} for one in part.reasons],
        "at": part.at,
        "station": part.station,
        "quantities": {
            one.name: {
                "value": one.value,
                "unit": one.unit,
                "standard_uncertainty": one.standard_uncertainty,
            }
            for one in part.quantities
        },
    }


def lot_csv(result: LotResult) -> str:
    """Give a lot's parts as CSV (RFC 4180), a row a part as it counts now.

    Text that a spreadsheet would take for a formula has an apostrophe before it, as
    `halfpower.records.base.export` says.
    """
    names = [(one.column.quantity, one.column.unit) for one in result.figures]
    heads = [name if unit == "1" else f"{name}_{unit}" for name, unit in names]
    rows: list[list[Any]] = [
        [
            *("position", "attempt", "label", "verdict", "bin", "suspect", "reasons"),
            *("at", "station"),
            *(head for one in heads for head in (one, f"u_{one}")),
        ]
    ]
    for part in result.parts:
        held = {one.name: one for one in part.quantities}
        numbers: list[Any] = []
        for name, _ in names:
            found = held.get(name)
            numbers += (
                [None, None]
                if found is None
                else [found.value, found.standard_uncertainty]
            )
        why = "; ".join(f"{one.code}: {one.text}" for one in part.reasons)
        rows.append(
            [
                part.position,
                part.attempt,
                part.label,
                part.verdict.value,
                bin_of(part, result.held),
                part.suspect,
                why,
                part.at,
                part.station,
                *numbers,
            ]
        )
    return _csv(rows)


def matching_document(found: MatchedLot) -> dict[str, Any]:
    """Give matched sets as a document; ``schema`` is ``halfpower.matching/1``."""
    return {
        "schema": "halfpower.matching/1",
        "lot": found.lot,
        "within": dict(found.within),
        "set_size": found.size,
        "most_proven": found.matching.most_proven,
        "tightest_proven": found.matching.tightest_proven,
        "sets": [
            {
                "parts": [
                    {"position": one.position, "label": one.label}
                    for one in found.members(number)
                ],
                "spread": _spreads(found, number),
            }
            for number in range(len(found.matching.sets))
        ],
        "left": [
            {"position": found.parts[i].position, "label": found.parts[i].label}
            for i in found.matching.left
        ],
    }


def _spreads(found: MatchedLot, number: int) -> Mapping[str, float]:
    one = found.matching.sets[number]
    return dict(zip(found.within, one.spread_relative, strict=True))


def matching_csv(found: MatchedLot) -> str:
    """Give matched sets as CSV, a row a part; those left over have no set."""
    quantities = list(found.within)
    rows: list[list[Any]] = [
        ["set", "position", "label", *quantities, *(f"{q}_spread" for q in quantities)]
    ]
    for number in range(len(found.matching.sets)):
        spreads = list(_spreads(found, number).values())
        rows += [
            [number + 1, one.position, one.label, *found.values_of(one), *spreads]
            for one in found.members(number)
        ]
    rows += [
        [
            None,
            one.position,
            one.label,
            *found.values_of(one),
            *(None for _ in quantities),
        ]
        for one in (found.parts[i] for i in found.matching.left)
    ]
    return _csv(rows)


def _csv(rows: Sequence[Sequence[Any]]) -> str:
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerows(
        [as_spreadsheet_text(cell) if isinstance(cell, str) else cell for cell in row]
        for row in rows
    )
    return buffer.getvalue()
