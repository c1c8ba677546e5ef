"""Which capacitors are recommended, and why."""

import dataclasses
import math

import pytest

from halfpower.analysis import InputError
from halfpower.analysis.predict import (
    BenchReach,
    Candidate,
    Choice,
    ReadingPlan,
    Use,
    choose_capacitors,
)
from halfpower.analysis.predict import capacitor_choice as what_to_use

BENCH = BenchReach(
    lowest_hz=1e3,
    highest_hz=60e6,
    tank_limit_v=30.0,
    level_v=1.0,
    settle_s=0.0,
)
USE = Use(
    inductance_h=1.0,
    resonant_frequency_hz=1e6,
    loaded_q=100.0,
    fixture_q=1000.0,
    fixture_share=0.1,
    peak_v=1.0,
    noise=1e-3,
    tank_voltage_v=1.0,
    seconds=1.0,
    u_resonant_frequency=1e-6,
    u_loaded_q=1e-3,
    u_unloaded_q=0.0,
    inductance_doubt="resonating capacitor",
    q_doubt="probe resistance",
)


@pytest.fixture
def chosen(monkeypatch: pytest.MonkeyPatch) -> "Chooser":
    """Choose among capacitors whose doubts are told, at three inductances."""
    return Chooser(monkeypatch)


class Chooser:
    """Puts told doubts in the place of the foreseen ones; infinite is an obstacle."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self._monkeypatch = monkeypatch

    def __call__(self, **doubts: tuple[float, float, float]) -> Choice:
        """Choose for 1 uH to 100 uH."""

        def told(candidate: Candidate, *, inductance_h: float, **_: object) -> Use:
            index = round(math.log10(inductance_h / 1e-6))
            u = doubts[candidate.name][index]
            return dataclasses.replace(
                USE,
                inductance_h=inductance_h,
                u_inductance=u,
                obstacles=("it is out of reach",) if math.isinf(u) else (),
            )

        self._monkeypatch.setattr(what_to_use, "foresee", told)
        candidates = [
            Candidate(name=name, tank=None, tank_voltage_v=float)  # type: ignore[arg-type] # not looked at
            for name in doubts
        ]
        return choose_capacitors(
            candidates, lowest_h=1e-6, highest_h=100e-6, bench=BENCH, plan=ReadingPlan()
        )


def test_the_one_that_is_best_at_its_worst_is_recommended(chosen: Chooser) -> None:
    """0.02 everywhere beats 0.01 to 0.04; the worst is said."""
    choice = chosen(a=(0.01, 0.02, 0.04), b=(0.02, 0.02, 0.02))
    assert choice.recommended == ("b",)
    assert choice.sentence.startswith("Use b over the whole range: ")
    assert "inductance to 2 % (mostly the resonating capacitor)" in choice.sentence


def test_two_are_recommended_where_they_are_much_better(chosen: Chooser) -> None:
    """0.01 from both against 0.04 from either; they change in the upper half."""
    choice = chosen(a=(0.01, 0.01, 0.04), b=(0.04, 0.02, 0.01))
    assert choice.recommended == ("a", "b")
    assert "Use a up to about 32 µH and b above" in choice.sentence  # root(10 x 100)
    assert "alone, a would be 4 times as uncertain" in choice.sentence


def test_two_that_are_little_better_are_not(chosen: Chooser) -> None:
    """0.014 from one against 0.01 from two is less than a factor of 1.5."""
    choice = chosen(a=(0.01, 0.01, 0.014), b=(0.02, 0.02, 0.01))
    assert choice.recommended == ("a",)


def test_two_that_reach_the_range_together_are_recommended(chosen: Chooser) -> None:
    """Neither reaches both ends; the change is in the lower half."""
    choice = chosen(a=(0.01, math.inf, math.inf), b=(math.inf, 0.05, 0.05))
    assert choice.recommended == ("a", "b")
    assert "up to about 3.2 µH" in choice.sentence
    assert "no single one can be used over the whole range" in choice.sentence


def test_one_that_is_better_in_the_middle_alone_is_said_so(chosen: Chooser) -> None:
    """No change-over, but a hole."""
    choice = chosen(a=(0.01, 0.05, 0.01), b=(math.inf, 0.01, math.inf))
    assert "Use b about 10 µH and a elsewhere" in choice.sentence


def test_none_is_recommended_where_none_can_be_used(chosen: Chooser) -> None:
    """Each one's reason is given."""
    choice = chosen(a=(0.01, 0.01, math.inf), b=(0.01, 0.01, math.inf))
    assert choice.recommended == ()
    assert choice.sentence.count("it is out of reach") == 2


def test_a_lone_capacitor_has_no_others(chosen: Chooser) -> None:
    """Nothing is said of changing over."""
    choice = chosen(a=(0.01, 0.01, 0.01))
    assert choice.recommended == ("a",)
    assert "others" not in choice.sentence


@pytest.mark.parametrize(
    ("lowest_h", "highest_h"),
    [(2e-6, 1e-6), (0.0, 1e-6), (-1e-6, 1e-6), (math.nan, 1e-6), (1e-6, math.inf)],
)
def test_an_empty_range_is_refused(lowest_h: float, highest_h: float) -> None:
    """The lower end first, above zero."""
    one = Candidate(name="a", tank=None, tank_voltage_v=float)  # type: ignore[arg-type] # not looked at
    with pytest.raises(InputError, match="is empty"):
        choose_capacitors(
            [one],
            lowest_h=lowest_h,
            highest_h=highest_h,
            bench=BENCH,
            plan=ReadingPlan(),
        )


@pytest.mark.parametrize("count", [0, 21])
def test_no_capacitor_or_too_many_are_refused(count: int) -> None:
    """One to twenty."""
    one = Candidate(name="a", tank=None, tank_voltage_v=float)  # type: ignore[arg-type] # not looked at
    with pytest.raises(InputError, match="1 to 20 capacitors"):
        choose_capacitors(
            [one] * count,
            lowest_h=1e-6,
            highest_h=1e-5,
            bench=BENCH,
            plan=ReadingPlan(),
        )
