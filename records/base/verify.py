"""Walk a base's chains and name the first entry that does not fit.

Found: an entry, reading, quantity, document or constant that was changed; an entry
removed from the middle, or from the end without the counts beside it; an entry
inserted or moved; a lot removed, renamed or set to another state; the quick columns
(`current`, `newest`) set against the chain; pages of a SQLite file that are damaged;
triggers, views and other objects of the schema that were added, replaced or dropped.

Not found by itself: the last entries cut off together with the heads that count them,
and a chain worked out anew by somebody who can write to the base. Both show when a head
that was kept elsewhere is given as the expected one.
"""

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby

from sqlalchemy import Connection, Table, func, select
from sqlalchemy.exc import DBAPIError

from . import schema as t
from .chain import START, circumstances_hash, content_hash, entry_hash, link_hash
from .columns import rework_columns
from .entries import LotState
from .failures import unreadable
from .objects import strange_object
from .rows import Finding, Verification
from .schema import Row

__all__ = ["verification_of"]

_AT_ONCE = 1000  # entries
_DETAILS = {"part": t.parts, "check": t.checks, "rework": t.reworks}


class _FoundError(Exception):
    """Something does not fit; carries what."""

    def __init__(self, text: str, *, lot: str = "", sequence: int = 0) -> None:
        super().__init__(text)
        self.finding = Finding(lot=lot, sequence=sequence, text=text)


@dataclass(slots=True, kw_only=True)
class _Walk:
    """What a walk has seen so far."""

    expected_head: str | None
    head_seen: bool = False
    lots: int = 0
    entries: int = 0
    circumstances: dict[int, str] = field(default_factory=dict)
    opened: dict[int, Row] = field(default_factory=dict)
    openings: dict[int, str] = field(default_factory=dict)
    states: dict[int, str] = field(default_factory=dict)
    sealed: dict[int, dict[int, str]] = field(default_factory=dict)

    def see(self, one: str) -> None:
        """Note a hash that may be the expected one."""
        self.head_seen |= one == self.expected_head


def verification_of(
    connection: Connection, *, expected_head: str | None
) -> Verification:
    """Verify a whole base as one moment shows it.

    Parameters
    ----------
    expected_head
        A lot's head or a seal that was kept elsewhere, at any earlier time: the base
        must still hold all that it covers.
    """
    walk = _Walk(expected_head=expected_head)
    finding = None
    try:
        _check_pages(connection)
        _check_objects(connection)
        _walk_links(connection, walk)
        _check_circumstances(connection, walk)
        _check_lots(connection, walk)
        for lot in connection.execute(select(t.lots).order_by(t.lots.c.id)).mappings():
            _walk_lot(connection, dict(lot), walk)
        _check_orphans(connection)
        _check_expected(walk)
    except _FoundError as found:
        finding = found.finding
    except Exception as error:
        if (said := unreadable(error)) is None:
            raise
        text = f"what is stored about the lots was changed: it cannot be read ({said})"
        finding = Finding(lot="", sequence=0, text=text)
    return Verification(lots=walk.lots, entries=walk.entries, finding=finding)


def _check_expected(walk: _Walk) -> None:
    if walk.expected_head is not None and not walk.head_seen:
        raise _FoundError(
            f"the expected head {walk.expected_head[:16]}... is nowhere in the base: "
            "the entries it covers were cut off or replaced, or it is another base's"
        )


def _check_pages(connection: Connection) -> None:
    if connection.dialect.name != "sqlite":
        return  # a server has checksums of its own pages
    try:
        said = connection.exec_driver_sql("PRAGMA integrity_check(1)").scalar_one()
    except DBAPIError as error:
        said = str(error.orig)
    if said != "ok":
        raise _FoundError(
            f"the file is damaged ({' '.join(str(said).split())}); put it aside and go "
            "on with its last copy"
        )


def _check_objects(connection: Connection) -> None:
    found = strange_object(connection)
    if found is not None:
        raise _FoundError(
            f"the tables are not as they were made: {found}; what is stored or shown "
            "may be changed by it"
        )


def _walk_links(connection: Connection, walk: _Walk) -> None:
    number, previous = 0, START
    rows = connection.execute(select(t.links).order_by(t.links.c.number)).mappings()
    for row in rows:
        number += 1
        if row["number"] != number:
            raise _FoundError(f"link {number} between the lots' chains is missing")
        if link_hash(previous, link=row) != row["hash"]:
            raise _FoundError(
                f"link {number} between the lots' chains was changed, moved or inserted"
            )
        previous = row["hash"]
        walk.see(previous)
        _note_link(row, walk)
    head = connection.execute(select(t.base_head)).mappings().one_or_none()
    if head is None or (head["number"], head["hash"]) != (number, previous):
        raise _FoundError(
            f"the links between the lots' chains end at {number}, which is not where "
            "the base's head says: the last were removed, or some were added"
        )


