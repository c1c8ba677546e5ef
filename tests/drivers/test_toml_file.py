"""Where a key stands in a TOML text."""

from typing import Any

import pytest

from halfpower.analysis import InputError
from halfpower.drivers.toml_file import TomlTable, line_of, parse_toml


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


class Anything(TomlTable):
    """A table that takes one key."""

    a: Any = None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a = " + "[" * 100_000, "nested more than 20 deep"),
        ("a = " + "{a = " * 5000, "nested more than 20 deep"),
        ("a." * 100_000 + "b = 1", "nested more than 20 deep"),
        ('"a" . ' * 5000 + "b = 1", "nested more than 20 deep"),
        ("a = " + "9" * 5000, "a number of thousands of digits"),
        ("b = 1\na = 99999999999999999999", "line 2: a: a number of more than 64 bits"),
        ('a = ["b\\u0000"]', "line 1: a.0: it holds a control character"),
        ('a = 1\n"\\u001b" = 1', "line 2: the name .* it holds a control character"),
        (f"{'x' * 201} = 1", "201 characters"),
    ],
    ids=lambda one: one[:12],
)
def test_what_no_table_may_hold_is_refused_before_it_does_harm(
    text: str, said: str
) -> None:
    """The standard reader takes gigabytes for the third, and recurses for the first."""
    with pytest.raises(InputError, match=said) as caught:
        parse_toml(text, record=Anything, name="table")
    assert len(str(caught.value)) < 400


def test_many_mistakes_make_one_sentence_in_a_moment() -> None:
    """Ten are named and the rest counted; ten thousand statements are no matter."""
    text = "".join(f"[k{n}]\nx = 1\n" for n in range(5000))
    with pytest.raises(InputError, match="and 4990 more") as caught:
        parse_toml(text, record=Anything, name="table")
    assert "line 19: unknown key 'k9'" in str(caught.value)


def test_brackets_in_texts_and_comments_are_none() -> None:
    """Only what nests counts: not a comment's, a string's or a number's points."""
    text = f'# {"[" * 50}\na = ["{"[" * 50}", {", ".join(["1.5"] * 50)}]\n'
    assert len(parse_toml(text, record=Anything, name="table").a) == 51
