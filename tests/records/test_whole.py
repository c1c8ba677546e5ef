"""A file is whole or not there, whatever stops its writing."""

import os
import stat
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

from halfpower.analysis import InputError
from halfpower.records import whole_file, write_whole

RoomFor = Callable[[int], AbstractContextManager[None]]


def names_in(folder: Path) -> set[str]:
    """Everything in a folder, hidden or not."""
    return {one.name for one in folder.iterdir()}


def test_what_is_there_stays_unless_it_is_said(tmp_path: Path) -> None:
    """And nothing is left beside it."""
    path = tmp_path / "a.json"
    write_whole(path, "old")
    with pytest.raises(InputError, match="exists already"):
        write_whole(path, "new")
    assert path.read_text("utf-8") == "old"
    write_whole(path, "new", overwrite=True)
    assert path.read_text("utf-8") == "new"
    assert names_in(tmp_path) == {"a.json"}


@pytest.mark.parametrize("stop", [KeyboardInterrupt, ValueError])
@pytest.mark.parametrize("before", ["old", None])
def test_an_interrupt_half_way_changes_nothing(
    tmp_path: Path, stop: type[BaseException], before: str | None
) -> None:
    """The old file is whole; a new one is not there."""
    path = tmp_path / "a.json"
    if before is not None:
        path.write_text(before, encoding="utf-8")

    def half() -> None:
        with whole_file(path, overwrite=True) as file:
            file.write(b"half")
            file.flush()
            raise stop

    with pytest.raises(stop):
        half()
    held = path.read_text("utf-8") if path.exists() else None
    assert held == before
    assert names_in(tmp_path) == ({"a.json"} if before else set())


@pytest.mark.parametrize("before", ["old", None])
def test_no_room_half_way_changes_nothing(
    tmp_path: Path, room_for: RoomFor, before: str | None
) -> None:
    """The old file is whole; a new one is not there."""
    path = tmp_path / "a.json"
    if before is not None:
        path.write_text(before, encoding="utf-8")
    with room_for(100_000), pytest.raises(InputError, match="File too large"):
        write_whole(path, "x" * 200_000, overwrite=True)
    held = path.read_text("utf-8") if path.exists() else None
    assert held == before
    assert names_in(tmp_path) == ({"a.json"} if before else set())


def test_a_file_that_came_meanwhile_stays(tmp_path: Path) -> None:
    """Between the look and the end somebody else wrote it."""
    path = tmp_path / "a.json"

    def late() -> None:
        with whole_file(path) as file:
            file.write(b"ours")
            path.write_text("theirs", encoding="utf-8")

    with pytest.raises(InputError, match="exists already"):
        late()
    assert path.read_text("utf-8") == "theirs"
    assert names_in(tmp_path) == {"a.json"}


def test_a_file_system_without_links_will_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A memory stick's (FAT has none)."""

    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "hardlink_to", refuse)
    write_whole(tmp_path / "a", "one")
    assert (tmp_path / "a").read_text("utf-8") == "one"
    assert names_in(tmp_path) == {"a"}


def test_a_link_stays_one_and_the_mode_stays(tmp_path: Path) -> None:
    """What the link points to is replaced, with the permissions that it had."""
    (tmp_path / "there").write_text("old", encoding="utf-8")
    (tmp_path / "there").chmod(0o640)
    (tmp_path / "link").symlink_to("there")
    write_whole(tmp_path / "link", "new", overwrite=True)
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "there").read_text("utf-8") == "new"
    assert stat.S_IMODE((tmp_path / "there").stat().st_mode) == 0o640


def test_a_new_file_has_the_usual_mode(tmp_path: Path) -> None:
    """Others may read it where the umask lets them."""
    write_whole(tmp_path / "ours", "")
    (tmp_path / "plain").touch()
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_a_pipe_is_written_to_and_not_replaced() -> None:
    """As a shell's >(command) gives one."""
    read, write = os.pipe()
    write_whole(Path(f"/dev/fd/{write}"), "through")
    os.close(write)
    with os.fdopen(read, "rb") as through:
        assert through.read() == b"through"


def test_a_file_where_a_folder_must_be_is_said(tmp_path: Path) -> None:
    """In one sentence."""
    (tmp_path / "a").touch()
    with pytest.raises(InputError, match="a is no folder"):
        write_whole(tmp_path / "a" / "b", "")


def test_what_has_no_utf_8_is_escaped(tmp_path: Path) -> None:
    """Half a surrogate pair, from a byte of an argument that is no text."""
    write_whole(tmp_path / "a", "\udc80")
    assert (tmp_path / "a").read_bytes() == b"\\udc80"


def test_a_pipe_that_nobody_reads_is_refused_and_not_waited_for() -> None:
    """POSIX open: ENXIO for a pipe without a reader, where it would not wait."""
    os.mkfifo("pipe")
    with pytest.raises(InputError, match="cannot write pipe"):
        write_whole(Path("pipe"), "words")
