"""Ask a base: lots, their parts with the newest results, one part in full."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, select

from ...analysis.lots import Verdict
from ...analysis.quantity import Caution
from ..errors import EntryError
from . import schema as t
from .columns import (
    VERDICT_CODES,
    circumstances_of,
    quantity_of,
    reasons_of,
    rework_columns,
    rework_reasons,
    sweep_of,
)
from .entries import FloatArray, LotState, StoredQuantity, SweepColumns
from .rows import CheckRow, LotRow, PartRecord, PartRow, Place
from .schema import Row

__all__ = [
    "Rework",
    "checks_of",
    "lot_from",
    "lot_id_of",
    "lot_of",
    "lot_row",
    "lots_of",
    "part_rows",
    "places_of",
    "positions_labelled",
    "record_of",
    "reworks_of",
]

_AT_ONCE = 5000  # parts


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rework:
    """A rework, read."""

    sequence: int
    sequences: NDArray[np.int64]
    codes: NDArray[np.uint8] | None
    names: tuple[tuple[str, str], ...]
    values: FloatArray
    uncertainties: FloatArray
    reasons: Mapping[int, tuple[Caution, ...]]

    def applied(self, part: PartRow) -> PartRow:
        """Give the part with this result."""
        row = int(np.searchsorted(self.sequences, part.sequence))
        kept = self.codes is None
        pairs = zip(self.values[row], self.uncertainties[row], strict=True)
        return replace(
            part,
            result=self.sequence,
            verdict=part.verdict if kept else VERDICT_CODES[self.codes[row]],  # type: ignore[index]  # not None here
            reasons=self.reasons.get(part.sequence, part.reasons if kept else ()),
            quantities=tuple(
                StoredQuantity(
                    name=name,
                    unit=unit,
                    value=float(value),
                    standard_uncertainty=None if np.isnan(u) else float(u),
                )
                for (name, unit), (value, u) in zip(self.names, pairs, strict=True)
                if not np.isnan(value)
            ),
        )


def lots_of(connection: Connection) -> tuple[LotRow, ...]:
    """List the lots in the order they were opened."""
    found = connection.execute(select(t.lots).order_by(t.lots.c.id)).mappings()
    return tuple(lot_from(row) for row in found)


def lot_of(connection: Connection, name: str) -> LotRow:
    """Give one lot.

    Raises
    ------
    EntryError
        The base has none of that name.
    """
    return lot_from(lot_row(connection, name))


def lot_id_of(connection: Connection, name: str) -> int:
    """Find a lot by its name.

    Raises
    ------
    EntryError
        The base has none of that name.
    """
    return int(lot_row(connection, name)["id"])


def part_rows(
    connection: Connection,
    lot_id: int,
    *,
    all_attempts: bool = False,
    as_measured: bool = False,
    position: int | None = None,
) -> Iterator[PartRow]:
    """Give a lot's parts (see `RecordBase.parts`), or those at one position."""
    p = t.parts.c
    reworks = dict[int, Rework]() if as_measured else reworks_of(connection, lot_id)
    bad = _bad_checks(connection, lot_id)
    statement = _part_select().where(p.lot_id == lot_id).order_by(p.sequence)
    if not all_attempts:
        statement = statement.where(p.current)
    if position is not None:
        statement = statement.where(p.position == position)
    after = 0
    while True:
        some = statement.where(p.sequence > after).limit(_AT_ONCE)
        rows = connection.execute(some).mappings().all()
        if not rows:
            return
        quantities = _quantities(
            connection, lot_id, first=rows[0]["sequence"], last=rows[-1]["sequence"]
        )
        for row in rows:
            part = _part(row, quantities=quantities, bad=bad)
            rework = reworks.get(row["newest"])
            yield part if rework is None else rework.applied(part)
        after = rows[-1]["sequence"]


def places_of(connection: Connection, name: str, *, after: int) -> tuple[Place, ...]:
    """Give what stands where, of the parts stored after an entry."""
    p = t.parts.c
    statement = (
        select(p.sequence, p.position, p.label, p.verdict)
        .where(p.lot_id == lot_id_of(connection, name), p.current, p.sequence > after)
        .order_by(p.sequence)
    )
    return tuple(
        Place(
            sequence=row["sequence"],
            position=row["position"],
            label=row["label"],
            verdict=Verdict(row["verdict"]),
        )
        for row in connection.execute(statement).mappings()
    )


