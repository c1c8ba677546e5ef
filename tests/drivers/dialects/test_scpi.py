"""Numeric replies and queued errors, sense and nonsense."""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfpower.drivers.dialects import ReplyForm, parse_reply
from halfpower.drivers.dialects.scpi import (
    parse_number,
    parse_numbered_error,
    parse_queued_error,
)
from halfpower.drivers.errors import ReplyError


@given(
    st.floats(allow_nan=False, allow_infinity=False, max_value=9e37, min_value=-9e37)
)
def test_a_number_comes_back_as_it_was_written(number: float) -> None:
    """Any finite number below the special ones is read exactly."""
    assert parse_number(f"{number!r}", command="X?") == number


@pytest.mark.parametrize(
    "reply",
    ["", " ", "V", "1.5V", "1,5", "1 2", "1.5E", "--1", "#H1F", "nan", "INF", "0x10"],
)
def test_what_is_not_one_number_is_refused_with_its_text(reply: str) -> None:
    """Units, lists, words and emptiness are no reading."""
    with pytest.raises(ReplyError, match="not a number") as caught:
        parse_number(reply, command="MEAS?")
    assert caught.value.values == {"command": "MEAS?", "reply": reply}


def test_a_long_garbage_reply_is_cut_in_the_sentence_and_whole_in_the_values() -> None:
    """A megabyte of garbage does not flood a terminal."""
    with pytest.raises(ReplyError) as caught:
        parse_number("x" * 100_000, command="MEAS?")
    assert len(str(caught.value)) < 200
    assert len(caught.value.values["reply"]) == 100_000


def test_numbers_beyond_the_special_ones_are_no_reading() -> None:
    """Larger than SCPI's infinity is no amplitude of anything."""
    assert math.isnan(parse_number("1E38", command="X?"))
    assert math.isnan(parse_number("1E400", command="X?"))
    assert parse_number("-1E38", command="X?") == -math.inf
    assert parse_number("9.8E37", command="X?") == 9.8e37


def test_a_device_text_with_quotes_and_commas_is_kept() -> None:
    """What follows the comma in the text belongs to the text."""
    entry = parse_queued_error('-113,"Undefined header;FOO ""a"",1"')
    assert entry.code == -113
    assert entry.text == 'Undefined header;FOO ""a"",1'


@pytest.mark.parametrize(
    "reply", ["", "0", "No error", '0;"No error"', "0,No error", ","]
)
def test_what_is_no_queue_entry_is_refused(reply: str) -> None:
    """A stale reading in place of the queue's answer is noticed."""
    with pytest.raises(ReplyError, match="error queue"):
        parse_queued_error(reply)


VOLTS = ReplyForm(header="CH1:", suffixes={"V": 1.0, "mV": 1e-3})


@pytest.mark.parametrize(
    ("reply", "volts"),
    [
        ("CH1:1.2E-1V", 0.12),
        ("CH1: 120 mV", 0.12),
        (" CH1:+120.0mV\n", 0.12),
        ("CH1:9.9E37V", math.inf),  # an overload, whatever its suffix
        ("CH1:9.9E37", math.inf),
    ],
)
def test_a_declared_header_and_suffix_are_read(reply: str, volts: float) -> None:
    """The suffix's factor is the dialect's own word."""
    assert parse_reply(reply, command="M?", form=VOLTS) == pytest.approx(volts)


@pytest.mark.parametrize(
    ("reply", "phrase"),
    [
        ("CH1:120uV", "'uV', which the dialect does not declare"),
        ("CH1:120MV", "'MV', which the dialect does not declare"),
        ("CH1:120mV 3", "does not declare"),
        ("CH1:120", "has no unit"),
        ("CH2:120mV", "does not begin with 'CH1:'"),
        ("120mV", "does not begin with 'CH1:'"),
        ("CH1:", "not a number"),
    ],
)
def test_what_is_not_declared_is_refused(reply: str, phrase: str) -> None:
    """A prefix that nobody expected would be a factor of a thousand."""
    with pytest.raises(ReplyError, match=phrase):
        parse_reply(reply, command="M?", form=VOLTS)


def test_a_bare_number_passes_where_the_empty_suffix_is_declared() -> None:
    """For an instrument that drops its unit."""
    form = ReplyForm(suffixes={"": 1.0, "mV": 1e-3})
    assert parse_reply("0.5", command="M?", form=form) == 0.5
    assert parse_reply("500mV", command="M?", form=form) == 0.5


@pytest.mark.parametrize("reply", ["OL", "-9999", "-9.999E+03"])
def test_an_instrument_s_own_overload_is_an_overload(reply: str) -> None:
    """As a word or as a number, however that is written."""
    form = ReplyForm(overload=("OL", -9999.0))
    assert parse_reply(reply, command="M?", form=form) == math.inf
    assert parse_reply("-9998", command="M?", form=form) == -9998.0


@pytest.mark.parametrize("reply", ["----", "9.91E37", "+9.910000E+37", " UNDER "])
def test_an_instrument_s_own_nothing_is_the_logarithm_of_nothing(reply: str) -> None:
    """Declared, it is told from 9.9E37 and from a number; undeclared it is not."""
    form = ReplyForm(nothing=("----", "UNDER", 9.91e37))
    assert parse_reply(reply, command="M?", form=form) == -math.inf
    assert parse_reply("9.9E37", command="M?", form=form) == math.inf
    assert parse_reply("0.5", command="M?", form=form) == 0.5


@pytest.mark.parametrize(
    ("reply", "separator", "place"),
    [
        ("1,0.25,7", ",", 2),
        ("1; 0.25 ;7", ";", 2),
        ("0.25", ",", 1),
        ("1 2 0.25", " ", 3),
    ],
)
def test_one_of_several_numbers_is_taken_by_its_place(
    reply: str, separator: str, place: int
) -> None:
    """Counted from 1."""
    form = ReplyForm(place=place, separator=separator)
    assert parse_reply(reply, command="M?", form=form) == 0.25


def test_a_place_that_the_reply_has_not_is_refused_with_both_numbers() -> None:
    """Never the last one instead."""
    with pytest.raises(ReplyError, match=r"has 2 of the fields .* takes number 3"):
        parse_reply("1,2", command="M?", form=ReplyForm(place=3))


@pytest.mark.parametrize(("reply", "code"), [("0", 0), ("+0", 0), ("-113", -113)])
def test_a_queue_without_texts_is_read_where_it_is_declared(
    reply: str, code: int
) -> None:
    """-113 is "Undefined header" (SCPI-99, volume 2, 21.8.9)."""
    assert parse_numbered_error(reply).code == code
    with pytest.raises(ReplyError, match='write error_form = "number"'):
        parse_queued_error(reply)


@pytest.mark.parametrize("reply", ["", "0.5", '0,"No error"', "OK"])
def test_what_is_no_whole_number_is_no_entry_of_such_a_queue(reply: str) -> None:
    """A reading in its place is noticed."""
    with pytest.raises(ReplyError, match="not one whole number"):
        parse_numbered_error(reply)


@given(st.text(max_size=30))
def test_any_text_is_a_number_or_a_reply_error(text: str) -> None:
    """Nothing else comes out."""
    for form in (VOLTS, ReplyForm(), ReplyForm(overload=("OL",))):
        with contextlib.suppress(ReplyError):
            assert isinstance(parse_reply(text, command="M?", form=form), float)