def _note_link(row: Row, walk: _Walk) -> None:
    content = json.loads(row["content"])
    if row["kind"] == "lot":
        walk.opened[content["id"]] = content
        walk.openings[content["id"]] = row["hash"]
        walk.states[content["id"]] = LotState.OPEN.value
    if row["kind"] == "state":
        walk.states[content["id"]] = content["state"]
    for lot_id, sequence, head in content.get("heads", ()):
        walk.sealed.setdefault(lot_id, {})[sequence] = head


def _check_circumstances(connection: Connection, walk: _Walk) -> None:
    for row in connection.execute(select(t.circumstances)).mappings():
        if circumstances_hash(row) != row["hash"]:
            raise _FoundError(
                f"circumstances {row['id']} (constants, instruments, versions) were "
                "changed"
            )
        walk.circumstances[row["id"]] = row["hash"]


def _check_lots(connection: Connection, walk: _Walk) -> None:
    rows = connection.execute(select(t.lots).order_by(t.lots.c.id)).mappings().all()
    found = {row["id"]: row for row in rows}
    for lot_id, content in walk.opened.items():
        if lot_id not in found:
            raise _FoundError("the whole lot is missing", lot=content["name"])
        row = found[lot_id]
        for name, given in content.items():
            if row[name] != given:
                raise _FoundError(
                    f"the lot's {name} was changed: it was opened as {given!r}",
                    lot=content["name"],
                )
        if row["state"] != walk.states[lot_id]:
            raise _FoundError(
                f"the lot's state was changed from {walk.states[lot_id]} to "
                f"{row['state']}",
                lot=row["name"],
            )
    for row in rows:
        if row["id"] not in walk.opened:
            raise _FoundError("the lot was inserted: no link opens it", lot=row["name"])


def _walk_lot(connection: Connection, lot: Row, walk: _Walk) -> None:
    walk.lots += 1
    previous, sequence = walk.openings[lot["id"]], 0
    sealed = walk.sealed.get(lot["id"], {})
    quick = _Quick()
    for found in _entries(connection, lot):
        sequence += 1
        at = found.entry["sequence"]
        if at != sequence:
            text_ = (
                f"entry {sequence} is missing" if at > sequence else "it is no entry"
            )
            raise _FoundError(text_, lot=lot["name"], sequence=sequence)
        _check_entry(found, previous, lot=lot, walk=walk)
        previous = found.entry["hash"]
        walk.see(previous)
        walk.entries += 1
        quick.note(found)
        if sealed.get(sequence, previous) != previous:
            raise _FoundError(
                "the chain was worked out anew: a seal holds another hash for it",
                lot=lot["name"],
                sequence=sequence,
            )
    last = max([lot["entries"], *sealed])
    if sequence < last:
        raise _FoundError(
            f"entry {sequence + 1} is missing, and all after it up to {last}",
            lot=lot["name"],
            sequence=sequence + 1,
        )
    if (sequence, previous) != (lot["entries"], lot["head"]):
        raise _FoundError(
            f"the lot's head counts {lot['entries']} entries, and there are {sequence}"
            if sequence != lot["entries"]
            else "the lot's head is not its last entry's",
            lot=lot["name"],
            sequence=sequence,
        )
    quick.check(connection, lot)


@dataclass(slots=True, kw_only=True)
class _Found:
    """An entry with all that belongs to it."""

    entry: Row
    detail: Row | None
    document: str | None
    quantities: Sequence[Row]
    sweeps: Sequence[Row]


def _check_entry(found: _Found, previous: str, *, lot: Row, walk: _Walk) -> None:
    entry, where = (
        found.entry,
        {"lot": lot["name"], "sequence": found.entry["sequence"]},
    )
    if found.detail is None:
        raise _FoundError(f"what was stored as a {entry['kind']} is missing", **where)
    content = content_hash(
        entry,
        detail=found.detail,
        circumstances=walk.circumstances.get(entry["circumstances_id"], ""),
        document=found.document,
        quantities=found.quantities,
        sweeps=found.sweeps,
    )
    if content != entry["content_hash"]:
        raise _FoundError("what is stored was changed", **where)
    chained = entry_hash(previous, entry=entry, detail=found.detail, content=content)
    if chained != entry["hash"]:
        raise _FoundError(
            "it does not follow from the entry before it: it was inserted or moved, "
            "or its place or its hash was changed",
            **where,
        )


