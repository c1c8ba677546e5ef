"""A person at a variable capacitor's dial."""

from collections.abc import Callable
from types import SimpleNamespace

import pytest

from halfpower.analysis import InputError, Setting
from halfpower.drivers.instruments import HandCapacitor, TakenBackError
from halfpower.drivers.instruments.dial import parse_capacitance


def seated(*answers: str) -> tuple[HandCapacitor, list[str], list[str]]:
    """Seat a person who gives these answers; what is asked and said is kept."""
    asked: list[str] = []
    said: list[str] = []
    left = list(answers)

    def ask(question: str) -> str:
        asked.append(question)
        return left.pop(0)

    hand = HandCapacitor(ask, tell=said.append, lowest_f=30e-12, highest_f=500e-12)
    return hand, asked, said


def test_enter_means_what_was_asked_for() -> None:
    """To the digits that were asked for, which a dial can be set to."""
    hand, asked, _ = seated("")
    assert hand.set_capacitance(253.4127e-12) == pytest.approx(
        253.41e-12, rel=1e-9, abs=0.0
    )
    assert "253.41 pF" in asked[0]


@pytest.mark.parametrize("answer", ["253", "253pF", "253 pF", "0.253nF", "253.0"])
def test_what_the_dial_shows_is_what_counts(answer: str) -> None:
    """A bare number is in pF, as dials are."""
    hand, _, _ = seated(answer)
    assert hand.set_capacitance(253.4e-12) == pytest.approx(253e-12, rel=1e-9, abs=0.0)


@pytest.mark.parametrize(
    ("wanted", "answer", "says"),
    [
        (253e-12, "25.3", "far from"),
        (253e-12, "much", "'much'"),
        (253e-12, "253uF", "far from"),
        (31e-12, "29.5", "off the dial"),
    ],
)
def test_nonsense_is_refused_and_asked_again(
    wanted: float, answer: str, says: str
) -> None:
    """The second answer is taken."""
    hand, asked, said = seated(answer, "")
    assert hand.set_capacitance(wanted) == pytest.approx(wanted, rel=1e-4, abs=0.0)
    assert says in said[0]
    assert len(asked) == 2


def test_back_takes_the_last_reading_back() -> None:
    """Whoever keeps readings obeys."""
    hand, _, _ = seated("back")
    with pytest.raises(TakenBackError):
        hand.set_capacitance(100e-12)


@pytest.mark.parametrize("text", ["", "pF", "-3", "1e9", "nan"])
def test_what_is_no_capacitance_is_refused(text: str) -> None:
    """One sentence, whatever was typed."""
    with pytest.raises(InputError):
        parse_capacitance(text)


def test_a_bench_without_one_says_how_to_describe_it(
    fake_bench: Callable[[], SimpleNamespace],
) -> None:
    """The table's name stands in the sentence."""
    rig = fake_bench()
    with (
        rig.bench as bench,
        bench.driven(),
        pytest.raises(InputError, match=r"\[capacitor\]"),
    ):
        bench.read(Setting(frequency_hz=2e6, capacitance_f=1e-10))
