"""The grammar, apart from any instrument."""

import pytest

from halfpower.sim.instruments.scpi import (
    Command,
    CommandTable,
    ScpiError,
    split_message,
)
from halfpower.sim.instruments.scpi_parameters import (
    FREQUENCY,
    parse_boolean,
    parse_choice,
    parse_number,
)

FREQ = Command(pattern="[SOURce#]:FREQuency:[CW|FIXed]")


@pytest.mark.parametrize(
    ("header", "matched"),
    [
        ("FREQ", True),
        ("FREQUENCY", True),
        ("SOUR:FREQ:CW", True),
        ("SOURCE1:FREQUENCY:FIXED", True),
        ("SOUR2:FREQ", None),
        ("FREQ1", False),
        ("FREQUE", False),
        ("SOUR:CW", False),
        ("SOUR:FREQ:CW:CW", False),
        ("CW", False),
    ],
)
def test_a_pattern_matches_its_short_long_and_shortened_forms(header, matched):
    """Optional nodes may be left out, a suffix of 1 may be written."""
    assert FREQ.match(header.split(":")) is matched


def test_a_message_is_split_outside_strings_only():
    """A semicolon or a comma inside quotes belongs to the string."""
    (one, two) = split_message(b'A "x;y,z",2;*B?')
    assert one.parameters == ('"x;y,z"', "2")
    assert (two.header, two.is_query, two.is_common) == ("*B", True, True)


def test_an_empty_message_has_no_units():
    """Nor does one of white space."""
    assert split_message(b"") == split_message(b"  \t") == []


def test_parsing_ends_at_the_first_unit_that_cannot_be_parsed():
    """What came before it is kept."""
    units = split_message(b"FREQ 1;?;OUTP 1")
    assert [type(u).__name__ for u in units] == ["Unit", "ScpiError"]


def test_a_header_is_looked_up_once_and_remembered_with_its_path():
    """The same header under another path is another command."""
    table = CommandTable([Command(pattern="A:B"), Command(pattern="C:B")])
    (unit,) = split_message(b"B 1")
    assert table.find(unit, "A")[0].pattern == "A:B"
    assert table.find(unit, "C")[0].pattern == "C:B"
    with pytest.raises(ScpiError):
        table.find(unit, "")


@pytest.mark.parametrize(
    ("text", "value"),
    [("1", 1.0), ("1 KHZ", 1e3), ("1e3khz", 1e6), ("2 MAHZ", 2e6), ("#Q17", 15.0)],
)
def test_numbers_carry_their_suffixes(text, value):
    """White space and case are free."""
    assert parse_number(text, FREQUENCY).value == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "number"),
    [("#HXY", -121), ("1..2", -121), ("'1'", -104), ("FOO", -104), ("1 FOO", -131)],
)
def test_what_is_no_number_has_its_own_error(text, number):
    """By the standard's numbers."""
    with pytest.raises(ScpiError) as caught:
        parse_number(text, FREQUENCY)
    assert caught.value.number == number


def test_choices_and_booleans_are_words():
    """Short or long, any case; nothing else."""
    assert parse_choice("Infinity", ("INFinity",)) == "INF"
    assert parse_boolean("off") is False
    for bad, number in (("5", -104), ("INFIN", -224)):
        with pytest.raises(ScpiError) as caught:
            parse_choice(bad, ("INFinity",))
        assert caught.value.number == number
