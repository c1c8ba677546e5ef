"""A lot in figures: parts by verdict, and every quantity's count, mean and range."""

from collections import Counter
from typing import Any

import numpy as np
from sqlalchemy import Connection, and_, func, select

from ...analysis.lots import Verdict
from . import schema as t
from .columns import VERDICT_CODES
from .entries import FloatArray
from .queries import lot_from, lot_row, reworks_of
from .rows import LotSummary, QuantitySummary

__all__ = ["summary_of"]


def summary_of(connection: Connection, name: str) -> LotSummary:
    """Count a lot's parts by verdict and sum up their quantities."""
    lot = lot_row(connection, name)
    lot_id = lot["id"]
    verdicts: Counter[Verdict] = Counter()
    p = t.parts.c
    as_measured = and_(p.lot_id == lot_id, p.current, p.newest == p.sequence)
    counted = select(p.verdict, func.count()).where(as_measured).group_by(p.verdict)
    for verdict, n in connection.execute(counted):
        verdicts[Verdict(verdict)] += n
    q = t.quantities.c
    summed = (
        select(
            q.name,
            q.unit,
            func.count(),
            func.sum(q.value),
            func.min(q.value),
            func.max(q.value),
        )
        .join(t.parts, (p.lot_id == q.lot_id) & (p.sequence == q.sequence))
        .where(as_measured, q.lot_id == lot_id, p.verdict != Verdict.UNDONE.value)
        .group_by(q.name, q.unit)
    )
    sums = {(row[0], row[1]): tuple(row[2:]) for row in connection.execute(summed)}
    _add_reworked(connection, lot_id, verdicts=verdicts, sums=sums)
    return LotSummary(
        lot=lot_from(lot),
        verdicts={one: verdicts[one] for one in Verdict if verdicts[one]},
        suspect=_count_suspect(connection, lot_id),
        quantities=tuple(
            QuantitySummary(
                name=key[0],
                unit=key[1],
                n=n,
                mean=total / n,
                least=least,
                greatest=greatest,
            )
            for key, (n, total, least, greatest) in sorted(sums.items())
        ),
    )


def _count_suspect(connection: Connection, lot_id: int) -> int:
    p, c = t.parts.c, t.checks.c
    bad = (
        select(c.sequence)
        .where(
            c.lot_id == lot_id,
            ~c.in_control,
            c.suspect_from <= p.sequence,
            p.sequence < c.sequence,
        )
        .exists()
    )
    counted = select(func.count()).select_from(t.parts)
    return int(
        connection.execute(
            counted.where(p.lot_id == lot_id, p.current, bad)
        ).scalar_one()
    )


def _add_reworked(
    connection: Connection,
    lot_id: int,
    *,
    verdicts: Counter[Verdict],
    sums: dict[tuple[str, str], tuple[Any, ...]],
) -> None:
    """Count what was worked out again, by its newest results."""
    reworks = reworks_of(connection, lot_id)
    if not reworks:
        return
    p = t.parts.c
    statement = select(p.sequence, p.newest, p.verdict).where(
        p.lot_id == lot_id, p.current, p.newest != p.sequence
    )
    code_of = {verdict.value: code for code, verdict in enumerate(VERDICT_CODES)}
    rows = [(a, b, code_of[c]) for a, b, c in connection.execute(statement)]
    table = np.array(rows, dtype=np.int64).reshape(-1, 3)
    for one in reworks.values():
        mine = table[table[:, 1] == one.sequence]
        at = np.searchsorted(one.sequences, mine[:, 0])
        codes = mine[:, 2] if one.codes is None else one.codes[at]
        for code, n in enumerate(np.bincount(codes, minlength=len(VERDICT_CODES))):
            verdicts[VERDICT_CODES[code]] += int(n)
        counted = at[codes != VERDICT_CODES.index(Verdict.UNDONE)]
        for key, column in zip(one.names, one.values[counted].T, strict=True):
            _add_column(sums, key, column[~np.isnan(column)])


def _add_column(
    sums: dict[tuple[str, str], tuple[Any, ...]],
    key: tuple[str, str],
    column: FloatArray,
) -> None:
    if not column.size:
        return
    n, total, least, greatest = sums.get(key, (0, 0.0, np.inf, -np.inf))
    sums[key] = (
        n + column.size,
        total + float(column.sum()),
        min(least, float(column.min())),
        max(greatest, float(column.max())),
    )
