# ruff: noqa: S608  statements that are meant to do harm
"""Verification finds what was done to a base behind its back."""

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from types import ModuleType

import pytest
from sqlalchemy import Connection, text

from halfpower.records import RecordBase, open_base
from halfpower.records.base.rows import Finding
from halfpower.records.base.verify import verification_of

TABLES = ("parts", "checks", "reworks", "documents", "quantities", "sweeps")
FIRST, SECOND = 1, 2  # the lots' ids
PAGE = 4096  # SQLite's own choice (sqlite.org/pgszchng2016.html)


def removed(sequence: int) -> list[str]:
    """Remove an entry and all that belongs to it."""
    where = f"WHERE lot_id = {FIRST} AND sequence = {sequence}"
    return [f"DELETE FROM {table} {where}" for table in (*TABLES, "entries")]


def moved(old: int, new: int) -> list[str]:
    """Give an entry another place."""
    where = f"WHERE lot_id = {FIRST} AND sequence = {old}"
    return [
        f"UPDATE {table} SET sequence = {new} {where}" for table in (*TABLES, "entries")
    ]


AT_2 = f"WHERE lot_id = {FIRST} AND sequence = 2"
AT_3 = f"WHERE lot_id = {FIRST} AND sequence = 3"
AT_7 = f"WHERE lot_id = {FIRST} AND sequence = 7"
TAMPERINGS: dict[str, tuple[list[str], int]] = {
    "label": ([f"UPDATE parts SET label = 'other' {AT_2}"], 2),
    "verdict": ([f"UPDATE parts SET verdict = 'rejected' {AT_2}"], 2),
    "reason": ([f"UPDATE entries SET reasons = '[]' {AT_2}"], 2),
    "time": ([f"UPDATE entries SET at = '2027-01-01T00:00:00Z' {AT_2}"], 2),
    "value": ([f"UPDATE quantities SET value = value * 1.0000001 {AT_2}"], 2),
    "uncertainty": (
        [f"UPDATE quantities SET standard_uncertainty = 0 {AT_2} AND number = 0"],
        2,
    ),
    "quantity removed": ([f"DELETE FROM quantities {AT_2} AND number = 1"], 2),
    "document": ([f"UPDATE documents SET text = '{{}}' {AT_2}"], 2),
    "document removed": ([f"DELETE FROM documents {AT_2}"], 2),
    "readings": ([f"UPDATE sweeps SET amplitude_v = time_s {AT_2}"], 2),
    "readings' name": ([f"UPDATE sweeps SET name = 'other' {AT_2}"], 2),
    "which are used": ([f"UPDATE sweeps SET used = NULL {AT_2}"], 2),
    "position": ([f"UPDATE parts SET position = 9 {AT_3}"], 3),
    "attempt": ([f"UPDATE parts SET attempt = 7 {AT_3}"], 3),
    "entry's constants": (
        [
            (
                "UPDATE entries SET circumstances_id = (SELECT max(id) FROM "
                f"circumstances) {AT_2}"
            )
        ],
        2,
    ),
    "its own hash": ([f"UPDATE entries SET hash = content_hash {AT_2}"], 2),
    "control of a check": (
        ["UPDATE checks SET in_control = NOT in_control WHERE sequence = 6"],
        6,
    ),
    "doubt of a check": (
        ["UPDATE checks SET suspect_from = 6 WHERE sequence = 6"],
        6,
    ),
    "rework's reason": ([f"UPDATE reworks SET reason = 'none' {AT_7}"], 7),
    "rework's values": (
        [f'UPDATE reworks SET "values" = uncertainties {AT_7}'],
        7,
    ),
    "rework's uncertainties": (
        [f'UPDATE reworks SET uncertainties = "values" {AT_7}'],
        7,
    ),
    "part removed": (removed(2), 2),
    "last entry removed": (removed(7), 7),
    "detail removed": ([f"DELETE FROM parts {AT_2}"], 2),
    "reordered": ([*moved(2, 99), *moved(3, 2), *moved(99, 3)], 2),
    "removed and closed up": ([*removed(3), *moved(4, 3)], 3),
    "which result counts": (
        [f"UPDATE parts SET newest = 1 WHERE lot_id = {FIRST} AND sequence = 1"],
        1,
    ),
    "which attempt counts": ([f"UPDATE parts SET current = true {AT_2}"], 2),
    "inserted at the end": (
        [
            (
                "INSERT INTO entries SELECT lot_id, 8, kind, "
                "'00000000-0000-0000-0000-000000000000', at, station, procedure, "
                f"reasons, circumstances_id, content_hash, hash FROM entries {AT_2}"
            ),
            (
                "INSERT INTO parts SELECT lot_id, 8, 4, 1, label, verdict, current, 8 "
                f"FROM parts {AT_2}"
            ),
        ],
        8,
    ),
}
OF_THE_LOT: dict[str, tuple[list[str], str]] = {
    "lot's text": ([f"UPDATE lots SET file_text = '' WHERE id = {FIRST}"], "file_text"),
    "lot's name": ([f"UPDATE lots SET name = 'other' WHERE id = {FIRST}"], "name"),
    "lot's state": ([f"UPDATE lots SET state = 'stopped' WHERE id = {FIRST}"], "state"),
    "lot's count": ([f"UPDATE lots SET positions = 9 WHERE id = {FIRST}"], "count"),
    "lot's head": (
        [f"UPDATE lots SET head = '{'0' * 64}' WHERE id = {FIRST}"],
        "head",
    ),
    "lot removed": (
        [
            *(f"DELETE FROM {table} WHERE lot_id = {SECOND}" for table in TABLES),
            f"DELETE FROM entries WHERE lot_id = {SECOND}",
            f"DELETE FROM lots WHERE id = {SECOND}",
        ],
        "missing",
    ),
    "constants": (["UPDATE circumstances SET fixture = '{}' WHERE id = 1"], "changed"),
    "link changed": (
        ["UPDATE links SET at = '2027-01-01T00:00:00Z' WHERE number = 1"],
        "link 1",
    ),
    "link removed": (["DELETE FROM links WHERE number = 1"], "link 1"),
    "last link removed": (["DELETE FROM links WHERE number = 2"], "end at 1"),
    "orphan": (
        [
            (
                "INSERT INTO documents (lot_id, sequence, text) "
                f"VALUES ({FIRST}, 50, 'stray')"
            )
        ],
        "no entry",
    ),
}
Filled = Callable[[str], str]
Harm = Callable[[str], AbstractContextManager[Connection]]


