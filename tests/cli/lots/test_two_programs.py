"""Two programs at one lot: its size, its labels and its parts stay what they are."""

import os
import re
import runpy
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import NullPool, create_engine, text
from sqlalchemy.exc import ProgrammingError

from halfpower.records import open_base
from halfpower.records.base import LotState

SERVER = Path(__file__).parents[2] / "records" / "base" / "postgres_server.py"
SIZE = 14
NORMAL = {0, 1}  # a part may come out undecided, or be in the other's hand at the end
pytestmark = pytest.mark.timeout(300)  # several programs, one after the other
TEXT = f"""\
[lot]
name = "shared"
procedure = "coil"
size = {SIZE}
label = 'L{{number:03}}'
[measure]
from = "700kHz"
to = "2.2MHz"
target = "0.5%"
capacitor = "470pF +- 1%"
"""


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """Run a PostgreSQL server, and give the URL of a database."""
    module = runpy.run_path(str(SERVER))
    programs = module["postgres_programs"]()
    if programs is None:
        pytest.skip("no PostgreSQL server that this user can run")
    with module["running_postgres"](programs, durable=False) as url:
        yield url.format("postgres")


def run(where: str, station: str) -> "subprocess.Popen[str]":
    """Begin to run the lot."""
    program = (
        "from halfpower.cli.process import run_process;"
        "from halfpower.cli.commands.lot import app; run_process(app)"
    )
    return subprocess.Popen(  # noqa: S603  ours
        [
            *(sys.executable, "-c", program, "run", "lot.toml"),
            *("--scene", "choke-lot", "--records", where, "--station", station),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"OMP_NUM_THREADS": "1", "COLUMNS": "300"},
    )


def run_all(where: str, stations: tuple[str, ...]) -> list[tuple[int, str]]:
    """Run it at every station at once; give each one's status and what it said."""
    Path("lot.toml").write_text(TEXT, encoding="utf-8")
    programs = [run(where, one) for one in stations]
    said = [one.communicate()[1] for one in programs]
    return [(one.returncode, text) for one, text in zip(programs, said, strict=True)]


def check_whole(where: str) -> set[str]:
    """See that the lot is whole, each label once; give the stations that measured."""
    with open_base(where) as base:
        (lot,) = base.lots()
        parts = list(base.parts(lot.name, all_attempts=True))
        assert base.verify().finding is None
    assert [one.attempt for one in parts] == [1] * SIZE
    expected = {(n, f"L{n:03}") for n in range(1, SIZE + 1)}
    assert {(one.position, one.label) for one in parts} == expected
    assert (lot.state, lot.positions) == (LotState.FINISHED, SIZE)
    return {one.station for one in parts}


@pytest.mark.parametrize("on", ["sqlite", "postgresql"])
def test_the_same_command_twice_is_refused_with_who_has_it(
    on: str, request: pytest.FixtureRequest
) -> None:
    """While another has the lot: status 2, one sentence; it measures nothing."""
    where = request.getfixturevalue("server") if on == "postgresql" else "base"
    name = "shared (simulated: choke-lot, seed 0)"
    with open_base(where) as base:
        with base.hold_lot(name, station="here", who="process 12345, station here"):
            ((status, said),) = run_all(where, ("here",))
        assert base.lots() == ()
    assert status == 2
    words = " ".join(said.split())
    assert words.startswith(f"halfpower: lot '{name}' in ")
    assert "is being run by process 12345, station here; wait for it or end it" in words
    # At once, the second waits for the first as long as that is no nuisance.
    ended = run_all(where, ("here", "here"))
    assert {status for status, _ in ended} <= {*NORMAL, 2}
    assert check_whole(where) == {"here"}


def ordered(url: str, *statements: str) -> None:
    """Have a server do something."""
    engine = create_engine(url, isolation_level="AUTOCOMMIT", poolclass=NullPool)
    with engine.connect() as connection:  # closed with the block, by an error too
        for one in statements:
            connection.execute(text(one))


def test_two_stations_share_a_lot_on_a_server(server: str) -> None:
    """No part twice and none left; what another has in hand at one's end is no pass.

    A station that begins late may find little or nothing left to do.
    """
    ordered(server, "CREATE DATABASE stations")
    where = server.replace("/postgres?", "/stations?")
    ended = run_all(where, ("north", "south"))
    assert {status for status, _ in ended} <= NORMAL
    assert all(status == 1 for status, said in ended if "of its parts in hand" in said)
    assert check_whole(where) <= {"north", "south"}


def test_a_role_with_the_documented_rights_runs_a_lot(server: str) -> None:
    """The page's own GRANTs, to the letter; it cannot remove what it stored.

    Without one of them the lot is refused, before a part is measured.
    """
    page = (Path(__file__).parents[3] / "docs" / "records.md").read_text("utf-8")
    (rights,) = re.findall(r"```sql\n(.*?)```", page, flags=re.DOTALL)
    grants = [one.strip() for one in rights.split(";") if one.strip()]
    ordered(server, "CREATE DATABASE records", "CREATE ROLE bench LOGIN")
    owner = server.replace("/postgres?", "/records?")
    bench = owner.replace("halfpower@", "bench@")
    with open_base(owner):
        pass
    ordered(owner, *grants[:-1])
    ((status, said),) = run_all(bench, ("north",))
    assert status == 2
    assert "this user may not write there" in " ".join(said.split())
    ordered(owner, grants[-1])
    ((status, _),) = run_all(bench, ("north",))
    assert status in NORMAL
    assert check_whole(bench) == {"north"}
    with pytest.raises(ProgrammingError, match="permission denied"):
        ordered(bench, "DELETE FROM parts")
    with pytest.raises(ProgrammingError, match="permission denied"):
        ordered(bench, "UPDATE parts SET verdict = 'accepted'")
