"""The plan for a dial, on invented Lorentzians over capacitance."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from halfpower.analysis import InputError, Reading
from halfpower.sweeps.errors import EdgeError, NoResonanceError, SweepError
from halfpower.sweeps.plan import DialGoal, DialPlanner

GOAL = DialGoal(frequency_hz=2e6, lowest_f=30e-12, highest_f=500e-12, beside_f=20e-12)
Response = Callable[[float], float]


def lorentzian(peak_f: float, width_f: float, *, noise: float = 1e-3) -> Response:
    """Make an invented tank's response over the dial, with noise of a fixed seed."""
    rng = np.random.default_rng(5)

    def read(setting_f: float) -> float:
        clean = 1.0 / np.hypot(1.0, (setting_f - peak_f) / width_f)
        return float(abs(clean + noise * rng.standard_normal()))

    return read


def run(read: Response, goal: DialGoal = GOAL) -> DialPlanner:
    """Take the readings that the plan asks for."""
    planner = DialPlanner(goal)
    while (setting := planner.ask()) is not None:
        assert setting.capacitance_f is not None
        planner.tell(
            Reading(
                frequency_hz=setting.frequency_hz,
                capacitance_f=setting.capacitance_f,
                amplitude_v=read(setting.capacitance_f),
            )
        )
    return planner


@settings(max_examples=40)
@example(peak=1.1041922354346965e-10, share=0.03125)
@given(peak=st.floats(45e-12, 450e-12), share=st.floats(0.004, 0.05))
def test_any_peak_on_the_dial_is_found_and_measured(peak: float, share: float) -> None:
    """Setting and half-width within five of their standard uncertainties.

    With noise of s of the peak and N readings those are 4 s/sqrt(N) and 5.7 s/sqrt(N)
    half-widths where half-widths are best read (a third on the peak, a third at half
    its height on either side). 14 free readings tell the noise to 19 %: three times
    that, and a seventh more for what finding the peak cost.
    """
    width = share * (peak + 20e-12)
    planner = run(lorentzian(peak, width))
    found, limit = planner.found, 1e-3 / len(planner.used) ** 0.5
    assert abs(found.resonant_capacitance_f - peak) < 5.0 * (
        found.u_resonant_capacitance_f
    )
    assert abs(found.half_width_f - width) < 5.0 * found.u_half_width_f
    assert found.u_half_width_f < 1.14 * 1.57 * 4.0 * limit * width
    assert found.u_resonant_capacitance_f < 1.57 * 5.7 * limit * width


def test_a_person_is_not_asked_for_more_than_is_needed() -> None:
    """A half-width to 1 % at 0.3 % noise takes fewer than forty readings."""
    planner = run(lorentzian(200e-12, 1.2e-12, noise=3e-3))
    assert len(planner.readings) < 40
    assert planner.found.u_half_width_f < 0.01 * planner.found.half_width_f
    assert planner.phase == "done"


@pytest.mark.parametrize(
    ("peak", "says"), [(20e-12, "lower the frequency"), (560e-12, "raise the freq")]
)
def test_a_resonance_off_the_dial_says_which_way(peak: float, says: str) -> None:
    """A lower frequency resonates with more capacitance, f = 1/(2 pi sqrt(LC))."""
    with pytest.raises(EdgeError, match=says):
        run(lorentzian(peak, 2e-12))


def test_noise_alone_is_no_resonance() -> None:
    """Whatever it looks like, an error of its own and no value."""
    rng = np.random.default_rng(1)
    with pytest.raises(SweepError):
        run(lambda _: float(abs(0.01 * rng.standard_normal())))


def test_a_dead_detector_is_no_resonance() -> None:
    """The same reading everywhere."""
    with pytest.raises((NoResonanceError, EdgeError)):
        run(lambda _: 0.01)


def test_the_readings_allowed_are_not_passed() -> None:
    """The plan ends with what it has."""
    goal = DialGoal(
        frequency_hz=2e6, lowest_f=30e-12, highest_f=500e-12, target=1e-6,
        most_readings=40,
    )  # fmt: skip
    assert len(run(lorentzian(200e-12, 1.5e-12), goal).readings) <= 40


@pytest.mark.parametrize(
    "change",
    [
        {"lowest_f": 500e-12},
        {"lowest_f": -1e-12},
        {"target": 0.0},
        {"most_readings": 5},
    ],
)
def test_a_goal_that_cannot_be_is_refused(change: dict[str, float]) -> None:
    """Before anything is turned."""
    given_goal = {"frequency_hz": 2e6, "lowest_f": 30e-12, "highest_f": 500e-12}
    with pytest.raises(InputError):
        DialGoal(**(given_goal | change))  # type: ignore[arg-type] # what is tested


def test_a_finished_plan_takes_no_more() -> None:
    """Nor does it skip: every setting of a dial is needed."""
    planner = run(lorentzian(200e-12, 1.5e-12))
    with pytest.raises(SweepError):
        planner.tell(planner.readings[-1])
    with pytest.raises(SweepError):
        planner.skip()