def record_of(
    connection: Connection, name: str, *, position: int, attempt: int | None
) -> PartRecord:
    """Give all there is about one part.

    Raises
    ------
    EntryError
        The lot, the position or the attempt is not there.
    """
    lot_id = lot_id_of(connection, name)
    rows = list(
        part_rows(
            connection, lot_id, all_attempts=True, as_measured=True, position=position
        )
    )
    found = [one for one in rows if attempt in (None, one.attempt)]
    if not found:
        raise EntryError(
            f"lot {name!r} has no part at position {position}"
            + (f", attempt {attempt}" if attempt is not None else ""),
            lot=name,
            position=position,
        )
    first = found[-1]
    newest = next(
        one
        for one in part_rows(connection, lot_id, all_attempts=True, position=position)
        if one.sequence == first.sequence
    )
    reworked = newest.result != first.sequence
    document = _document(connection, lot_id, newest.result)
    return PartRecord(
        first=first,
        newest=newest,
        circumstances=circumstances_of(_in_force(connection, lot_id, first.sequence)),
        rework_circumstances=circumstances_of(
            _in_force(connection, lot_id, newest.result)
        )
        if reworked
        else None,
        rework_reason=_rework_reason(connection, lot_id, newest.result),
        document=document or _document(connection, lot_id, first.sequence),
        sweeps=_sweeps(connection, lot_id, first.sequence),
    )


def positions_labelled(
    connection: Connection, label: str
) -> tuple[tuple[str, int], ...]:
    """Find a label in every lot: pairs of lot and position."""
    statement = (
        select(t.lots.c.name, t.parts.c.position, t.parts.c.lot_id)
        .join(t.lots, t.lots.c.id == t.parts.c.lot_id)
        .where(t.parts.c.label == label)
        .distinct()
        .order_by(t.parts.c.lot_id, t.parts.c.position)
    )
    return tuple((row[0], row[1]) for row in connection.execute(statement))


def checks_of(connection: Connection, name: str) -> tuple[CheckRow, ...]:
    """Give the readings of check standards in a lot, in the order they were stored."""
    lot_id = lot_id_of(connection, name)
    e, c = t.entries.c, t.checks.c
    statement = (
        select(t.checks, e.at, e.station, e.reasons)
        .join(t.entries, (e.lot_id == c.lot_id) & (e.sequence == c.sequence))
        .where(c.lot_id == lot_id)
        .order_by(c.sequence)
    )
    rows = connection.execute(statement).mappings().all()
    return tuple(
        CheckRow(
            lot=name,
            sequence=row["sequence"],
            standard=row["standard"],
            at=row["at"],
            station=row["station"],
            in_control=row["in_control"],
            suspect_from=row["suspect_from"],
            reasons=reasons_of(row["reasons"]),
            quantities=tuple(
                _quantities(
                    connection, lot_id, first=row["sequence"], last=row["sequence"]
                ).get(row["sequence"], ())
            ),
        )
        for row in rows
    )


def lot_row(connection: Connection, name: str) -> Row:
    """Give a lot's row.

    Raises
    ------
    EntryError
        The base has none of that name.
    """
    statement = select(t.lots).where(t.lots.c.name == name)
    found = connection.execute(statement).mappings().one_or_none()
    if found is None:
        raise EntryError(
            f"the base has no lot {name!r}; look at the lots it has", lot=name
        )
    return dict(found)


def lot_from(row: Row) -> LotRow:
    """Read a lot from its row."""
    return LotRow(
        name=row["name"],
        file_text=row["file_text"],
        begun=row["begun"],
        station=row["station"],
        state=LotState(row["state"]),
        positions=row["positions"],
        entries=row["entries"],
        head=row["head"],
    )


def reasons_with(connection: Connection, lot_id: int, code: str) -> dict[int, Caution]:
    """Give the reasons of one code that a lot's parts were stored with, by entry."""
    e = t.entries.c
    some = select(e.sequence, e.reasons).where(
        e.lot_id == lot_id, e.reasons.contains(code, autoescape=True)
    )
    return {
        sequence: one
        for sequence, reasons in connection.execute(some)
        for one in reasons_of(reasons)
        if one.code == code
    }


