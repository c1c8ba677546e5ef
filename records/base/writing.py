"""Put entries into a base, each in the caller's one transaction.

Whoever stores in a lot locks the lot's row first (SQLite locks the base), so places
are given and the chain is extended one after the other, and lots do not wait for each
other.
"""

import json
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    Integer,
    any_,
    bindparam,
    func,
    insert,
    select,
    update,
)
from sqlalchemy.dialects import postgresql, sqlite

from ...analysis.lots import Verdict
from ..errors import EntryError
from . import schema as t
from .chain import content_hash, entry_hash
from .columns import (
    circumstances_row,
    detail_of,
    quantity_rows,
    reasons_text,
    sweep_rows,
)
from .entries import CheckEntry, PartEntry, ReworkEntry
from .links import lock_lot
from .rows import Stored

__all__ = ["AnyEntry", "store"]

AnyEntry = PartEntry | CheckEntry | ReworkEntry
Row = dict[str, Any]

# Built once: building a statement costs as much as SQLite's share of running it.
_INSERT = {
    table.name: insert(table)
    for table in (t.parts, t.checks, t.reworks, t.documents, t.quantities, t.sweeps)
}
_INSERT_ENTRY = {
    name: dialect.insert(t.entries)
    .on_conflict_do_nothing(index_elements=["uuid"])  # it was stored before
    .execution_options(preserve_rowcount=True)
    for name, dialect in (("sqlite", sqlite), ("postgresql", postgresql))
}
_EXTEND = (
    update(t.lots)
    .where(t.lots.c.id == bindparam("lot"))
    .values({name: bindparam(name) for name in ("entries", "head", "positions")})
)


def store(connection: Connection, entry: AnyEntry, *, known: dict[str, int]) -> Stored:
    """Store one entry at the end of its lot's chain, once however often it is asked.

    Parameters
    ----------
    known
        Circumstances that the base is known to have, by hash; added to.

    Raises
    ------
    EntryError
        An unknown lot, position or part, or a UUID that another entry has.
    """
    lot = lock_lot(connection, entry.lot)
    kind, detail = detail_of(entry)
    row: Row = {
        "lot_id": lot["id"],
        "sequence": lot["entries"] + 1,
        "kind": kind,
        "uuid": entry.uuid,
        "at": entry.at,
        "station": entry.station,
        "procedure": entry.procedure,
        "reasons": reasons_text(entry.reasons),
    }
    quantities, sweeps = _columns_of(entry)
    in_force = circumstances_row(entry.circumstances)
    content = content_hash(
        row,
        detail=detail,
        circumstances=in_force["hash"],
        document=entry.document,
        quantities=quantities,
        sweeps=sweeps,
    )
    detail |= _place(connection, entry, lot=lot)
    row["circumstances_id"] = _circumstances_id(connection, in_force, known=known)
    row["content_hash"] = content
    row["hash"] = entry_hash(lot["head"], entry=row, detail=detail, content=content)
    statement = _INSERT_ENTRY[connection.dialect.name]
    if not connection.execute(statement, row).rowcount:
        return _earlier(connection, entry, content=content)
    _insert_detail(connection, row, detail, entry.document)
    key = {"lot_id": row["lot_id"], "sequence": row["sequence"]}
    for table, rows in ((t.quantities, quantities), (t.sweeps, sweeps)):
        if rows:
            full = [key | one for one in rows]
            more = full if len(full) > 1 else full[0]
            connection.execute(_INSERT[table.name], more)
    _supersede(connection, entry, row=row, detail=detail)
    _extend(connection, lot=lot, row=row, detail=detail)
    return Stored(
        lot=entry.lot,
        sequence=row["sequence"],
        position=detail.get("position", 0),
        attempt=detail.get("attempt", 0),
        hash=row["hash"],
        already=False,
    )


def _columns_of(entry: AnyEntry) -> tuple[list[Row], list[Row]]:
    if isinstance(entry, ReworkEntry):
        return [], []  # it has columns of its own
    return quantity_rows(entry.quantities), sweep_rows(entry.sweeps)


def _earlier(connection: Connection, entry: AnyEntry, *, content: str) -> Stored:
    """Give where the entry of this UUID is, if it is this very one."""
    statement = (
        select(t.entries, t.parts.c.position, t.parts.c.attempt, t.lots.c.name)
        .join(t.lots, t.lots.c.id == t.entries.c.lot_id)
        .outerjoin(
            t.parts,
            (t.parts.c.lot_id == t.entries.c.lot_id)
            & (t.parts.c.sequence == t.entries.c.sequence),
        )
        .where(t.entries.c.uuid == entry.uuid)
    )
    found = connection.execute(statement).mappings().one()
    if found["name"] != entry.lot or found["content_hash"] != content:
        raise EntryError(
            f"UUID {entry.uuid} is that of entry {found['sequence']} of lot "
            f"{found['name']!r}, which is another; make a new UUID for every entry",
            uuid=entry.uuid,
        )
    return Stored(
        lot=entry.lot,
        sequence=found["sequence"],
        position=found["position"] or 0,
        attempt=found["attempt"] or 0,
        hash=found["hash"],
        already=True,
    )


