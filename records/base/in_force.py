"""What was in force for every part of a lot, without asking part by part."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from ...analysis.lots import Verdict
from . import queries
from . import schema as t
from .columns import circumstances_of
from .entries import Circumstances

__all__ = ["PartsInForce", "parts_in_force"]

IntArray = NDArray[np.int64]
MEASURED = (Verdict.ACCEPTED, Verdict.REJECTED, Verdict.UNDECIDED)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartsInForce:
    """Parts that share their circumstances.

    Attributes
    ----------
    circumstances
        Those of their newest results (or of the measurement, where asked for).
    sequences
        The parts' entries in the lot, shape (N,), rising.
    """

    circumstances: Circumstances
    sequences: IntArray


def parts_in_force(
    connection: Connection, lot: str, *, as_measured: bool
) -> tuple[PartsInForce, ...]:
    """Group the measured parts of a lot by what was in force for them.

    Parameters
    ----------
    connection, lot
        Where; the newest attempt at each position that gave a result when it was
        measured.
    as_measured
        What was in force at the measurement, whatever was worked out again.

    Raises
    ------
    EntryError
        The base has no such lot.
    """
    p, e = t.parts.c, t.entries.c
    lot_id = queries.lot_id_of(connection, lot)
    newest = p.sequence if as_measured else p.newest
    statement = (
        select(p.sequence, e.circumstances_id)
        .join(t.entries, (e.lot_id == p.lot_id) & (e.sequence == newest))
        .where(p.lot_id == lot_id, p.current)
        .where(p.verdict.in_([one.value for one in MEASURED]))
        .order_by(p.sequence)
    )
    rows = connection.execute(statement)
    numbers = (number for row in rows for number in row)
    pairs = np.fromiter(numbers, dtype=np.int64).reshape(-1, 2)
    kept = {
        row["id"]: circumstances_of(row)
        for row in connection.execute(
            select(t.circumstances).where(
                t.circumstances.c.id.in_(np.unique(pairs[:, 1]).tolist())
            )
        ).mappings()
    }
    return tuple(
        PartsInForce(circumstances=kept[one], sequences=pairs[pairs[:, 1] == one, 0])
        for one in dict.fromkeys(pairs[:, 1].tolist())
    )
