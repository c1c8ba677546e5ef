# ruff: noqa: INP001  found by its path, by Alembic
"""The first release's tables."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

HASH = sa.String(64)
START = "0" * 64


def upgrade() -> None:
    """Make every table; `halfpower.records.base.schema` says what each is for."""
    _lots()
    _entries()
    _details()
    _columns()


def downgrade() -> None:
    """Refuse: there is nothing before the first release."""
    raise RuntimeError("the first release's tables are where it begins")


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False)


def _integer(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, nullable=False)


def _blob(name: str, *, nullable: bool = False) -> sa.Column[bytes]:
    return sa.Column(name, sa.LargeBinary, nullable=nullable)


def _of_entry(
    table: str, *columns: Any, further_key: tuple[str, ...] = ()
) -> list[Any]:
    """Give a table the key of the entry it belongs to."""
    return [
        _integer("lot_id"),
        _integer("sequence"),
        *columns,
        sa.PrimaryKeyConstraint("lot_id", "sequence", *further_key, name=f"pk_{table}"),
        sa.ForeignKeyConstraint(
            ["lot_id", "sequence"],
            ["entries.lot_id", "entries.sequence"],
            name=f"fk_{table}_entries",
        ),
    ]


def _lots() -> None:
    head = op.create_table(
        "base_head",
        _integer("id"),
        _integer("number"),
        sa.Column("hash", HASH, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_base_head"),
    )
    op.bulk_insert(head, [{"id": 1, "number": 0, "hash": START}])
    op.create_table(
        "links",
        _integer("number"),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        _text("content"),
        sa.Column("hash", HASH, nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_links"),
    )
    op.create_table(
        "lots",
        _integer("id"),
        _text("name"),
        _text("file_text"),
        sa.Column("begun", sa.String(40), nullable=False),
        _text("station"),
        sa.Column("state", sa.String(8), nullable=False),
        _integer("entries"),
        _integer("positions"),
        sa.Column("head", HASH, nullable=False),
        _integer("sealed_entries"),
        sa.PrimaryKeyConstraint("id", name="pk_lots"),
        sa.UniqueConstraint("name", name="uq_lots_name"),
    )


def _entries() -> None:
    op.create_table(
        "circumstances",
        sa.Column("id", sa.Integer, nullable=False, autoincrement=True),
        sa.Column("hash", HASH, nullable=False),
        _text("bench"),
        _text("fixture"),
        _text("instruments"),
        _text("software"),
        sa.PrimaryKeyConstraint("id", name="pk_circumstances"),
        sa.UniqueConstraint("hash", name="uq_circumstances_hash"),
    )
    op.create_table(
        "entries",
        _integer("lot_id"),
        _integer("sequence"),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("uuid", sa.String(36), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        _text("station"),
        _text("procedure"),
        _text("reasons"),
        _integer("circumstances_id"),
        sa.Column("content_hash", HASH, nullable=False),
        sa.Column("hash", HASH, nullable=False),
        sa.PrimaryKeyConstraint("lot_id", "sequence", name="pk_entries"),
        sa.ForeignKeyConstraint(["lot_id"], ["lots.id"], name="fk_entries_lots"),
        sa.ForeignKeyConstraint(
            ["circumstances_id"], ["circumstances.id"], name="fk_entries_circumstances"
        ),
        sa.UniqueConstraint("uuid", name="uq_entries_uuid"),
        sqlite_with_rowid=False,
    )


def _details() -> None:
    op.create_table(
        "parts",
        *_of_entry(
            "parts",
            _integer("position"),
            _integer("attempt"),
            _text("label"),
            sa.Column("verdict", sa.String(10), nullable=False),
            sa.Column("current", sa.Boolean, nullable=False),
            _integer("newest"),
        ),
        sa.UniqueConstraint(
            "lot_id", "position", "attempt", name="uq_parts_lot_id_position_attempt"
        ),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_parts_label", "parts", ["label"])
    if op.get_bind().dialect.name == "postgresql":
        # Room for `newest` to change within its page.
        op.execute("ALTER TABLE parts SET (fillfactor = 50)")
    op.create_table(
        "checks",
        *_of_entry(
            "checks",
            _text("standard"),
            sa.Column("in_control", sa.Boolean, nullable=False),
            _integer("suspect_from"),
        ),
        sqlite_with_rowid=False,
    )
    op.create_table("documents", *_of_entry("documents", _text("text")))
    op.create_table(
        "quantities",
        *_of_entry(
            "quantities",
            _integer("number"),
            _text("name"),
            _text("unit"),
            sa.Column("value", sa.Double, nullable=False),
            sa.Column("standard_uncertainty", sa.Double, nullable=True),
            further_key=("number",),
        ),
        sqlite_with_rowid=False,
    )


def _columns() -> None:
    op.create_table(
        "reworks",
        *_of_entry(
            "reworks",
            _text("reason"),
            _integer("first"),
            _integer("last"),
            _text("names"),
            _blob("sequences"),
            _blob("verdicts"),
            _blob("values"),
            _blob("uncertainties"),
        ),
    )
    op.create_table(
        "sweeps",
        *_of_entry(
            "sweeps",
            _integer("number"),
            _text("name"),
            _integer("n"),
            _blob("frequency_hz"),
            _blob("amplitude_v"),
            _blob("range_v", nullable=True),
            _blob("time_s"),
            _blob("used", nullable=True),
            further_key=("number",),
        ),
    )
