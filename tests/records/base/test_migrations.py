"""The schema is what the migrations make, and no newer or foreign base is touched."""

import sqlite3
from collections.abc import Callable
from pathlib import Path
from uuid import UUID

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, text

from halfpower.records import open_base
from halfpower.records.base.engine import migrations_folder
from halfpower.records.base.schema import METADATA, REVISION, VERSION_TABLE
from halfpower.records.errors import BaseError, BaseVersionError


def test_migrated_schema_is_the_models(fresh_url: str) -> None:
    """Alembic finds no difference between what was made and what is asked."""
    with (
        open_base(fresh_url) as base,
        base._database.reading() as connection,  # noqa: SLF001  looks beneath
    ):
        options = {"version_table": VERSION_TABLE, "compare_type": True}
        context = MigrationContext.configure(connection, opts=options)
        assert compare_metadata(context, METADATA) == []


def test_revision_is_the_migrations_head() -> None:
    """The revision that opening goes by is the last of the migrations."""
    assert ScriptDirectory(migrations_folder()).get_heads() == [REVISION]


def test_newer_base_is_refused_untouched(fresh_url: str, kind: str) -> None:
    """A base of a later release is named as one, in a sentence."""
    with open_base(fresh_url):
        pass
    engine = create_engine(f"sqlite:///{fresh_url}" if kind == "sqlite" else fresh_url)
    with engine.begin() as connection:
        connection.execute(text(f"UPDATE {VERSION_TABLE} SET version_num = '9999'"))  # noqa: S608  a constant
    engine.dispose()
    with pytest.raises(BaseVersionError, match=r"newer release.* 9999") as caught:
        open_base(fresh_url)
    assert "\n" not in str(caught.value)


def foreign(path: Path) -> None:
    """Write another program's database."""
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE something (id INTEGER)")
    connection.close()


NO_BASES: dict[str, tuple[Callable[[Path], object], str]] = {
    "foreign": (foreign, "database of something else"),
    "empty": (Path.touch, "is empty: there is no record base in it"),
    "text": (lambda path: path.write_text("notes\n" * 99), "is not a record base"),
    "short": (lambda path: path.write_text("x"), "is not a record base"),
}


@pytest.mark.parametrize("name", NO_BASES)
@pytest.mark.parametrize("make", [False, True])
def test_file_of_something_else_is_refused_untouched(
    name: str, tmp_path: Path, *, make: bool
) -> None:
    """Not a byte is changed, by looking or by a lot; an empty file a lot may take."""
    write, words = NO_BASES[name]
    path = tmp_path / "else.sqlite3"
    write(path)
    before = path.read_bytes()
    if make and name == "empty":
        with open_base(path) as base:
            assert base.lots() == ()
        return
    with pytest.raises(BaseError, match=words) as caught:
        open_base(path, make=make)
    assert caught.value.exit_status == 2
    assert path.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


def test_looking_makes_no_folder(tmp_path: Path) -> None:
    """Nor a file where there is none."""
    with pytest.raises(BaseError, match="there is no record base"):
        open_base(tmp_path / "no" / "base", make=False)
    assert list(tmp_path.iterdir()) == []


def test_server_database_without_a_base_is_refused_untouched(
    make_url: Callable[[str], str],
) -> None:
    """An empty one is made a base by a lot alone; one of something else by nobody."""
    url = make_url("postgresql")
    with pytest.raises(BaseVersionError, match="is empty: there is no record base"):
        open_base(url, make=False)
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE something (id INTEGER)"))
    for make in (False, True):
        with pytest.raises(BaseVersionError, match="database of something else"):
            open_base(url, make=make)
    assert inspect(engine).get_table_names() == ["something"]
    engine.dispose()


def test_base_of_the_first_tables_gets_an_identity(tmp_path: Path) -> None:
    """It is brought up to date as it is opened, and stays who it is from then on."""
    path = tmp_path / "old.sqlite3"
    with open_base(path) as base:
        first = base.side_file.base
    with sqlite3.connect(path) as connection:
        connection.execute("ALTER TABLE base_head DROP COLUMN identity")
        connection.execute(f"UPDATE {VERSION_TABLE} SET version_num = '0001'")  # noqa: S608  a constant
    connection.close()
    found = []
    for _ in range(2):
        with open_base(path, make=False) as base:
            found.append(base.side_file.base)
    assert found[0] == found[1]
    assert len({first, *found}) == 2
    assert UUID(found[0])
