"""What text from outside may be."""

import os
from pathlib import Path

import pytest

from halfpower.analysis import InputError
from halfpower.analysis.given_text import label_trouble, shown, text_of_file


def text_of(path: Path, *, most_bytes: int = 100) -> str:
    """Read a file the way that its readers do."""
    return text_of_file(
        path.stat(),
        read=lambda most: path.read_bytes()[:most],
        most_bytes=most_bytes,
        what=f"list {path}",
    )


@pytest.mark.parametrize(
    ("content", "text"),
    [
        (b"a\r\nb\rc\n", "a\nb\nc\n"),
        (b"\xef\xbb\xbfa", "a"),
        ("µ".encode(), "µ"),
        (b"x" * 100, "x" * 100),
    ],
)
def test_text_is_read_however_it_was_written(
    tmp_path: Path, content: bytes, text: str
) -> None:
    """Any line ends, a byte order mark, and up to the last byte allowed."""
    path = tmp_path / "list"
    path.write_bytes(content)
    assert text_of(path) == text


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"x" * 101, "larger than 0.0001 MB"),
        ("a\nµ".encode("latin-1"), r"not UTF-8 text \(see line 2\)"),
        ("a".encode("utf-16"), "looks like UTF-16"),
        (b"a\n\x00", "line 2 holds a byte of zero"),
    ],
)
def test_what_is_no_text_is_refused(tmp_path: Path, content: bytes, said: str) -> None:
    """Too large, other encodings, zeroes; the sentence names the file."""
    path = tmp_path / "list"
    path.write_bytes(content)
    with pytest.raises(InputError, match=said) as caught:
        text_of(path)
    assert f"cannot read list {path}: " in str(caught.value)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_a_device_and_a_folder_are_not_read(tmp_path: Path) -> None:
    """A pipe would be waited on and /dev/zero has no end: neither is opened."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path, kind in (
        (pipe, "a pipe"),
        (tmp_path, "a folder"),
        (Path("/dev/zero"), "a device"),
    ):
        with pytest.raises(InputError, match=f"it is {kind}, not a file"):
            text_of(path)


def test_a_hole_of_a_terabyte_is_not_read(tmp_path: Path) -> None:
    """What the system says of its size is believed before a byte is read."""
    path = tmp_path / "hole"
    path.touch()
    os.truncate(path, 1 << 40)
    with pytest.raises(InputError, match="larger than"):
        text_of(path)


@pytest.mark.parametrize(
    ("label", "said"),
    [
        ("L17", ""),
        ("x" * 200, ""),
        ("x" * 201, "201 characters"),
        *((one, "control character") for one in ("a\nb", "\x1b[2J", "\x7f", "\u2028")),
        ("Spule µ \udcff", ""),
    ],
)
def test_one_rule_says_what_a_label_is(label: str, said: str) -> None:
    """One line that steers no terminal, 200 characters at most."""
    trouble = label_trouble(label)
    assert said in trouble
    assert bool(said) == bool(trouble)


def test_what_was_given_is_cut_in_a_sentence() -> None:
    """A field of a million characters makes no sentence of a million."""
    assert shown("abc") == "'abc'"
    assert len(shown("x" * 1_000_000)) < 70
    assert len(shown([1] * 1_000_000)) < 70
