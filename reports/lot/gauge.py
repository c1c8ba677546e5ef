"""A gauge study from the attempts at a lot's parts, by several stations."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from ...analysis.lots import GaugeStudy, Limits, Pool, Verdict, crossed_study
from ...records.base import PartRow
from ..errors import ReportError
from ..result import WORDS
from .findings import quantity_of
from .tables import TextTable

__all__ = ["GaugedLot", "gauge_document", "gauge_of", "gauge_tables"]

By = Literal["station", "lot"]
MOST_NAMED = 3  # cells of an unbalanced study named in the refusal
OUT = (Verdict.SKIPPED, Verdict.UNDONE)


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugedLot:
    """A gauge study and what it is of.

    Attributes
    ----------
    quantity, unit
        What was studied.
    parts, operators
        Their names.
    repeats
        Readings of each part by each.
    study
        What was found.
    """

    quantity: str
    unit: str
    parts: tuple[str, ...]
    operators: tuple[str, ...]
    repeats: int
    study: GaugeStudy


def gauge_of(
    attempts: Iterable[PartRow],
    *,
    quantity: str,
    limits: Limits | None = None,
    by: By = "station",
    pool: Pool = "auto",
) -> GaugedLot:
    """Study the gauge by the attempts at parts.

    Parameters
    ----------
    attempts
        Of one lot or more, earlier ones too. The same label is the same part (a part
        without one: the same position).
    quantity
        Which.
    limits
        Of the parts, SI; for the per cent of tolerance.
    by
        Who is the operator: the station, or the lot.
    pool
        As `halfpower.analysis.lots.crossed_study` takes it.

    Raises
    ------
    ReportError
        Not every part was measured as often by every operator, or too few of them.
    InputError
        Readings that are all the same.
    """
    cells: dict[tuple[str, str], list[float]] = {}
    unit = "1"
    for one in attempts:
        if one.verdict in OUT:
            continue
        key = (
            one.label or f"position {one.position}",
            one.station if by == "station" else one.lot,
        )
        readings = cells.setdefault(key, [])
        found = quantity_of(one, quantity)
        if found is not None:
            readings.append(found.value)
            unit = found.unit
    parts = tuple(dict.fromkeys(part for part, _ in cells))
    operators = tuple(dict.fromkeys(operator for _, operator in cells))
    repeats = _balanced(cells, parts, operators, by=by)
    table = np.array([[cells[p, o] for o in operators] for p in parts])
    return GaugedLot(
        quantity=quantity,
        unit=unit,
        parts=parts,
        operators=operators,
        repeats=repeats,
        study=crossed_study(table, limits=limits, pool=pool),
    )


def _balanced(
    cells: dict[tuple[str, str], list[float]],
    parts: Sequence[str],
    operators: Sequence[str],
    *,
    by: By,
) -> int:
    """Return the readings in each cell; refuse cells of different size."""
    if len(parts) < 2 or len(operators) < 2:  # noqa: PLR2004 - to compare
        raise ReportError(
            f"a gauge study compares two parts or more, each measured by two {by}s or "
            f"more; here are {len(parts)} and {len(operators)}"
        )
    sizes = {(p, o): len(cells.get((p, o), ())) for p in parts for o in operators}
    usual = Counter(sizes.values()).most_common(1)[0][0]
    odd = [(p, o, n) for (p, o), n in sizes.items() if n != usual]
    if odd:
        named = "; ".join(f"{p} by {o}: {n}" for p, o, n in odd[:MOST_NAMED])
        more = f"; and {len(odd) - MOST_NAMED} more" if len(odd) > MOST_NAMED else ""
        raise ReportError(
            f"a gauge study needs as many readings of each part by each {by}; most "
            f"have {usual}, but {named}{more}: measure the missing ones, or leave "
            "those parts out"
        )
    if usual < 2:  # noqa: PLR2004 - a repeat
        raise ReportError(
            f"each part was measured {usual} time by each {by}; a gauge study needs "
            "two or more, to tell what one and the same repeats"
        )
    return usual


def gauge_tables(found: GaugedLot) -> tuple[TextTable, ...]:
    """Show the components and the analysis of variance."""
    word = WORDS.get(found.quantity, found.quantity)
    unit = "" if found.unit == "1" else f", {found.unit}"
    components = TextTable(
        title=f"{word}: {len(found.parts)} parts, {len(found.operators)} operators, "
        f"{found.repeats} readings each",
        heads=("source", f"sd{unit}", "of variance", "of total sd", "of tolerance"),
        rows=tuple(
            (
                one.source,
                f"{one.sd:.4g}" + (" (below zero)" if one.clipped else ""),
                f"{one.percent_of_variance:.2f} %",
                f"{one.percent_of_total:.2f} %",
                ""
                if one.percent_of_tolerance is None
                else f"{one.percent_of_tolerance:.2f} %",
            )
            for one in found.study.components
        ),
        numeric=frozenset({1, 2, 3, 4}),
    )
    table = TextTable(
        title="Analysis of variance",
        heads=("source", "free", "mean square", "F", "p"),
        rows=tuple(
            (
                one.source,
                str(one.degrees_of_freedom),
                f"{one.mean_square:.4g}",
                "" if one.f is None else f"{one.f:.3g}",
                "" if one.p_value is None else f"{one.p_value:.2g}",
            )
            for one in found.study.table
        ),
        numeric=frozenset({1, 2, 3, 4}),
    )
    return components, table


def gauge_document(found: GaugedLot) -> dict[str, Any]:
    """Give a gauge study as a document; ``schema`` is ``halfpower.gauge/1``, SI."""
    study = found.study
    return {
        "schema": "halfpower.gauge/1",
        "quantity": found.quantity,
        "unit": found.unit,
        "parts": list(found.parts),
        "operators": list(found.operators),
        "repeats": found.repeats,
        "interaction_pooled": study.pooled,
        "distinct_categories": study.distinct_categories,
        "components": {
            one.source: {
                "sd": one.sd,
                "clipped": one.clipped,
                "percent_of_variance": one.percent_of_variance,
                "percent_of_total": one.percent_of_total,
                "percent_of_tolerance": one.percent_of_tolerance,
            }
            for one in study.components
        },
        "warnings": [{"code": one.code, "text": one.text} for one in study.cautions],
    }