def _entries(connection: Connection, lot: Row) -> Iterator[_Found]:
    after = 0
    while True:
        try:
            some = list(_load(connection, lot["id"], after=after, count=_AT_ONCE))
        except Exception as error:
            if unreadable(error) is None:
                raise
            yield from _one_by_one(connection, lot, after=after)
            return
        yield from some
        if len(some) < _AT_ONCE:
            return
        after = some[-1].entry["sequence"]


def _one_by_one(connection: Connection, lot: Row, *, after: int) -> Iterator[_Found]:
    """Find the entry that cannot even be read."""
    while True:
        try:
            some = list(_load(connection, lot["id"], after=after, count=1))
        except Exception as error:
            if (said := unreadable(error)) is None:
                raise
            raise _FoundError(
                f"what is stored was changed: it cannot be read ({said})",
                lot=lot["name"],
                sequence=after + 1,
            ) from error
        if not some:
            return
        yield from some
        after = some[-1].entry["sequence"]


def _load(
    connection: Connection, lot_id: int, *, after: int, count: int
) -> Iterator[_Found]:
    e = t.entries.c
    statement = (
        select(t.entries)
        .where(e.lot_id == lot_id, e.sequence > after)
        .order_by(e.sequence)
        .limit(count)
    )
    entries = connection.execute(statement).mappings().all()
    if not entries:
        return
    last = entries[-1]["sequence"]

    def beside(table: Table) -> dict[int, list[Row]]:
        keys = list(table.primary_key.columns)[1:]
        c = table.c
        rows: Iterable[Row] = connection.execute(
            select(table)
            .where(c.lot_id == lot_id, c.sequence > after, c.sequence <= last)
            .order_by(*keys)
        ).mappings()
        return {key: list(some) for key, some in groupby(rows, _sequence)}

    details = {kind: beside(table) for kind, table in _DETAILS.items()}
    documents, quantities, sweeps = (
        beside(table) for table in (t.documents, t.quantities, t.sweeps)
    )
    for entry in entries:
        key = entry["sequence"]
        own = details.get(entry["kind"], {}).get(key)
        strays = sum(key in found for found in details.values()) > 1
        yield _Found(
            entry=entry,
            detail=own[0] if own and not strays else None,
            document=documents[key][0]["text"] if key in documents else None,
            quantities=quantities.get(key, ()),
            sweeps=sweeps.get(key, ()),
        )


def _sequence(row: Row) -> int:
    return int(row["sequence"])


@dataclass(slots=True)
class _Quick:
    """What the quick columns must say, worked out from the chain."""

    positions: dict[int, int] = field(default_factory=dict)  # to the current sequence
    newest: dict[int, int] = field(default_factory=dict)

    def note(self, found: _Found) -> None:
        """Follow one more entry."""
        detail, sequence = found.detail, found.entry["sequence"]
        if detail is None:
            return
        if found.entry["kind"] == "part":
            self.positions[detail["position"]] = sequence
            self.newest[sequence] = sequence
        if found.entry["kind"] == "rework":
            for one in rework_columns(detail)[0].tolist():
                self.newest[one] = sequence

    def check(self, connection: Connection, lot: Row) -> None:
        """Compare them with what the parts say."""
        p = t.parts.c
        statement = (
            select(p.sequence, p.current, p.newest)
            .where(p.lot_id == lot["id"])
            .order_by(p.sequence)
        )
        current = set(self.positions.values())
        for sequence, is_current, newest in connection.execute(statement):
            if (sequence in current, self.newest.get(sequence)) != (is_current, newest):
                raise _FoundError(
                    "which attempt or result counts was changed",
                    lot=lot["name"],
                    sequence=sequence,
                )
        if lot["positions"] != len(self.positions):
            raise _FoundError("the lot's count of parts was changed", lot=lot["name"])


def _check_orphans(connection: Connection) -> None:
    """Find rows of no entry, which the foreign keys forbid while they are on."""
    e = t.entries.c
    for table in (*_DETAILS.values(), t.documents, t.quantities, t.sweeps):
        c = table.c
        statement = (
            select(func.min(c.lot_id), func.count())
            .outerjoin(t.entries, (e.lot_id == c.lot_id) & (e.sequence == c.sequence))
            .where(e.sequence.is_(None))
        )
        lot_id, n = connection.execute(statement).one()
        if n:
            raise _FoundError(
                f"{n} rows of {table.name} (lot {lot_id}) belong to no entry: they "
                "were inserted, or their entries removed"
            )
    strays = select(func.count()).where(e.lot_id.not_in(select(t.lots.c.id)))
    if connection.execute(strays).scalar_one():
        raise _FoundError("entries belong to no lot")
