"""Answers cut short are asked for again; instruments that vary their digits are not."""

import pytest

from halfpower.drivers.link.reply_shape import Belief, shape_of

# How IEEE 488.2, 8.7.2 to 8.7.4, lets a number be written: NR1, NR2, NR3.
FULL = ["+4.91234567E-02", "0.049123", "491234", "CH1:1.23E-01V", "12.5 mV", "-36.25"]


def told(*replies: str) -> Belief:
    """A question that was answered so often that its shape is known."""
    belief = Belief()
    for reply in replies:
        belief.begin()
        while not belief.believes(reply):
            pass
    belief.begin()
    return belief


@pytest.mark.parametrize("full", FULL)
def test_no_cut_answer_is_believed_at_once(full: str) -> None:
    """Cut anywhere, it is less than what was believed before, or no number."""
    for length in range(1, len(full)):
        cut = full[:length]
        if shape_of(cut) is not None:
            assert not told(full).believes(cut), cut


@pytest.mark.parametrize("full", FULL)
def test_an_answer_of_the_same_shape_is_believed_at_once(full: str) -> None:
    """Other digits, another sign: the same shape."""
    other = full.translate(str.maketrans("123456789", "987654321"))
    assert told(full).believes(other)
    assert told(full).believes(other.replace("-0", "+0"))


@pytest.mark.parametrize(
    ("before", "after"),
    [("9.87", "10.02"), ("10.02", "9.87"), ("987", "1001"), ("0.5", "0.52")],
)
def test_a_value_that_grows_or_shrinks_is_believed(before: str, after: str) -> None:
    """Digits before the point come and go with the value; more digits are no cut."""
    assert told(before).believes(after)


def test_the_first_full_nr3_is_believed_and_a_first_integer_comes_twice() -> None:
    """An exponent of two digits is the end of an answer; an integer has no end."""
    assert Belief().believes("+4.91234567E-02")
    first = Belief()
    assert [first.believes("491234") for _ in range(2)] == [False, True]


def test_a_shorter_shape_is_believed_the_third_time_running() -> None:
    """Trailing zeros dropped in earnest; a cut line does not manage three alike."""
    belief = told("0.0491237")
    assert [belief.believes("0.049124") for _ in range(3)] == [False, False, True]
    belief.begin()
    assert belief.believes("0.049124")


def test_two_cut_answers_do_not_add_up_over_two_questions() -> None:
    """What was in doubt for one question is forgotten at the next."""
    belief = told("+4.91234567E-02")
    for _ in range(10):
        belief.begin()
        assert [belief.believes("+4.9123") for _ in range(2)] == [False, False]
        assert belief.believes("+4.91234567E-02")


@pytest.mark.parametrize("special", ["9.9E37", "9.91E37", "-9.9E37", "9.90E+37"])
def test_the_standard_s_special_numbers_need_no_shape(special: str) -> None:
    """SCPI-99, volume 1, 7.2.1.4 and 7.2.1.5; cut, they are no longer special."""
    belief = told("+4.91234567E-02")
    assert belief.believes(special)
    assert belief.believes("+4.91234567E-02")
    assert not belief.believes("9.9E3")


@pytest.mark.parametrize("word", ["ON", "", "OVLD", "INVENTED,FAKE"])
def test_what_is_no_number_is_left_to_whoever_asked(word: str) -> None:
    """Words have no shape."""
    assert told("+4.91234567E-02").believes(word)
