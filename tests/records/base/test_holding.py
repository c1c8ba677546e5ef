"""A lot is one program's, or its stations', and goes with them however they end."""

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import count
from types import ModuleType

import pytest

from halfpower.analysis.lots import Verdict
from halfpower.records import RecordBase, open_base
from halfpower.records.base import LotState
from halfpower.records.errors import BaseBusyError

HOLDER = """
import sys
from itertools import count
from halfpower.records.base.record_base import open_base
where, station = sys.argv[1:]
with (
    open_base(where) as base,
    base.hold_lot("chokes", station=station, who=f"the holder, {station}") as take,
):
    print(take(count(1)), flush=True)
    sys.stdin.readline()
"""


@contextmanager
def another_program(url: str, station: str) -> Iterator["subprocess.Popen[str]"]:
    """Give a process that holds the lot, and the first position, until it is ended."""
    with subprocess.Popen(  # noqa: S603  ours
        [sys.executable, "-c", HOLDER, url, station],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "1\n"
        yield process
        process.kill()


@pytest.mark.parametrize("kill", [True, False])
def test_lot_is_one_programs_until_that_has_ended(
    base: RecordBase, url: str, *, kill: bool
) -> None:
    """The sentence says whose; killed with SIGKILL or ended, it leaves no lock."""
    with another_program(url, "north") as process:
        with (
            pytest.raises(BaseBusyError, match="run by the holder, north; wait for it"),
            base.hold_lot("chokes", station="north", who="me"),
        ):
            pass
        if kill:
            process.kill()
        else:
            process.communicate("\n")
        process.wait()
        with base.hold_lot("chokes", station="north", who="me") as take:
            assert take(count(1)) == 1


def test_other_lots_are_free(base: RecordBase, url: str) -> None:
    """Only the lot is held: not the base, and no lot of another name."""
    with (
        another_program(url, "north"),
        base.hold_lot("second", station="north", who="me") as take,
    ):
        base.set_state("chokes", LotState.STOPPED, at="2026-01-01T00:00:00Z")
        assert take([7]) == 7


def test_several_stations_take_parts_that_none_has_in_hand(
    make_url: Callable[[str], str],
) -> None:
    """On PostgreSQL: position 1 is the other's until it is killed, then free again."""
    url = make_url("postgresql")
    with (
        another_program(url, "north") as process,
        open_base(url) as base,
        base.hold_lot("chokes", station="south", who="me") as take,
    ):
        assert take(count(1)) == 2
        assert take([1, 2, 3]) == 2  # one's own is let go first
        with base.hold_lot("chokes", station="east", who="she") as third:
            assert third([1, 2, 3]) == 3
        process.kill()
        process.wait()
        # The server has seen it when another gets the same station.
        with base.hold_lot("chokes", station="north", who="next"):
            assert take(count(1)) == 1


def test_on_sqlite_a_lot_is_one_programs_whatever_the_station(
    make_url: Callable[[str], str],
) -> None:
    """And the sentence says what several benches need."""
    url = make_url("sqlite")
    with (
        another_program(url, "north"),
        open_base(url) as base,
        pytest.raises(BaseBusyError, match="need a base on PostgreSQL"),
        base.hold_lot("chokes", station="south", who="me"),
    ):
        pass


def test_hold_is_had_again_after_the_connection_was_lost(
    make_url: Callable[[str], str], administer: Callable[[str], object]
) -> None:
    """The server ended the session between two parts: the next is taken as before."""
    url = make_url("postgresql")
    with open_base(url) as base:
        with base.hold_lot("chokes", station="south", who="me") as take:
            assert take(count(1)) == 1
            administer(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE application_name LIKE 'halfpower%'"
            )
            assert take(count(2)) == 2
            with (
                pytest.raises(BaseBusyError, match="being run by me"),
                base.hold_lot("chokes", station="south", who="you"),
            ):
                pass
        with base.hold_lot("chokes", station="south", who="you") as take:
            assert take(count(1)) == 1


def test_new_part_stands_where_it_was_taken_for(
    base: RecordBase, invented: ModuleType
) -> None:
    """Out of order, with a gap; the count is that of the parts."""
    for position in (3, 1):
        part = replace(invented.invented_part(position), position=position)
        assert base.store(part).position == position
    assert base.lot("chokes").positions == 2
    assert base.store(invented.invented_part(9)).position == 4
    assert base.verify().finding is None


def test_no_label_stands_twice_where_positions_are_taken(
    base: RecordBase, invented: ModuleType
) -> None:
    """The same label is the same part again; another at a full place moves on.

    That happens to a bench alone whose lock was lost with its connection.
    """
    first = replace(invented.invented_part(1), position=1)
    same = replace(invented.invented_part(1), position=2)
    other = replace(invented.invented_part(2), position=1)
    found = [base.store(one) for one in (first, same, other)]
    assert [(one.position, one.attempt) for one in found] == [(1, 1), (1, 2), (2, 1)]
    assert base.store(same).already
    undone = replace(invented.invented_part(3), verdict=Verdict.UNDONE, again=2)
    base.store(undone)
    anew = replace(invented.invented_part(4), label=undone.label, position=5)
    assert base.store(anew).position == 5  # what was undone stands nowhere
    assert base.verify().finding is None