def tampered(
    url: str, harm: Harm, statements: list[str], *, expected_head: str | None = None
) -> Finding | None:
    """Run statements behind the base's back and verify it as it is then."""
    with harm(url) as connection:
        changed = sum(connection.execute(text(one)).rowcount for one in statements)
        assert changed > 0
        return verification_of(connection, expected_head=expected_head).finding


@pytest.mark.parametrize("name", TAMPERINGS)
def test_first_entry_that_does_not_fit_is_named(
    name: str, kind: str, filled: Filled, harm: Harm
) -> None:
    """Whatever of an entry is changed, removed, inserted or moved, it is named."""
    statements, sequence = TAMPERINGS[name]
    finding = tampered(filled(kind), harm, statements)
    assert finding is not None
    assert (finding.lot, finding.sequence) == ("chokes", sequence)


@pytest.mark.parametrize("name", OF_THE_LOT)
def test_what_is_around_the_entries_is_verified_too(
    name: str, kind: str, filled: Filled, harm: Harm
) -> None:
    """Lots, links, constants and strays are found out as well."""
    statements, word = OF_THE_LOT[name]
    finding = tampered(filled(kind), harm, statements)
    assert finding is not None
    assert word in finding.text


BOTH = ("sqlite", "postgresql")
PG = ("postgresql",)
OBJECTS: dict[str, tuple[list[str], str, tuple[str, ...]]] = {
    "view": (["CREATE VIEW seen AS SELECT 1 AS one"], "view 'seen' was added", BOTH),
    "trigger": (
        [
            (
                "CREATE TRIGGER improve AFTER INSERT ON parts BEGIN UPDATE parts SET "
                "verdict = 'accepted'; END"
            )
        ],
        "trigger 'improve' was added",
        ("sqlite",),
    ),
    "trigger on a server": (
        [
            (
                "CREATE FUNCTION improve() RETURNS trigger LANGUAGE plpgsql AS "
                "$$BEGIN NEW.verdict = 'accepted'; RETURN NEW; END$$"
            ),
            (
                "CREATE TRIGGER improve BEFORE INSERT ON parts FOR EACH ROW "
                "EXECUTE FUNCTION improve()"
            ),
        ],
        "trigger 'improve of parts' was added",
        PG,
    ),
    "keys not watched": (
        ["ALTER TABLE quantities DISABLE TRIGGER ALL"],
        "was switched off",
        PG,
    ),
    "rule": (
        ["CREATE RULE none AS ON INSERT TO parts DO INSTEAD NOTHING"],
        "rule 'none of parts' was added",
        PG,
    ),
    "row security": (
        ["ALTER TABLE parts ENABLE ROW LEVEL SECURITY"],
        "row security 'of parts' was switched on",
        PG,
    ),
    "table": (["CREATE TABLE more (id INTEGER)"], "table 'more' was added", BOTH),
    "column": (
        ["ALTER TABLE parts ADD COLUMN more INTEGER"],
        "column 'more of parts' was added",
        BOTH,
    ),
    "index": (["DROP INDEX ix_parts_label"], "'ix_parts_label of parts' is", BOTH),
    "foreign key": (
        ["ALTER TABLE quantities DROP CONSTRAINT fk_quantities_entries"],
        "foreign key 'fk_quantities_entries of quantities' is missing",
        PG,
    ),
    "view for a table": (
        [
            "ALTER TABLE checks RENAME TO hidden",
            "CREATE VIEW checks AS SELECT * FROM hidden WHERE in_control",
        ],
        "table 'checks' is missing",
        BOTH,
    ),
}


