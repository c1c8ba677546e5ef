"""The checks of a reference part stay whole, whatever happens to the next one."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

from halfpower.analysis import InputError
from halfpower.records.files import CheckHistory

VALUES = {"resonant_frequency": 7.1e6, "loaded_q": 168.0}


def test_a_check_that_has_no_room_leaves_those_before(
    tmp_path: Path, room_for: Callable[[int], AbstractContextManager[None]]
) -> None:
    """And the next one that has room is added to them."""
    path = tmp_path / "history.csv"
    CheckHistory(path, part="L1").append(begun="2001", values=VALUES)
    before = path.read_bytes()
    room = room_for(len(before) + 10)
    with room, pytest.raises(InputError, match="cannot write"):
        CheckHistory(path, part="L1").append(begun="2002", values=VALUES)
    assert path.read_bytes() == before
    CheckHistory(path, part="L1").append(begun="2003", values=VALUES)
    assert path.read_bytes() == before + before.splitlines(keepends=True)[1].replace(
        b"2001", b"2003"
    )
    assert CheckHistory(path, part="L1").values["loaded_q"] == [168.0, 168.0]
    assert list(tmp_path.iterdir()) == [path]
