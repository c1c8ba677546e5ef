"""Whatever fails is said in a sentence, and what could not be stored is kept aside."""

import dataclasses
import os
import pwd
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from sqlalchemy import event

from halfpower.analysis import HalfpowerError
from halfpower.records import RecordBase, open_base
from halfpower.records.base import LotEntry, LotState, PartEntry
from halfpower.records.base.address import masked
from halfpower.records.base.connecting import why_not_connected
from halfpower.records.base.side_file import SideFile
from halfpower.records.errors import (
    BaseBusyError,
    BaseError,
    BaseLinkError,
    BaseVersionError,
    EntryError,
    RecordError,
)

NO_SERVER = "postgresql+psycopg://halfpower@/none?host=/nonexistent"


@pytest.fixture
def on_disk(tmp_path: Path, invented: ModuleType) -> Iterator[RecordBase]:
    """Give an open base in a file, with a lot, that waits half a second for a lock."""
    with open_base(tmp_path / "b.sqlite3", timeout_s=0.5) as base:
        base.open_lot(invented.invented_lot())
        yield base


@pytest.fixture
def locked_folder() -> Iterator[Path]:
    """Give a folder that cannot be written; root becomes nobody meanwhile."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o555)
    root = os.geteuid() == 0
    if root:
        os.seteuid(pwd.getpwnam("nobody").pw_uid)
    yield folder
    if root:
        os.seteuid(0)
    folder.chmod(0o700)
    shutil.rmtree(folder)


def store_many(base: RecordBase, parts: Iterable[PartEntry]) -> None:
    """Store parts one after the other."""
    for part in parts:
        base.store(part)


def test_full_disk_is_said_and_the_part_kept_aside(
    on_disk: RecordBase, invented: ModuleType, tmp_path: Path
) -> None:
    """A part for which there is no room is in the side file, and adopted once."""

    def no_more_pages(connection: Any, *_: Any) -> None:
        connection.execute("PRAGMA max_page_count = 1")  # as many as it has

    engine = on_disk._database.engine  # noqa: SLF001  fills its disk
    engine.dispose()
    event.listen(engine, "connect", no_more_pages)
    with pytest.raises(BaseError, match="its disk is full; free some space") as caught:
        store_many(on_disk, (invented.invented_part(1) for _ in range(50)))
    side = caught.value.values["side_file"]
    assert side == tmp_path / "b.sqlite3.side.jsonl"
    engine.dispose()
    event.remove(engine, "connect", no_more_pages)
    before = on_disk.lot("chokes").entries
    assert on_disk.adopt(side).stored == 1
    again = on_disk.adopt(side)
    assert (again.stored, again.already, again.refused) == (0, 1, ())
    assert on_disk.lot("chokes").entries == before + 1
    assert on_disk.verify().finding is None


def test_full_disk_cuts_no_line_of_a_side_file(
    tmp_path: Path,
    invented: ModuleType,
    room_for: Callable[[int], AbstractContextManager[None]],
) -> None:
    """What does not fit is not there; what comes later is whole."""
    side = SideFile(tmp_path / "side.jsonl", base="", where="")
    side.append(invented.invented_part(1))
    before = side.path.read_bytes()
    room = room_for(len(before) + 100)
    with room, pytest.raises(RecordError, match="cannot keep an entry"):
        side.append(invented.invented_part(2))
    assert side.path.read_bytes() == before
    side.append(invented.invented_part(3))
    assert [one.problem for one in side.lines()] == ["", ""]


def test_locked_base_is_said_and_the_part_kept_aside(
    on_disk: RecordBase, invented: ModuleType, tmp_path: Path
) -> None:
    """Beyond the timeout the lock is named, and who to wait for."""
    other = sqlite3.connect(tmp_path / "b.sqlite3")
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(BaseBusyError, match="keeps it locked; wait for that program"):
        on_disk.store(invented.invented_part(1))
    with pytest.raises(BaseBusyError, match="keeps it locked"):
        on_disk.set_state("chokes", LotState.STOPPED, at=invented.AT)
    other.close()
    assert on_disk.adopt(on_disk.side_file.path).stored == 1


def test_folder_without_rights_is_said(locked_folder: Path) -> None:
    """A folder that cannot be written is named, with what to do."""
    with pytest.raises(BaseError, match="give this user the right to write") as caught:
        open_base(locked_folder / "b.sqlite3")
    assert str(locked_folder) in str(caught.value)


def test_side_file_without_rights_is_said_too(
    locked_folder: Path, invented: ModuleType
) -> None:
    """Where even the side file fails, the sentence says to write the result down."""
    side = SideFile(locked_folder / "side.jsonl", base="", where="")
    with pytest.raises(RecordError, match="write the result down"):
        side.append(invented.invented_part(1))


def test_file_that_is_no_database_is_said(tmp_path: Path) -> None:
    """A file of something else is left as it is."""
    path = tmp_path / "notes.txt"
    path.write_text("not a database, and longer than its header would be" * 40)
    with pytest.raises(BaseError, match="is not a record base; name a base"):
        open_base(path)
    assert path.read_text().startswith("not a database")


def test_server_that_is_down_is_said() -> None:
    """A server that does not answer is named without the password."""
    url = NO_SERVER.replace("halfpower@", "halfpower:secret@")
    with pytest.raises(BaseLinkError, match="the server does not answer") as caught:
        open_base(url, timeout_s=2.0)
    assert "secret" not in str(caught.value)
    assert "halfpower" in str(caught.value)


@pytest.fixture(scope="module")
def guarded_url(server_url: str, administer: Callable[[str], Any]) -> str:
    """Have the server ask anna for her password, and refuse bert; give its URL."""
    administer("CREATE ROLE anna LOGIN PASSWORD 'geheim'")
    administer("CREATE ROLE bert LOGIN")
    administer("CREATE DATABASE closed")
    administer("REVOKE CONNECT ON DATABASE closed FROM PUBLIC")
    rules = Path(administer("SHOW hba_file").scalar_one())
    new = "local all anna scram-sha-256\nlocal all bert reject\n"
    rules.write_text(new + rules.read_text())
    administer("SELECT pg_reload_conf()")
    return server_url


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (("halfpower@/{}", "anna:wrong@/postgres"), "accept this user's password"),
        (("halfpower@/{}", "anna@/postgres"), "asks for a password; give it in PGPASS"),
        (("halfpower@/{}", "anna:geheim@/closed"), "have its owner grant CONNECT"),
        (("{}", "none"), "has no such database; make it there"),
        (("halfpower@/{}", "nobody9@/postgres"), "does not let this user in"),
        (("halfpower@/{}", "bert@/postgres"), "does not let this user in"),
        (("@/{}?host=/tmp", "@/a?host=/nonexistent"), "does not answer; start it"),
    ],
)
def test_what_a_connection_failed_of_is_told_apart(
    guarded_url: str, changes: tuple[str, str], words: str
) -> None:
    """As the server itself refuses it: password, rights, database, user, no server."""
    url = guarded_url.replace(*changes)
    assert url != guarded_url
    with pytest.raises(BaseLinkError, match=words) as caught:
        open_base(url, timeout_s=2.0)
    assert caught.value.exit_status == 3
    assert "wrong" not in str(caught.value)
    assert "geheim" not in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("postgresql://a@nosuch.invalid/b", "its host is not known"),  # RFC 6761, 6.4
        ("postgresql://a@127.0.0.1:1/b", "the server does not answer"),  # tcpmux: none
    ],
)
def test_unreached_hosts_are_told_apart(url: str, words: str) -> None:
    """A name nobody has, and a port nobody listens on."""
    with pytest.raises(BaseLinkError, match=words):
        open_base(url, timeout_s=2.0)


# libpq's own sentences (its source, fe-secure-openssl.c and fe-connect.c), from memory.
@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("SSL error: certificate verify failed", "certificate"),
        ('server certificate for "a" does not match host name "b"', "certificate"),
        ("server does not support SSL, but SSL was required", "certificate"),
        ("FATAL:  sorry, too many clients already", "no connection left"),
        ("FATAL:  the database system is starting up", "starting or going down"),
        ("FATAL:  etwas ganz anderes", "not reached .etwas ganz anderes"),
    ],
)
def test_what_libpq_says_is_understood(said: str, words: str) -> None:
    """What cannot be had from a server of one's own, by its text."""
    prefix = 'connection failed: connection to server at "h", port 5432 failed: '
    _, why, _ = why_not_connected(prefix + said)
    assert re.search(words, why)


