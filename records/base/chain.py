"""The chain of checksums over what a record base holds.

SHA-256 over a canonical serialisation: every value as one letter for its type, the
length of its bytes in eight, and the bytes; so no two different contents have the same
serialisation. Text is UTF-8 (half a surrogate pair as its three bytes), integers are
decimal, floats their eight bytes, little-endian.

An entry's content hash covers everything its maker gave; its hash covers the hash of
the entry before it in the lot, its place, and the content hash. A lot's first entry
follows the link that opened the lot, and the links are a chain of their own over lots
opened, finished, stopped and sealed, so a lot cannot vanish from between others.

Whoever can write to the base can also work out a whole new chain, or cut off the last
entries together with the heads that count them: keep a head elsewhere (on paper, in a
report), and `verify` with it.
"""

import hashlib
import json
import struct
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from .schema import Row

__all__ = [
    "START",
    "circumstances_hash",
    "content_hash",
    "digest",
    "entry_hash",
    "link_hash",
    "mapping_text",
]

START = "0" * 64  # what the first link follows
_ENTRY = ("uuid", "kind", "at", "station", "procedure", "reasons")
_DETAIL = {
    "part": ("label", "verdict"),
    "check": ("standard", "in_control"),
    "rework": ("reason", "names", "sequences", "verdicts", "values", "uncertainties"),
}
_PLACE = {
    "part": ("position", "attempt"),
    "check": ("suspect_from",),
    "rework": ("first", "last"),
}
_QUANTITY = ("number", "name", "unit", "value", "standard_uncertainty")
_SWEEP = (
    "number",
    "name",
    "n",
    "frequency_hz",
    "amplitude_v",
    "range_v",
    "time_s",
    "used",
)


def digest(values: Iterable[Any]) -> str:
    """Give the SHA-256 of the canonical serialisation of these values."""
    done = hashlib.sha256()
    for value in values:
        letter, data = _bytes_of(value)
        done.update(letter)
        done.update(struct.pack("<Q", len(data)))
        done.update(data)
    return done.hexdigest()


def _bytes_of(value: Any) -> tuple[bytes, bytes]:
    match value:
        case None:
            return b"n", b""
        case bool():
            return b"b", b"1" if value else b"0"
        case str():
            return b"s", value.encode("utf-8", "surrogatepass")
        case int():
            return b"i", str(value).encode()
        case float():
            return b"f", struct.pack("<d", value)
        case bytes() | memoryview():
            return b"y", bytes(value)
    raise TypeError(f"{type(value).__name__} has no canonical serialisation")


def mapping_text(mapping: Mapping[str, str]) -> str:
    """Write a mapping as JSON text, the same however it is ordered."""
    return json.dumps(dict(mapping), sort_keys=True, separators=(",", ":"))


def circumstances_hash(row: Row) -> str:
    """Give the hash that circumstances are found by."""
    names = ("bench", "fixture", "instruments", "software")
    return digest(["halfpower.circumstances/1", *(row[name] for name in names)])


def content_hash(
    entry: Row,
    *,
    detail: Row,
    circumstances: str,
    document: str | None,
    quantities: Sequence[Row],
    sweeps: Sequence[Row],
) -> str:
    """Give the hash of everything that the maker of an entry gave.

    Parameters
    ----------
    entry, detail, quantities, sweeps
        Rows of `halfpower.records.base.schema`; quantities and sweeps in their order.
    circumstances
        Their hash.
    """
    values: list[Any] = ["halfpower.entry/1", *(entry[name] for name in _ENTRY)]
    values += [detail[name] for name in _DETAIL[entry["kind"]]]
    values += [circumstances, document, len(quantities), len(sweeps)]
    for row in quantities:
        values += [row[name] for name in _QUANTITY]
    for row in sweeps:
        values += [row[name] for name in _SWEEP]
    return digest(values)


def entry_hash(previous: str, *, entry: Row, detail: Row, content: str) -> str:
    """Give the hash that chains an entry to the one before it in its lot."""
    place = [detail[name] for name in _PLACE[entry["kind"]]]
    key = (entry["lot_id"], entry["sequence"], entry["kind"])
    return digest(["halfpower.chain/1", previous, *key, *place, content])


def link_hash(previous: str, *, link: Row) -> str:
    """Give the hash that chains a link to the one before it."""
    names = ("number", "kind", "at", "content")
    return digest(["halfpower.link/1", previous, *(link[name] for name in names)])