def _place(connection: Connection, entry: AnyEntry, *, lot: t.Row) -> Row:
    """Give an entry its place in its lot."""
    if isinstance(entry, CheckEntry):
        return {"suspect_from": _after_last_good(connection, entry, lot_id=lot["id"])}
    if isinstance(entry, ReworkEntry):
        return {"first": int(entry.sequences[0]), "last": int(entry.sequences[-1])}
    position = entry.again
    if position is None:
        position = _free_or_own(connection, entry, lot_id=lot["id"])
    attempts = _greatest(connection, t.parts.c.attempt, lot["id"], position=position)
    if entry.again is not None and not attempts:
        raise EntryError(
            f"lot {entry.lot!r} has no part at position {entry.again} to measure "
            f"again; it has {lot['positions']} parts",
            lot=entry.lot,
            position=entry.again,
        )
    return {"position": position, "attempt": attempts + 1}


def _free_or_own(connection: Connection, entry: PartEntry, *, lot_id: int) -> int:
    """Give a new part's position: that of its label, its own, or the next."""
    p = t.parts.c
    if entry.position is not None:
        standing = select(p.position).where(
            p.lot_id == lot_id,
            p.label == entry.label,
            p.current,
            p.verdict != Verdict.UNDONE.value,
        )
        found = connection.execute(standing.limit(1)).scalar_one_or_none()
        if found is not None:
            return int(found)
        if not _greatest(connection, p.attempt, lot_id, position=entry.position):
            return entry.position
    return _greatest(connection, p.position, lot_id) + 1


def _greatest(
    connection: Connection,
    column: Column[int],
    lot_id: int,
    *,
    position: int | None = None,
) -> int:
    p = t.parts.c
    statement = select(func.max(column)).where(p.lot_id == lot_id)
    if position is not None:
        statement = statement.where(p.position == position)
    return int(connection.execute(statement).scalar_one() or 0)


def _after_last_good(connection: Connection, entry: CheckEntry, *, lot_id: int) -> int:
    last = connection.execute(
        select(func.max(t.checks.c.sequence)).where(
            t.checks.c.lot_id == lot_id,
            t.checks.c.standard == entry.standard,
            t.checks.c.in_control,
        )
    ).scalar_one()
    return int(last or 0) + 1


def _circumstances_id(
    connection: Connection, row: Row, *, known: dict[str, int]
) -> int:
    if row["hash"] in known:
        return known[row["hash"]]
    by_hash = select(t.circumstances.c.id).where(t.circumstances.c.hash == row["hash"])
    found = connection.execute(by_hash).scalar_one_or_none()
    if found is not None:
        known[row["hash"]] = found  # committed by whoever stored it
        return int(found)
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    # Another bench may store the same at this moment, in another lot.
    connection.execute(
        dialect.insert(t.circumstances).values(**row).on_conflict_do_nothing()
    )
    return int(connection.execute(by_hash).scalar_one())


def _insert_detail(
    connection: Connection, row: Row, detail: Row, document: str | None
) -> None:
    key = {"lot_id": row["lot_id"], "sequence": row["sequence"]}
    quick = {"current": True, "newest": row["sequence"]}
    more = quick if row["kind"] == "part" else {}
    connection.execute(_INSERT[f"{row['kind']}s"], key | detail | more)
    if document is not None:
        connection.execute(_INSERT["documents"], key | {"text": document})


def _supersede(
    connection: Connection, entry: AnyEntry, *, row: Row, detail: Row
) -> None:
    """Mark what a new attempt or a new result takes the place of."""
    same_lot = t.parts.c.lot_id == row["lot_id"]
    if isinstance(entry, PartEntry) and detail["attempt"] > 1:
        connection.execute(
            update(t.parts)
            .where(
                same_lot,
                t.parts.c.position == detail["position"],
                t.parts.c.sequence != row["sequence"],
            )
            .values(current=False)
        )
    if isinstance(entry, ReworkEntry):
        done = connection.execute(
            update(t.parts)
            .where(same_lot, _among(connection, entry.sequences))
            .values(newest=row["sequence"])
        )
        if done.rowcount != entry.sequences.size:
            raise EntryError(
                f"{entry.sequences.size - done.rowcount} of the entries to be worked "
                f"out again are no parts of lot {entry.lot!r}; take their sequences "
                "from its parts",
                lot=entry.lot,
            )


def _among(connection: Connection, sequences: NDArray[np.int64]) -> ColumnElement[bool]:
    """Say "one of these" for thousands of sequences, in one bound value."""
    listed, column = sequences.tolist(), t.parts.c.sequence
    if connection.dialect.name == "postgresql":
        array = bindparam("among", listed, type_=postgresql.ARRAY(Integer))
        return cast("ColumnElement[bool]", column == any_(array))
    found = func.json_each(json.dumps(listed)).table_valued("value")
    return cast("ColumnElement[bool]", column.in_(select(found.c.value)))


def _extend(connection: Connection, *, lot: t.Row, row: Row, detail: Row) -> None:
    new = {
        "lot": lot["id"],
        "entries": row["sequence"],
        "head": row["hash"],
        "positions": lot["positions"] + (detail.get("attempt") == 1),
    }
    connection.execute(_EXTEND, new)
