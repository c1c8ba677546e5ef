"""The chain over lots: opened, set to a state, sealed; and the lock on one lot.

Whoever opens, closes or seals locks ``base_head`` before any lot's row, and whoever
stores locks one lot's row alone, so nobody waits in a circle.
"""

import json
from typing import Any

from sqlalchemy import Connection, bindparam, insert, select, update

from ..errors import EntryError
from . import schema as t
from .chain import link_hash
from .entries import LotEntry, LotState

__all__ = ["lock_lot", "open_lot", "seal", "set_state"]

Row = dict[str, Any]
_LOCK_LOT = select(t.lots).where(t.lots.c.name == bindparam("lot")).with_for_update()


def open_lot(connection: Connection, lot: LotEntry) -> None:
    """Open a lot, or find it open under the same name with the same text.

    Raises
    ------
    EntryError
        The base holds another lot of that name.
    """
    number, _ = _lock_base(connection)
    held = connection.execute(
        select(t.lots).where(t.lots.c.name == lot.name)
    ).mappings()
    found = held.one_or_none()
    if found is not None:
        if (found["file_text"], found["begun"]) == (lot.file_text, lot.begun):
            return
        raise EntryError(
            f"the base holds another lot {lot.name!r}, begun {found['begun']}; go on "
            "with that one, or give this one a name of its own",
            lot=lot.name,
        )
    lot_id = number + 1  # the link that opens it
    given = {
        "id": lot_id,
        "name": lot.name,
        "file_text": lot.file_text,
        "begun": lot.begun,
        "station": lot.station,
    }
    head = _link(connection, kind="lot", at=lot.begun, content=given)
    connection.execute(
        insert(t.lots).values(
            **given,
            state=LotState.OPEN.value,
            entries=0,
            positions=0,
            head=head,
            sealed_entries=0,
        )
    )


def set_state(connection: Connection, name: str, *, state: LotState, at: str) -> None:
    """Set a lot's state and seal its head; nothing is done where it is so already."""
    _lock_base(connection)
    lot = lock_lot(connection, name)
    if lot["state"] == state.value:
        return
    content = {"id": lot["id"], "state": state.value, "heads": [_head_of(lot)]}
    _link(connection, kind="state", at=at, content=content)
    connection.execute(
        update(t.lots)
        .where(t.lots.c.id == lot["id"])
        .values(state=state.value, sealed_entries=lot["entries"])
    )


def seal(connection: Connection, *, at: str) -> str:
    """Chain the heads of all lots that have grown since they were last sealed."""
    _lock_base(connection)
    grown = (
        select(t.lots)
        .where(t.lots.c.entries != t.lots.c.sealed_entries)
        .order_by(t.lots.c.id)
        .with_for_update()
    )
    rows = connection.execute(grown).mappings().all()
    head = _link(
        connection, kind="seal", at=at, content={"heads": [_head_of(r) for r in rows]}
    )
    connection.execute(
        update(t.lots)
        .where(t.lots.c.id.in_([row["id"] for row in rows]))
        .values(sealed_entries=t.lots.c.entries)
    )
    return head


def lock_lot(connection: Connection, name: str) -> t.Row:
    """Give a lot's row, held until the transaction ends.

    Raises
    ------
    EntryError
        The base has no such lot.
    """
    found = connection.execute(_LOCK_LOT, {"lot": name}).mappings().one_or_none()
    if found is None:
        raise EntryError(
            f"the base has no lot {name!r}; open it first, or look at the lots it has",
            lot=name,
        )
    return dict(found)


def _lock_base(connection: Connection) -> tuple[int, str]:
    head = connection.execute(select(t.base_head).with_for_update()).mappings().one()
    return head["number"], head["hash"]


def _head_of(lot: t.Row) -> list[Any]:
    return [lot["id"], lot["entries"], lot["head"]]


def _link(connection: Connection, *, kind: str, at: str, content: Row) -> str:
    """Append a link; the caller holds ``base_head``."""
    number, previous = _lock_base(connection)
    row = {
        "number": number + 1,
        "kind": kind,
        "at": at,
        "content": json.dumps(content, sort_keys=True),
    }
    row["hash"] = link_hash(previous, link=row)
    connection.execute(insert(t.links).values(**row))
    connection.execute(
        update(t.base_head).values(number=row["number"], hash=row["hash"])
    )
    return str(row["hash"])
