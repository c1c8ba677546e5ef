"""The schema is what the migrations make, and no newer or foreign base is touched."""

import sqlite3
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, text

from halfpower.records import open_base
from halfpower.records.base.engine import migrations_folder
from halfpower.records.base.schema import METADATA, REVISION, VERSION_TABLE
from halfpower.records.errors import BaseVersionError


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


def test_database_of_something_else_is_refused_untouched(tmp_path: Path) -> None:
    """A database with tables of its own gets none of ours."""
    path = tmp_path / "else.sqlite3"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE something (id INTEGER)")
    connection.close()
    with pytest.raises(BaseVersionError, match="database of something else"):
        open_base(path)
    with sqlite3.connect(path) as connection:
        names = connection.execute("SELECT name FROM sqlite_master").fetchall()
    connection.close()
    assert names == [("something",)]
