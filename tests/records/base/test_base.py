"""A record base keeps what it is given and gives it back."""

import dataclasses
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from sqlalchemy import text

from halfpower.analysis.lots import Verdict
from halfpower.records import RecordBase, open_base
from halfpower.records.base import LotEntry, LotState, default_path
from halfpower.records.errors import EntryError


def test_part_comes_back_whole(base: RecordBase, invented: ModuleType) -> None:
    """A part's numbers, readings, constants and document come back to the last bit."""
    given = invented.invented_part(7)
    base.store(given)
    found = base.part("chokes", 1)
    assert found.newest == found.first
    assert found.first.quantities == given.quantities
    assert found.first.reasons == given.reasons
    assert found.circumstances == given.circumstances
    assert found.document == given.document
    for name in ("frequency_hz", "amplitude_v", "range_v", "time_s", "used"):
        np.testing.assert_array_equal(
            getattr(found.sweeps[0], name), getattr(given.sweeps[0], name)
        )


def test_positions_follow_one_another(base: RecordBase, invented: ModuleType) -> None:
    """Each new part takes the lot's next position, each entry the next place."""
    stored = [base.store(invented.invented_part(n)) for n in (1, 2)]
    base.store(invented.invented_check(in_control=True))
    stored.append(base.store(invented.invented_part(3)))
    assert [one.position for one in stored] == [1, 2, 3]
    assert [one.sequence for one in stored] == [1, 2, 4]


def test_earlier_attempt_is_kept(base: RecordBase, invented: ModuleType) -> None:
    """A part measured again has two attempts, and the newest counts."""
    base.store(invented.invented_part(1))
    base.store(invented.invented_part(9, again=1, verdict=Verdict.REJECTED))
    assert base.part("chokes", 1).first.label == "L9"
    assert base.part("chokes", 1, attempt=1).first.label == "L1"
    assert base.summary("chokes").verdicts == {Verdict.REJECTED: 1}
    assert [one.attempt for one in base.parts("chokes", all_attempts=True)] == [1, 2]


def test_same_entry_is_stored_once(base: RecordBase, invented: ModuleType) -> None:
    """A commit that is repeated after a lost answer gives the first one's place."""
    part = invented.invented_part(1)
    first, second = base.store(part), base.store(part)
    assert (first.already, second.already) == (False, True)
    assert (second.sequence, second.hash) == (first.sequence, first.hash)
    assert base.lot("chokes").positions == 1


def test_an_entry_asked_for_again_is_found_among_others(
    base: RecordBase, invented: ModuleType
) -> None:
    """The second of three, with a lot opened after its own, and a second attempt."""
    parts = [invented.invented_part(n) for n in (1, 2, 3)]
    stored = [base.store(one) for one in parts]
    base.open_lot(invented.invented_lot("later"))
    base.store(invented.invented_part(1, lot="later"))
    more = invented.invented_part(2, again=2)
    stored.append(base.store(more))
    for one, first in zip([*parts, more], stored, strict=True):
        assert base.store(one) == dataclasses.replace(first, already=True)
    assert [one.attempt for one in stored] == [1, 1, 1, 2]


def test_a_rework_states_its_first_and_last_part(
    base: RecordBase, invented: ModuleType
) -> None:
    """Of three parts all but the last, by their places in the lot."""
    for n in (1, 2, 3):
        base.store(invented.invented_part(n))
    base.rework(invented.invented_rework([1, 2], [1e-6, 2e-6]))
    with base._database.engine.connect() as connection:  # noqa: SLF001  looks inside
        ((first, last),) = connection.execute(text("SELECT first, last FROM reworks"))
    assert (first, last) == (1, 2)


def test_taken_uuid_is_refused(base: RecordBase, invented: ModuleType) -> None:
    """Another entry under a stored UUID is no repetition."""
    part = invented.invented_part(1)
    base.store(part)
    for label in "abcdefgh":  # of either order of their hashes
        with pytest.raises(EntryError, match="make a new UUID"):
            base.store(dataclasses.replace(part, label=label))


def test_unknown_lot_or_position_is_refused(
    base: RecordBase, invented: ModuleType
) -> None:
    """Nothing is stored where there is no place for it, nor kept for later."""
    with pytest.raises(EntryError, match="no lot 'none'"):
        base.store(invented.invented_part(1, lot="none"))
    with pytest.raises(EntryError, match="no part at position 5"):
        base.store(invented.invented_part(1, again=5))
    assert not base.side_file.path.exists()
    assert base.lot("chokes").entries == 0


def test_lot_of_a_taken_name_is_refused(base: RecordBase, invented: ModuleType) -> None:
    """A lot goes on under its name; another lot needs another."""
    same = invented.invented_lot()
    assert base.open_lot(same).name == "chokes"
    other = LotEntry(name="chokes", file_text="#", begun=same.begun, station="north")
    with pytest.raises(EntryError, match="another lot 'chokes'"):
        base.open_lot(other)


def test_state_of_a_lot_is_kept(base: RecordBase, invented: ModuleType) -> None:
    """A lot is open until it is said to be finished or stopped."""
    assert base.lot("chokes").state is LotState.OPEN
    base.set_state("chokes", LotState.FINISHED, at=invented.AT)
    assert [one.state for one in base.lots()] == [LotState.FINISHED]
    assert base.verify().finding is None