def _part_select() -> Select[Any]:
    p, e = t.parts.c, t.entries.c
    return (
        select(t.parts, e.procedure, e.at, e.station, e.reasons, t.lots.c.name)
        .join(t.entries, (e.lot_id == p.lot_id) & (e.sequence == p.sequence))
        .join(t.lots, t.lots.c.id == p.lot_id)
    )


def _part(
    row: Row,
    *,
    quantities: Mapping[int, list[StoredQuantity]],
    bad: NDArray[np.int64],
) -> PartRow:
    sequence = row["sequence"]
    return PartRow(
        lot=row["name"],
        sequence=sequence,
        position=row["position"],
        attempt=row["attempt"],
        label=row["label"],
        procedure=row["procedure"],
        at=row["at"],
        station=row["station"],
        verdict=Verdict(row["verdict"]),
        reasons=reasons_of(row["reasons"]),
        quantities=tuple(quantities.get(sequence, ())),
        result=sequence,
        current=row["current"],
        suspect=bool(((bad[:, 0] <= sequence) & (sequence < bad[:, 1])).any()),
    )


def _quantities(
    connection: Connection, lot_id: int, *, first: int, last: int
) -> dict[int, list[StoredQuantity]]:
    q = t.quantities.c
    statement = (
        select(t.quantities)
        .where(q.lot_id == lot_id, q.sequence.between(first, last))
        .order_by(q.sequence, q.number)
    )
    found: dict[int, list[StoredQuantity]] = {}
    for row in connection.execute(statement).mappings():
        found.setdefault(row["sequence"], []).append(quantity_of(row))
    return found


def _bad_checks(connection: Connection, lot_id: int) -> NDArray[np.int64]:
    """Give (from, before) of the entries that bad readings cast doubt on."""
    c = t.checks.c
    statement = select(c.suspect_from, c.sequence).where(
        c.lot_id == lot_id, ~c.in_control
    )
    pairs = [(row[0], row[1]) for row in connection.execute(statement)]
    return np.array(pairs, dtype=np.int64).reshape(-1, 2)


def reworks_of(connection: Connection, lot_id: int) -> dict[int, Rework]:
    """Read the reworks that are the newest result of any part."""
    p, r, e = t.parts.c, t.reworks.c, t.entries.c
    in_use = select(p.newest).where(p.lot_id == lot_id).distinct()
    statement = (
        select(t.reworks, e.reasons)
        .join(t.entries, (e.lot_id == r.lot_id) & (e.sequence == r.sequence))
        .where(r.lot_id == lot_id, r.sequence.in_(in_use))
    )
    found = {}
    for row in connection.execute(statement).mappings():
        sequences, codes, values, uncertainties = rework_columns(row)
        found[row["sequence"]] = Rework(
            sequence=row["sequence"],
            sequences=sequences,
            codes=codes,
            names=tuple((name, unit) for name, unit in json.loads(row["names"])),
            values=values,
            uncertainties=uncertainties,
            reasons=rework_reasons(row["reasons"]),
        )
    return found


def _in_force(connection: Connection, lot_id: int, sequence: int) -> Row:
    e = t.entries.c
    statement = (
        select(t.circumstances)
        .join(t.entries, e.circumstances_id == t.circumstances.c.id)
        .where(e.lot_id == lot_id, e.sequence == sequence)
    )
    return dict(connection.execute(statement).mappings().one())


def _sweeps(
    connection: Connection, lot_id: int, sequence: int
) -> tuple[SweepColumns, ...]:
    s = t.sweeps.c
    statement = (
        select(t.sweeps)
        .where(s.lot_id == lot_id, s.sequence == sequence)
        .order_by(s.number)
    )
    return tuple(sweep_of(row) for row in connection.execute(statement).mappings())


def _document(connection: Connection, lot_id: int, sequence: int) -> str | None:
    d = t.documents.c
    statement = select(d.text).where(d.lot_id == lot_id, d.sequence == sequence)
    return connection.execute(statement).scalar_one_or_none()


def _rework_reason(connection: Connection, lot_id: int, sequence: int) -> str | None:
    r = t.reworks.c
    statement = select(r.reason).where(r.lot_id == lot_id, r.sequence == sequence)
    return connection.execute(statement).scalar_one_or_none()