@pytest.mark.parametrize("name", OBJECTS)
def test_what_was_done_to_the_schema_is_named(
    name: str, kind: str, own_filled: str, harm: Harm
) -> None:
    """What changes entries as they are stored or shown leaves no trace in the chain."""
    statements, said, kinds = OBJECTS[name]
    if kind not in kinds:
        pytest.skip("the other database has no such thing")
    with harm(own_filled) as connection:
        assert verification_of(connection, expected_head=None).finding is None
        for one in statements:
            connection.execute(text(one))
        finding = verification_of(connection, expected_head=None).finding
    assert finding is not None
    assert said in finding.text


def test_what_was_done_is_said(kind: str, filled: Filled, harm: Harm) -> None:
    """A changed entry, a missing one and one out of its place are told apart."""
    words = {
        "label": "what is stored was changed",
        "part removed": "entry 2 is missing",
        "reordered": "it was inserted or moved",
        "last entry removed": "entry 7 is missing, and all after it up to 7",
    }
    for name, said in words.items():
        finding = tampered(filled(kind), harm, TAMPERINGS[name][0])
        assert finding is not None
        assert said in finding.text


def test_untouched_base_is_well(kind: str, filled: Filled) -> None:
    """Nothing is found where nothing was done: seven entries and one."""
    with open_base(filled(kind)) as base:
        found = base.verify()
    assert (found.finding, found.lots, found.entries) == (None, 2, 8)


