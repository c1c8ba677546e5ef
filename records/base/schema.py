"""The record base's tables, as SQLAlchemy Core sees them.

The migrations in ``migrations/versions`` make them; this file never does. A test
compares the two on every database. One entry (a part, a check standard's reading, a
rework) is a row of ``entries``, numbered by ``sequence`` within its lot, with what is
particular to its kind beside it under the same key.

Text is kept exactly, whatever it holds. PostgreSQL refuses NUL, and no database takes
half a surrogate pair, so each of these (and U+E000 itself, a private-use character) is
stored as U+E000 followed by four hexadecimal digits, and comes back as it was.
"""

import re
from collections.abc import Mapping
from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    Double,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

__all__ = [
    "METADATA",
    "REVISION",
    "VERSION_TABLE",
    "ExactText",
    "Row",
    "base_head",
    "checks",
    "circumstances",
    "documents",
    "entries",
    "escape_text",
    "links",
    "lots",
    "parts",
    "quantities",
    "reworks",
    "sweeps",
    "unescape_text",
]

Row = Mapping[Any, Any]  # SQLAlchemy's rows have keys of several types

REVISION = "0002"  # the migrations' head; a test holds the two together
VERSION_TABLE = "halfpower_version"  # apart from another program's Alembic

_ESCAPE = "\ue000"
_UNSTORABLE = re.compile("[\x00\ud800-\udfff\ue000]")
_ESCAPED = re.compile("\ue000([0-9A-F]{4})")


def escape_text(text: str) -> str:
    """Write NUL, lone surrogates and U+E000 as U+E000 and four digits."""
    return _UNSTORABLE.sub(lambda found: f"{_ESCAPE}{ord(found[0]):04X}", text)


def unescape_text(text: str) -> str:
    """Undo `escape_text`."""
    if _ESCAPE not in text:
        return text
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text)


class ExactText(TypeDecorator[str]):
    """Text that comes back the same, NUL and lone surrogates included."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """Escape what a database refuses."""
        del dialect
        return None if value is None else escape_text(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> str | None:
        """Give back what was stored."""
        del dialect
        return None if value is None else unescape_text(value)


METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

HASH = String(64)  # SHA-256, hexadecimal


def _key(*further: Column[Any]) -> tuple[Any, ...]:
    """Give a table the key of the entry it belongs to."""
    return (
        Column("lot_id", Integer, primary_key=True, autoincrement=False),
        Column("sequence", Integer, primary_key=True, autoincrement=False),
        *further,
        ForeignKeyConstraint(
            ["lot_id", "sequence"], ["entries.lot_id", "entries.sequence"]
        ),
    )


# One row, locked by whoever appends to `links`; `lots` are locked one by one. The
# identity is the base's own, by which its side files know it.
base_head = Table(
    "base_head",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("number", Integer, nullable=False),
    Column("hash", HASH, nullable=False),
    Column("identity", String(36), nullable=False),
)

# The chain over lots: opened, set to a state, sealed.
links = Table(
    "links",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(8), nullable=False),
    Column("at", String(40), nullable=False),
    Column("content", ExactText, nullable=False),
    Column("hash", HASH, nullable=False),
)

lots = Table(
    "lots",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("name", ExactText, nullable=False),
    Column("file_text", ExactText, nullable=False),
    Column("begun", String(40), nullable=False),
    Column("station", ExactText, nullable=False),
    Column("state", String(8), nullable=False),
    Column("entries", Integer, nullable=False),
    Column("positions", Integer, nullable=False),
    Column("head", HASH, nullable=False),
    Column("sealed_entries", Integer, nullable=False),
    UniqueConstraint("name"),
)

# What was in force, stored once however many parts were measured under it.
circumstances = Table(
    "circumstances",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("hash", HASH, nullable=False),
    Column("bench", ExactText, nullable=False),
    Column("fixture", ExactText, nullable=False),
    Column("instruments", ExactText, nullable=False),
    Column("software", ExactText, nullable=False),
    UniqueConstraint("hash"),
)

entries = Table(
    "entries",
    METADATA,
    Column(
        "lot_id",
        Integer,
        ForeignKey("lots.id"),
        primary_key=True,
        autoincrement=False,
    ),
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(8), nullable=False),
    Column("uuid", String(36), nullable=False),
    Column("at", String(40), nullable=False),
    Column("station", ExactText, nullable=False),
    Column("procedure", ExactText, nullable=False),
    Column("reasons", ExactText, nullable=False),
    Column("circumstances_id", ForeignKey("circumstances.id"), nullable=False),
    Column("content_hash", HASH, nullable=False),
    Column("hash", HASH, nullable=False),
    UniqueConstraint("uuid"),
    sqlite_with_rowid=False,
)

# `current` (the newest attempt at its position) and `newest` (the sequence of the
# newest result for it) are kept for quick queries; `verify` works them out again.
parts = Table(
    "parts",
    METADATA,
    *_key(
        Column("position", Integer, nullable=False),
        Column("attempt", Integer, nullable=False),
        Column("label", ExactText, nullable=False),
        Column("verdict", String(10), nullable=False),
        Column("current", Boolean, nullable=False),
        Column("newest", Integer, nullable=False),
    ),
    UniqueConstraint("lot_id", "position", "attempt"),
    Index("ix_parts_label", "label"),
    sqlite_with_rowid=False,
)

checks = Table(
    "checks",
    METADATA,
    *_key(
        Column("standard", ExactText, nullable=False),
        Column("in_control", Boolean, nullable=False),
        Column("suspect_from", Integer, nullable=False),
    ),
    sqlite_with_rowid=False,
)

# New results for many parts of one lot as columns: a row of `values` a part, a
# column a quantity, float64 little-endian; `sequences` are int64, rising.
reworks = Table(
    "reworks",
    METADATA,
    *_key(
        Column("reason", ExactText, nullable=False),
        Column("first", Integer, nullable=False),
        Column("last", Integer, nullable=False),
        Column("names", ExactText, nullable=False),
        Column("sequences", LargeBinary, nullable=False),
        Column("verdicts", LargeBinary, nullable=False),
        Column("values", LargeBinary, nullable=False),
        Column("uncertainties", LargeBinary, nullable=False),
    ),
)

documents = Table(
    "documents", METADATA, *_key(Column("text", ExactText, nullable=False))
)

quantities = Table(
    "quantities",
    METADATA,
    *_key(
        Column("number", Integer, primary_key=True, autoincrement=False),
        Column("name", ExactText, nullable=False),
        Column("unit", ExactText, nullable=False),
        Column("value", Double, nullable=False),
        Column("standard_uncertainty", Double, nullable=True),
    ),
    sqlite_with_rowid=False,
)

# Raw readings, float64 little-endian; `used` are int32 indices, null where all are.
sweeps = Table(
    "sweeps",
    METADATA,
    *_key(
        Column("number", Integer, primary_key=True, autoincrement=False),
        Column("name", ExactText, nullable=False),
        Column("n", Integer, nullable=False),
        Column("frequency_hz", LargeBinary, nullable=False),
        Column("amplitude_v", LargeBinary, nullable=False),
        Column("range_v", LargeBinary, nullable=True),
        Column("time_s", LargeBinary, nullable=False),
        Column("used", LargeBinary, nullable=True),
    ),
)
