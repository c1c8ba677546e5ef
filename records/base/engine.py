"""Open a base's database: SQLite by a path, PostgreSQL by a URL; migrate it.

SQLite runs with a write-ahead log, a flush to disk at every commit, foreign keys, and
``BEGIN IMMEDIATE`` for whatever writes. PostgreSQL commits synchronously; readers see
one snapshot (repeatable read).
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, select, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError

from ..errors import BaseError, BaseVersionError
from .address import masked, server_url
from .failures import is_lost, speaking
from .schema import REVISION, VERSION_TABLE, base_head

__all__ = ["Database", "database_at", "default_path", "migrations_folder"]

_WRITES = "halfpower_writes"
_JOURNAL_TRIES = 20
_HEADER = b"SQLite format 3\0"  # sqlite.org/fileformat2.html, 1.3.1
_MIGRATION_LOCK = 0x68616C66  # any number that benches agree on
_MAKE_ONE = "`halfpower lot run` makes one, and --records says where another is"


@dataclass(frozen=True, slots=True, kw_only=True)
class Database:
    """An engine and what to call it; `path` is None for a server.

    `identity` is the base's own, wherever it lies.
    """

    engine: Engine
    where: str
    path: Path | None
    identity: str = ""

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give one transaction that writes; it holds when this ends without an error.

        On SQLite it has the base to itself from the start.
        """
        with self.engine.connect() as connection:
            writes = connection.execution_options(**{_WRITES: True})
            with writes.begin():
                yield writes

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give one transaction that sees one moment of the base."""
        with self._answering() as connection:
            if self.path is None:
                connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection

    def _answering(self) -> Connection:
        """Give a connection that has not been lost since it was last used."""
        connection = self.engine.connect()
        if self.path is None:
            try:
                connection.exec_driver_sql("SELECT 1")
                connection.rollback()
            except DBAPIError as error:
                connection.close()
                if not is_lost(error):
                    raise
                return self.engine.connect()
        return connection


def default_path() -> Path:
    """Give the user's own base, in the folder this system keeps user data in."""
    from platformdirs import user_data_path

    return user_data_path("halfpower", appauthor=False) / "records.sqlite3"


def migrations_folder() -> Path:
    """Give the folder of the schema's migrations."""
    return Path(__file__).with_name("migrations")


def database_at(where: str | Path | None, *, timeout_s: float, make: bool) -> Database:
    """Open the database and bring its schema up to this release's.

    Parameters
    ----------
    where
        A path, or a URL (``postgresql+psycopg://user@host/base``); None for
        `default_path`.
    timeout_s
        How long to wait for a lock or a server.
    make
        Make a base where nothing is; else that is an error, and nothing is touched.

    Raises
    ------
    BaseVersionError
        Made by a newer release, a database of something else, or no base at all.
    BaseLinkError
        The server cannot be reached, or does not let this user in.
    BaseError
        It cannot be opened, and why.
    """
    target = default_path() if where is None else where
    said = masked(target)
    url = server_url(target)
    with speaking(said, doing="open"):
        if url is not None and url.get_backend_name() != "sqlite":
            database = _on_server(url, said, timeout_s=timeout_s)
        else:
            path = Path(target if url is None else url.database or "")
            database = _on_disk(path, timeout_s=timeout_s, make=make)
        try:
            _migrate(database, make=make)
            with database.reading() as connection:
                held = connection.execute(select(base_head.c.identity)).scalars().all()
        except BaseException:
            database.engine.dispose()
            raise
    return replace(database, identity=held[0] if held else "")


def _on_server(url: URL, said: str, *, timeout_s: float) -> Database:
    milliseconds = int(1000 * timeout_s)
    engine = create_engine(
        url,
        connect_args={
            "connect_timeout": max(2, int(timeout_s)),
            "client_encoding": "utf8",
            "tcp_user_timeout": milliseconds,
        },
    )

    def prepare(connection: Any, _: Any) -> None:
        connection.autocommit = True
        connection.execute(f"SET lock_timeout = {milliseconds}")
        connection.execute("SET synchronous_commit = on")
        connection.autocommit = False
        connection.server_cursor_factory = _binary_cursor()

    event.listen(engine, "connect", prepare)
    return Database(engine=engine, where=said, path=None)


def _binary_cursor() -> type[Any]:
    """Give the cursor for streams: readings come as bytes, not as digits."""
    from psycopg import ServerCursor
    from psycopg.pq import Format

    class BinaryCursor(ServerCursor[Any]):
        def __init__(self, *given: Any, **named: Any) -> None:
            super().__init__(*given, **named)
            self.format = Format.BINARY

    return BinaryCursor