def test_bad_check_casts_doubt_back_to_the_last_good_one(
    base: RecordBase, invented: ModuleType
) -> None:
    """Parts since the last good reading of the standard are suspect, no others."""
    base.store(invented.invented_part(1))
    base.store(invented.invented_check(in_control=True))
    for number in (2, 3):
        base.store(invented.invented_part(number))
    base.store(invented.invented_check(in_control=False))
    base.store(invented.invented_part(4))
    suspect = [one.label for one in base.parts("chokes") if one.suspect]
    assert suspect == ["L2", "L3"]
    assert base.summary("chokes").suspect == 2
    assert [one.in_control for one in base.checks("chokes")] == [True, False]
    assert base.checks("chokes")[1].suspect_from == 3


def test_a_second_bad_check_casts_doubt_as_far_back_as_the_first(
    base: RecordBase, invented: ModuleType
) -> None:
    """Only a good reading vouches for what was before it; the next good one does."""
    entries = [
        invented.invented_part(1),
        invented.invented_check(in_control=True),
        invented.invented_part(2),
        invented.invented_check(in_control=False),
        invented.invented_part(3),
        invented.invented_check(in_control=False),
        invented.invented_check(in_control=True),
        invented.invented_part(4),
        invented.invented_check(in_control=True),
    ]
    for entry in entries:
        base.store(entry)
    assert [one.suspect_from for one in base.checks("chokes")][1:3] == [3, 3]
    assert [one.label for one in base.parts("chokes") if one.suspect] == ["L2", "L3"]
    assert base.summary("chokes").suspect == 2


def test_label_is_found_in_every_lot(base: RecordBase, invented: ModuleType) -> None:
    """A label finds its parts wherever they are, as they count now."""
    base.open_lot(invented.invented_lot("second"))
    base.store(invented.invented_part(1))
    base.store(invented.invented_part(1, lot="second"))
    base.store(invented.invented_part(2, lot="second"))
    assert [one.lot for one in base.find("L1")] == ["chokes", "second"]
    assert base.find("L9") == ()


def test_summary_counts_and_averages(base: RecordBase, invented: ModuleType) -> None:
    """Verdicts are counted; undone parts are left out of the averages."""
    for number in (1, 2, 6):
        base.store(invented.invented_part(number))
    base.store(invented.invented_part(99, verdict=Verdict.UNDONE))
    found = base.summary("chokes")
    assert found.verdicts == {Verdict.ACCEPTED: 3, Verdict.UNDONE: 1}
    inductance = found.quantities[0]
    assert (inductance.name, inductance.n) == ("inductance", 3)
    assert inductance.mean == pytest.approx(3e-6, rel=1e-12)  # (1 + 2 + 6)/3
    assert (inductance.least, inductance.greatest) == (1e-6, 6e-6)


@pytest.mark.parametrize(
    "label",
    [
        "x'); DROP TABLE parts; --",
        '"quoted" \\ back',
        "<script>alert(1)</script>",
        "../../etc/passwd",
        "nul\x00inside",
        "lone \ud800 and \udcff",
        "escape \ue000 and \ue0000000",
        "=1+1",
        "\u03bc\U0001f39b",
        "",
    ],
)
def test_any_label_comes_back_the_same(
    base: RecordBase, invented: ModuleType, label: str
) -> None:
    """Text is text, whatever it looks like, and is found by itself."""
    base.store(invented.invented_part(1, label=label))
    assert [one.label for one in base.find(label)] == [label]
    assert base.verify().finding is None


def test_base_is_there_again(url: str, invented: ModuleType) -> None:
    """What one process stored, the next one finds."""
    with open_base(url) as first:
        first.open_lot(invented.invented_lot())
        head = first.store(invented.invented_part(1)).hash
    with open_base(url) as second:
        assert second.head("chokes").hash == head
        assert second.part("chokes", 1).first.label == "L1"


@pytest.mark.parametrize("value", [-0.0, 5e-324, -1.7976931348623157e308, 3])
def test_any_number_verifies(
    base: RecordBase, invented: ModuleType, value: float
) -> None:
    """What a database makes of a number is what the chain is over."""
    part = invented.invented_part(1)
    quantity = dataclasses.replace(part.quantities[0], value=value)
    base.store(dataclasses.replace(part, quantities=(quantity,)))
    assert base.part("chokes", 1).first.quantities == (quantity,)
    assert base.verify().finding is None


def test_constants_are_kept_once(base: RecordBase, invented: ModuleType) -> None:
    """Parts measured under the same constants refer to one copy of them."""
    for number in (1, 2, 3):
        base.store(invented.invented_part(number))
    with base._database.reading() as connection:  # noqa: SLF001  looks beneath
        n = connection.execute(text("SELECT count(*) FROM circumstances")).scalar_one()
    assert n == 1


def test_sqlite_flushes_every_commit(tmp_path: Path) -> None:
    """The file has a write-ahead log, full flushes and foreign keys."""
    with (
        open_base(tmp_path / "b.sqlite3", timeout_s=7.0) as base,
        base._database.reading() as connection,  # noqa: SLF001  looks beneath
    ):
        found = [
            connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        ]
    assert found == ["wal", 2, 1, 7000]  # 2 is FULL (sqlite.org/pragma.html)


def test_default_place_is_the_users_data_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a path, the base is where this system keeps the user's data."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))  # XDG base directory spec.
    if default_path().is_relative_to(tmp_path):
        with open_base() as base:
            assert base.where == str(tmp_path / "halfpower" / "records.sqlite3")
    assert default_path().name == "records.sqlite3"


def test_documents_and_readings_files_need_no_database() -> None:
    """Importing them does not import SQLAlchemy."""
    program = (
        "import sys, halfpower.records\n"
        "halfpower.records.to_json, halfpower.records.ReadingsFile\n"
        "sys.exit('sqlalchemy' in sys.modules)"
    )
    command = [sys.executable, "-c", program]
    assert subprocess.run(command, check=False).returncode == 0  # noqa: S603  ours
