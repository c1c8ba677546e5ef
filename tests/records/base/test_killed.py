"""Writers killed at any moment, and several at once, leave a base that is whole."""

import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from halfpower.records import RecordBase, open_base
from halfpower.records.base import LotState
from halfpower.records.base.links import lock_lot
from halfpower.records.errors import BaseBusyError

SCRIPT = Path(__file__).with_name("invented.py")
KILLS, WRITERS, PARTS = 24, 4, 25


def run(*arguments: str) -> subprocess.Popen[str]:
    """Start a process of the script's."""
    command = [sys.executable, str(SCRIPT), *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)  # noqa: S603  ours


def parts_said(process: subprocess.Popen[str]) -> list[tuple[int, int]]:
    """Give the positions and sequences that a process said it had stored."""
    out, _ = process.communicate()
    assert process.returncode == 0
    pairs = [line.split()[1:] for line in out.splitlines()]
    return [(int(position), int(sequence)) for position, sequence in pairs]


def stored_in(base: RecordBase) -> list[tuple[int, int]]:
    """Give the positions and sequences of the parts that the base has."""
    return [(one.position, one.sequence) for one in base.parts("chokes")]


def test_kill_loses_nothing_that_was_stored(url: str, invented: ModuleType) -> None:
    """Every part whose store had returned is there, none is half written."""
    with open_base(url) as base:
        base.open_lot(invented.invented_lot())
    said = parts_said(run("kill", url, "chokes", str(KILLS), "1"))
    with open_base(url) as base:
        stored = stored_in(base)
        assert base.verify().finding is None
        assert len(list(base.sweeps("chokes"))) == len(stored)
    assert len(said) >= KILLS  # each had begun
    assert set(said) <= set(stored)
    assert len(stored) - len(said) <= KILLS  # a kill may come before the word
    assert [position for position, _ in stored] == list(range(1, len(stored) + 1))


def test_writers_into_one_lot_lose_and_double_nothing(
    url: str, invented: ModuleType
) -> None:
    """Four processes at once give each part a place of its own in one chain."""
    with open_base(url) as base:
        base.open_lot(invented.invented_lot())
    writers = [run("store", url, "chokes", str(PARTS)) for _ in range(WRITERS)]
    said = [one for writer in writers for one in parts_said(writer)]
    with open_base(url) as base:
        stored = stored_in(base)
        labels = Counter(one.label for one in base.parts("chokes"))
        assert base.verify().finding is None
    assert sorted(said) == stored
    assert [sequence for _, sequence in stored] == list(range(1, WRITERS * PARTS + 1))
    assert set(labels.values()) == {WRITERS}
    assert len(labels) == PARTS


def test_new_base_is_made_once_by_many(fresh_url: str, invented: ModuleType) -> None:
    """Processes that open the same new base at once find it made, one lot in it."""
    program = (
        "import sys; sys.path.insert(0, sys.argv[2]); import invented\n"
        "from halfpower.records.base.record_base import open_base\n"
        "with open_base(sys.argv[1]) as base: base.open_lot(invented.invented_lot())"
    )
    command = [sys.executable, "-c", program, fresh_url, str(SCRIPT.parent)]
    openers = [subprocess.Popen(command) for _ in range(3)]  # noqa: S603  ours
    assert [one.wait() for one in openers] == [0, 0, 0]
    with open_base(fresh_url) as base:
        assert [one.name for one in base.lots()] == [invented.invented_lot().name]
        assert base.verify().finding is None


def test_lots_do_not_wait_for_each_other(
    make_url: Callable[..., str], invented: ModuleType
) -> None:
    """On PostgreSQL a bench that holds one lot keeps no other bench waiting."""
    url = make_url("postgresql")
    with open_base(url) as first, open_base(url, timeout_s=2.0) as second:
        first.open_lot(invented.invented_lot())
        first.open_lot(invented.invented_lot("second"))
        first.store(invented.invented_part(1))
        with first._database.writing() as connection:  # noqa: SLF001  holds the lot
            lock_lot(connection, "chokes")
            assert second.store(invented.invented_part(1, lot="second")).position == 1
            with pytest.raises(BaseBusyError, match="keeps the lot locked"):
                second.set_state("chokes", LotState.FINISHED, at=invented.AT)
