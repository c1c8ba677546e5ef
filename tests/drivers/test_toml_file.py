"""Where a key stands in a TOML text."""

import pytest

from halfpower.drivers.toml_file import line_of


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
        ('b = """\na = 0\n"""\na = 1\n', ("a",), 4),
        ("[[t]]\na = 1\n[[t]]\nb = 1\n", ("t", 1, "b"), 4),
        ("[t]\nb = [\n  1,\n]\n[u]", ("t", "b", 0), 2),
        ("[u]\n[t]\na = 1", ("t", "b"), 2),
        ("a = 1", ("b",), None),
    ],
)
def test_a_key_is_found_where_it_stands(
    text: str, path: tuple[str | int, ...], line: int | None
) -> None:
    """Dotted, quoted, in arrays, after values of several lines; or its table is."""
    assert line_of(path, text) == line
