"""Numeric replies and queued errors, sense and nonsense."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfpower.drivers.errors import ReplyError
from halfpower.drivers.scpi import parse_number, parse_queued_error


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