@pytest.mark.parametrize(
    "url",
    [
        "postgresql+psycopg://anna:geheim@h/b",
        "postgresql+psycopg://anna@h/b?password=geheim",
        "postgresql+psycopg://anna@h/b?pass%77ord=geheim&sslmode=require",
        "postgresql+psycopg://anna@h/b?sslpassword=geheim",
        "postgresql+psycopg://anna@h/b?options=-c%20password%3Dgeheim",
        "postgresql+psycopg://anna@h/b?options=-c%20password%3D%27geheim%27",
        "postgresql+psycopg://h/b?dbname=postgresql%3A%2F%2Fanna%3Ageheim%40h%2Fb",
    ],
)
def test_password_in_a_url_is_hidden_however_it_is_written(url: str) -> None:
    """The rest is there: who, where."""
    said = masked(url)
    assert "geheim" not in said
    assert "***" in said
    assert said.startswith("postgresql+psycopg://")
    assert masked("postgresql://a:ge%68eim@h/b") == "postgresql+psycopg://a:***@h/b"


@pytest.mark.parametrize(
    "where",
    [
        "postgresql://anna:ge@heim@h/b",
        "postgresql://anna:geheim:5432/b@h:geheim",
        "host=h user=anna password=geheim",
        "postgresql:anna:geheim@h/b",
        "oracle://anna:geheim@h/b",
    ],
)
def test_what_is_no_url_is_refused_without_being_repeated(where: str) -> None:
    """It may hold a password where no rule would look for it."""
    with pytest.raises(BaseError, match=r"write|keeps no") as caught:
        open_base(where)
    assert "heim" not in str(caught.value)


