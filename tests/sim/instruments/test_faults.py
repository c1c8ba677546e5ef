"""When faults happen: by chance, by number, by the clock."""

import numpy as np

from halfpower.sim.instruments import Fault, FaultPlan


def plan(*faults, seed=0):
    """Make a plan with a stream of its own."""
    return FaultPlan(faults, np.random.default_rng(seed))


def test_chance_is_the_probability():
    """A tenth of 5000 messages, give or take what a binomial gives (sd 21)."""
    one = plan(Fault(kind="silence", probability=0.1))
    count = sum(one.next(0.0, spoils_answer=True) is not None for _ in range(5000))
    assert abs(count - 500) < 85  # four standard deviations


def test_a_fault_of_answers_is_not_used_up_by_other_messages():
    """Its count is of messages that have one."""
    one = plan(Fault(kind="silence", at_message=2))
    for _ in range(5):
        assert one.next(0.0, spoils_answer=False) is None
    assert one.next(0.0, spoils_answer=True) is None
    assert one.next(0.0, spoils_answer=True).kind == "silence"
    assert one.next(0.0, spoils_answer=True) is None


def test_a_time_strikes_once():
    """At the first message after it."""
    one = plan(Fault(kind="reset", at_s=5.0))
    found = [one.next(t, spoils_answer=False) for t in (4.9, 5.0, 5.1)]
    assert [f is not None for f in found] == [False, True, False]


def test_the_first_of_several_wins_and_the_others_still_count():
    """One message is spoiled once."""
    one = plan(Fault(kind="half", at_message=1), Fault(kind="silence", at_message=2))
    kinds = [one.next(0.0, spoils_answer=True).kind for _ in range(2)]
    assert kinds == ["half", "silence"]