def _on_disk(path: Path, *, timeout_s: float, make: bool) -> Database:
    path = path.absolute()
    if make:
        path.parent.mkdir(parents=True, exist_ok=True)
    elif not path.is_file():
        raise BaseError(f"there is no record base {path}; {_MAKE_ONE}", path=path)
    _check_header(path)
    engine = create_engine(
        URL.create("sqlite", database=str(path)), connect_args={"timeout": timeout_s}
    )

    def prepare(connection: Any, _: Any) -> None:
        assert isinstance(connection, sqlite3.Connection)  # noqa: S101  SQLite's engine
        connection.isolation_level = None  # transactions are begun below
        tables = connection.execute("SELECT name FROM sqlite_master WHERE type='table'")
        # Before the journal is changed: what is another program's stays as it is.
        _check_tables({name for (name,) in tables}, where=str(path), make=make)
        _write_ahead(connection)
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("PRAGMA foreign_keys=ON")

    def begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES, False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    event.listen(engine, "connect", prepare)
    event.listen(engine, "begin", begin)
    return Database(engine=engine, where=str(path), path=path)


def _check_header(path: Path) -> None:
    """Refuse a short text, which SQLite would take for an empty database."""
    if path.is_file():
        with path.open("rb") as file:
            start = file.read(len(_HEADER))
        if start not in {b"", _HEADER}:
            raise BaseVersionError(
                f"{path} is not a record base; name a base, or a file that does not "
                "exist yet",
                path=path,
            )


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Turn the write-ahead log on, though others may do so at this moment.

    Two who change a new file's journal at once do not wait: one is refused at once.
    """
    for _ in range(_JOURNAL_TRIES):
        try:
            connection.execute("PRAGMA journal_mode=WAL")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                raise
            connection.execute("BEGIN EXCLUSIVE")  # this does wait, for the timeout
            connection.execute("COMMIT")
        else:
            return
    connection.execute("PRAGMA journal_mode=WAL")


def _migrate(database: Database, *, make: bool) -> None:
    with database.reading() as connection:
        if database.path is None:
            tables = set(inspect(connection).get_table_names())
            _check_tables(tables, where=database.where, make=make)
        found = _revision(connection)
    if found == REVISION:
        return
    with database.writing() as connection:
        if database.path is None:  # one bench alone makes the tables
            connection.execute(text(f"SELECT pg_advisory_xact_lock({_MIGRATION_LOCK})"))
        found = _revision(connection)
        if found == REVISION:
            return
        _check_fit(connection, found=found, where=database.where)
        _upgrade(connection)


def _check_tables(tables: set[str], *, where: str, make: bool) -> None:
    """Refuse what is no base; nothing at all may become one where that is asked."""
    if VERSION_TABLE in tables or (make and not tables):
        return
    if tables:
        raise BaseVersionError(
            f"{where} is a database of something else; name a base of halfpower, or "
            "one that does not exist yet",
            where=where,
        )
    raise BaseVersionError(
        f"{where} is empty: there is no record base in it; {_MAKE_ONE}", where=where
    )


def _revision(connection: Connection) -> str | None:
    """Give the base's revision; None where it has none, as a new file has not."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    statement = text(f"SELECT version_num FROM {VERSION_TABLE}")  # noqa: S608  a constant
    return connection.execute(statement).scalar_one_or_none()


def _check_fit(connection: Connection, *, found: str | None, where: str) -> None:
    if found is None:
        tables = set(inspect(connection).get_table_names())
        _check_tables(tables - {VERSION_TABLE}, where=where, make=True)
        if connection.dialect.name == "postgresql":
            _check_encoding(connection, where=where)
        return
    from alembic.script import ScriptDirectory

    known = {
        one.revision for one in ScriptDirectory(migrations_folder()).walk_revisions()
    }
    if found not in known:
        raise BaseVersionError(
            f"{where} was made by a newer release of halfpower (its tables are "
            f"{found}, these go up to {REVISION}); install that release or name "
            "another base",
            where=where,
            found=found,
        )


def _check_encoding(connection: Connection, *, where: str) -> None:
    encoding = connection.execute(text("SHOW server_encoding")).scalar_one()
    if encoding != "UTF8":
        raise BaseVersionError(
            f"{where} keeps text as {encoding}, which loses labels; make the database "
            "with ENCODING 'UTF8'",
            where=where,
        )


def _upgrade(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    folder = str(migrations_folder()).replace("%", "%%")
    config.set_main_option("script_location", folder)
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