@pytest.mark.parametrize(
    "url", ["nothing://here", "postgresql+psycopg://user@host:port/base"]
)
def test_url_that_is_none_is_said(url: str) -> None:
    """A URL that cannot be read comes back with one that can."""
    with pytest.raises(BaseError, match="postgresql"):
        open_base(url)


def test_lost_connection_is_mended_in_silence(
    make_url: Callable[..., str],
    administer: Callable[[str], Any],
    invented: ModuleType,
) -> None:
    """A connection that broke between two parts loses and doubles none."""
    with open_base(make_url("postgresql")) as base:
        base.open_lot(invented.invented_lot())
        for number in (1, 2):
            base.store(invented.invented_part(number))
            break_connections(administer)
        assert base.lot("chokes").entries == 2


def test_connection_lost_in_the_middle_stores_once(
    make_url: Callable[..., str],
    administer: Callable[[str], Any],
    invented: ModuleType,
) -> None:
    """A server that goes away within a transaction is asked once more."""
    with open_base(make_url("postgresql")) as base:
        base.open_lot(invented.invented_lot())
        breaks = [True]

        def break_once(connection: Any, cursor: Any, statement: str, *_: Any) -> None:
            del connection, cursor
            if "INSERT INTO sweeps" in statement and breaks:
                breaks.clear()
                break_connections(administer)

        event.listen(
            base._database.engine,  # noqa: SLF001  breaks it
            "before_cursor_execute",
            break_once,
        )
        assert base.store(invented.invented_part(1)).position == 1
        assert not breaks
        assert base.lot("chokes").entries == 1
        assert base.verify().finding is None


