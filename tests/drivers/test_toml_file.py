"""Where a key stands in a TOML text."""

import pytest

from halfpower.drivers.toml_file import key_lines


@pytest.mark.parametrize(
    ("text", "path", "line"),
    [
        ("a = 1\n", ("a",), 1),
        ("# a = 0\n\na = 1\n", ("a",), 3),
        ("[t]\n  a=1\n", ("t", "a"), 2),
        ("[ t ] # why\na = 1", ("t",), 1),
        ("[t.u]\na = 1", ("t", "u", "a"), 2),
        ('["t"]\n"a" = 1', ("t", "a"), 2),
        ("t.a = 1", ("t", "a"), 1),
        ("[t]\nx = 1\n[u]\na = 1\n", ("u", "a"), 4),
        ("[t]\r\na = 1\r\n", ("t", "a"), 2),
    ],
)
def test_a_key_is_found_where_it_stands(
    text: str, path: tuple[str, ...], line: int
) -> None:
    """In its table, dotted, quoted, after comments, on any line end."""
    assert key_lines(text)[path] == line