CUT_OFF = [
    *removed(7),
    f"UPDATE parts SET newest = sequence WHERE lot_id = {FIRST}",
    (
        "UPDATE lots SET entries = 6, head = (SELECT hash FROM entries WHERE "
        f"lot_id = {FIRST} AND sequence = 6) WHERE id = {FIRST}"
    ),
]


def test_end_cut_off_with_its_head_shows_against_a_kept_head(
    kind: str, filled: Filled, harm: Harm
) -> None:
    """The one thing a chain cannot show by itself, a head kept elsewhere does."""
    url = filled(kind)
    with open_base(url) as base:
        kept = base.head("chokes").hash
        assert base.verify(expected_head=kept).finding is None
    assert tampered(url, harm, CUT_OFF) is None
    finding = tampered(url, harm, CUT_OFF, expected_head=kept)
    assert finding is not None
    assert "expected head" in finding.text


def test_seal_finds_the_end_cut_off(own_filled: str, harm: Harm) -> None:
    """A seal covers every lot's head; an entry under it cannot be cut off."""
    with open_base(own_filled) as base:
        seal = base.seal(at="2026-03-05T00:00:00Z")
        assert base.verify(expected_head=seal).finding is None
    finding = tampered(own_filled, harm, CUT_OFF)
    assert finding is not None
    assert (finding.lot, finding.sequence) == ("chokes", 7)


def test_kept_head_is_good_after_later_entries(
    base: RecordBase, invented: ModuleType
) -> None:
    """A head from yesterday still verifies today's longer base."""
    base.store(invented.invented_part(1))
    kept = base.head("chokes").hash
    base.store(invented.invented_part(2))
    assert base.verify(expected_head=kept).finding is None


def test_text_that_cannot_be_read_is_named(
    filled: Filled, kind: str, harm: Harm
) -> None:
    """Bytes where text belongs do not stop the walk short of naming them."""
    if kind != "sqlite":
        pytest.skip("PostgreSQL's columns hold their type alone")
    finding = tampered(
        filled(kind), harm, [f"UPDATE parts SET label = x'ff00ff' {AT_2}"]
    )
    assert finding is not None
    assert (finding.lot, finding.sequence) == ("chokes", 2)


NO_UTF8 = bytes([0xC3, 0x28])  # a first byte of two, and no second (RFC 3629, 3)


@pytest.mark.parametrize(
    ("table", "column"), [("documents", "text"), ("parts", "label"), ("sweeps", "name")]
)
def test_text_that_is_no_utf8_any_more_is_named(
    table: str, column: str, kind: str, filled: Filled, harm: Harm
) -> None:
    """A flipped bit in a stored text is its entry's, and no reason to end otherwise."""
    if kind != "sqlite":
        pytest.skip("PostgreSQL's text is checked by the server")
    bytes_ = f"CAST({column} AS BLOB) || x'{NO_UTF8.hex()}'"
    changed = f"UPDATE {table} SET {column} = CAST({bytes_} AS TEXT) {AT_2}"
    finding = tampered(filled(kind), harm, [changed])
    assert finding is not None
    assert (finding.lot, finding.sequence) == ("chokes", 2)
    assert "no UTF-8" in finding.text
    assert len(finding.text) < 200  # the document is not repeated


def test_damaged_page_is_found(filled: Filled, tmp_path: Path) -> None:
    """Bytes overwritten in the file are found, whatever they belonged to."""
    path = tmp_path / "damaged.sqlite3"
    shutil.copy(filled("sqlite"), path)
    with sqlite3.connect(path) as connection:
        statement = "SELECT rootpage FROM sqlite_master WHERE name = 'sweeps'"
        (page,) = connection.execute(statement).fetchone()
    connection.close()
    with path.open("r+b") as file:
        file.seek((page - 1) * PAGE)
        file.write(b"\xa5" * 64)
    with open_base(path) as base:
        finding = base.verify().finding
    assert finding is not None
    assert "damaged" in finding.text