def test_server_lost_for_good_keeps_the_part_aside(
    make_url: Callable[..., str],
    administer: Callable[[str], Any],
    invented: ModuleType,
    tmp_path: Path,
) -> None:
    """Where a second try fails too, the part is in the side file."""
    with open_base(make_url("postgresql"), side_folder=tmp_path) as base:
        base.open_lot(invented.invented_lot())

        def break_always(*_: Any) -> None:
            break_connections(administer)

        engine = base._database.engine  # noqa: SLF001  breaks it
        event.listen(engine, "before_cursor_execute", break_always)
        with pytest.raises(BaseLinkError, match="to be adopted later"):
            base.store(invented.invented_part(1))
        event.remove(engine, "before_cursor_execute", break_always)
        assert base.adopt(base.side_file.path).stored == 1
        assert base.lot("chokes").entries == 1


def break_connections(administer: Callable[[str], Any]) -> None:
    """End every connection but the one that does it."""
    administer(
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
        "WHERE pid <> pg_backend_pid() AND datname LIKE 'test%'"
    )


def test_every_failure_is_a_record_error() -> None:
    """One `except` clause catches whatever a base says."""
    for kind in (BaseError, BaseBusyError, BaseLinkError, BaseVersionError, EntryError):
        assert issubclass(kind, RecordError)
        assert issubclass(kind, HalfpowerError)
        assert kind.exit_status == (3 if kind is BaseLinkError else 2)


def test_side_file_brings_in_all_kinds(
    base: RecordBase, invented: ModuleType, tmp_path: Path
) -> None:
    """A lot, its parts, checks and reworks come in as they would have been stored."""
    side = dataclasses.replace(base.side_file, path=tmp_path / "while_away.jsonl")
    lot = invented.invented_lot("away \ud800\x00")
    part = invented.invented_part(1, lot=lot.name)
    check = invented.invented_check(in_control=False, lot=lot.name)
    rework = invented.invented_rework([1], [5e-6], lot=lot.name)
    for given in (lot, part, check, rework):
        side.append(given)
    assert base.adopt(side.path).stored == 4
    assert base.adopt(side.path).already == 4
    # The same content hash, or it would be refused as another entry of that UUID.
    assert [base.store(one).already for one in (part, check)] == [True, True]
    assert base.rework(rework).already
    assert base.part(lot.name, 1).newest.suspect
    assert base.part(lot.name, 1).newest.quantities[0].value == 5e-6


def test_torn_line_is_named_and_the_others_adopted(
    on_disk: RecordBase, invented: ModuleType
) -> None:
    """A line cut off by a crash is one line lost, not the file."""
    side = on_disk.side_file
    side.append(invented.invented_part(1))
    whole = side.path.read_bytes()
    side.path.write_bytes(whole + whole[: len(whole) // 2])
    side.append(invented.invented_part(2))
    side.append(invented.invented_part(3, lot="none"))
    found = on_disk.adopt(side.path)
    assert found.stored == 2
    assert [number for number, _ in found.refused] == [2, 4]
    assert "no lot 'none'" in found.refused[1][1]


def test_side_file_of_another_base_is_left_alone(
    on_disk: RecordBase, invented: ModuleType, tmp_path: Path
) -> None:
    """Lines of two bases in one file: each takes its own, and says whose the rest is.

    Every server's base keeps its side file where the user's own base has its.
    """
    with open_base(tmp_path / "other.sqlite3") as other:
        other.open_lot(invented.invented_lot())
        dataclasses.replace(other.side_file, path=on_disk.side_file.path).append(
            invented.invented_part(1)
        )
        on_disk.side_file.append(invented.invented_part(2))
        mine = on_disk.adopt(on_disk.side_file.path)
        theirs = other.adopt(on_disk.side_file.path)
        assert [one.label for one in other.parts("chokes")] == [
            invented.invented_part(1).label
        ]
    assert (mine.stored, mine.refused) == (1, ())
    assert mine.left == {str(tmp_path / "other.sqlite3"): 1}
    assert (theirs.stored, sum(theirs.left.values())) == (1, 1)
    assert on_disk.lot("chokes").entries == 1


def test_a_copy_of_a_base_is_that_base(
    on_disk: RecordBase, invented: ModuleType, tmp_path: Path
) -> None:
    """A base put back from its copy takes what was kept beside it."""
    on_disk.side_file.append(invented.invented_part(1))
    with (
        sqlite3.connect(tmp_path / "b.sqlite3") as source,
        sqlite3.connect(tmp_path / "copy.sqlite3") as target,
    ):
        source.backup(target)
    source.close()
    target.close()
    with open_base(tmp_path / "copy.sqlite3") as copy:
        assert copy.adopt(on_disk.side_file.path).stored == 1


def test_side_file_that_is_not_there_is_said(on_disk: RecordBase) -> None:
    """Adopting a file that does not exist says which."""
    with pytest.raises(RecordError, match=r"cannot read .*none\.jsonl"):
        on_disk.adopt(Path("none.jsonl"))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"uuid": "L17"}, "is no UUID"),
        ({"at": "2026-01-01T00:00:00"}, "no time in UTC"),
        ({"at": "2026-01-01T00:00:00+02:00"}, "no time in UTC"),
        ({"at": "yesterday"}, "no time in UTC"),
        ({"at": "2026-01-01\ud80000:00:00+00:00"}, "no time in UTC"),
        ({"at": "2026-01-01\x0000:00:00+00:00"}, "no time in UTC"),
        ({"label": "L" * 201}, "200 at most"),
    ],
)
def test_entry_that_cannot_be_kept_is_refused(
    invented: ModuleType, changes: dict[str, str], words: str
) -> None:
    """What an entry lacks is said when it is made, not when it is stored."""
    with pytest.raises(EntryError, match=words):
        dataclasses.replace(invented.invented_part(1), **changes)


def test_numbers_that_are_none_are_refused(invented: ModuleType) -> None:
    """Neither a quantity nor a reading is NaN or infinite, and columns are as long."""
    part = invented.invented_part(1)
    with pytest.raises(EntryError, match="no number to keep"):
        dataclasses.replace(part.quantities[0], value=float("nan"))
    with pytest.raises(EntryError, match="no number to keep"):
        dataclasses.replace(part.quantities[0], standard_uncertainty=-1.0)
    with pytest.raises(EntryError, match="named twice"):
        dataclasses.replace(part, quantities=part.quantities[:1] * 2)
    sweep = part.sweeps[0]
    with pytest.raises(EntryError, match="amplitude_v of sweep"):
        dataclasses.replace(sweep, amplitude_v=np.full(40, np.inf))
    with pytest.raises(EntryError, match="range_v of sweep"):
        dataclasses.replace(sweep, range_v=np.ones(39))
    with pytest.raises(EntryError, match="no reading that"):
        dataclasses.replace(sweep, used=np.array([40]))


def test_lot_needs_a_time_in_utc() -> None:
    """A lot's beginning is a time like every other."""
    with pytest.raises(EntryError, match="no time in UTC"):
        LotEntry(name="a", file_text="", begun="now", station="north")


def test_rework_needs_a_row_a_part(invented: ModuleType) -> None:
    """Sequences rise, and every column has a row for each."""
    rework = invented.invented_rework([1, 3], [1e-6, 3e-6])
    for changes in (
        {"sequences": np.array([3, 1])},
        {"sequences": np.array([], dtype=np.int64)},
        {"values": np.ones((1, 1))},
        {"values": np.full((2, 1), np.inf)},
        {"verdicts": []},
    ):
        with pytest.raises(EntryError):
            dataclasses.replace(rework, **changes)
