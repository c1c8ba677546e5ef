"""A slip taken back leaves the plan as if it had never been."""

import contextlib
from collections.abc import Iterator

import numpy as np
import pytest

from halfpower.analysis import Reading, Setting
from halfpower.drivers.instruments import TakenBackError
from halfpower.sweeps import PeakPlanner
from halfpower.sweeps.plan.peak_planner import PeakGoal
from halfpower.sweeps.run import Progress
from halfpower.sweeps.run.resonate import resonate

GOAL = PeakGoal(lowest_hz=5e6, highest_hz=9e6, exponent=1.0, target=0.01)


class Kept:
    """A sink that keeps what was not taken back."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []
        self.struck: list[Reading] = []
        self.taken: list[int] = []

    def reading(self, reading: Reading, *, progress: Progress) -> None:
        """Keep it."""
        self.readings.append(reading)
        self.taken.append(progress.taken)

    def taken_back(self, reading: Reading) -> None:
        """Strike it out."""
        assert self.readings.pop() == reading
        self.struck.append(reading)

    def result(self, result: object) -> None:
        """Nothing."""


class Slipping:
    """An invented tank (7 MHz, Q = 150) read by somebody who slips.

    Parameters
    ----------
    slips
        Which readings are misread by a factor of ten and taken back at the next
        question.
    """

    def __init__(self, *slips: int) -> None:
        self._slips = list(slips)
        self._n = 0
        self._back = False

    @contextlib.contextmanager
    def driven(self, level_v: float | None = None) -> Iterator[None]:
        """Nothing to switch."""
        del level_v
        yield

    def read(self, setting: Setting) -> Reading:
        """Read it, or take the last one back."""
        if self._back:
            self._back = False
            raise TakenBackError("there is no reading to take back here")
        x = setting.frequency_hz / 7e6
        amplitude_v = float(x / np.hypot(1.0, 150.0 * (x - 1.0 / x)))
        if self._n in self._slips:
            self._slips.remove(self._n)
            self._back = True
            return Reading(
                frequency_hz=setting.frequency_hz, amplitude_v=10.0 * amplitude_v
            )
        self._n += 1
        noise = 1.0 + 1e-3 * np.sin(40.0 * self._n)  # noise enough for a fit's spread
        return Reading(
            frequency_hz=setting.frequency_hz, amplitude_v=amplitude_v * noise
        )


def run(*slips: int) -> tuple[PeakPlanner, Kept]:
    """Measure with these slips."""
    kept = Kept()
    planner = resonate(
        Slipping(*slips), PeakPlanner(GOAL), sink=kept, watch=lambda _: None
    )
    return planner, kept


@pytest.mark.parametrize("slips", [(0,), (5,), (24,), (3, 10, 30)])
def test_the_result_is_that_of_a_sweep_without_slips(slips: tuple[int, ...]) -> None:
    """The same readings, the same fit, bit for bit; the slips are struck out."""
    clean, kept_clean = run()
    slipped, kept = run(*slips)
    assert slipped.readings == clean.readings
    assert slipped.found.loaded_q == clean.found.loaded_q
    assert kept.readings == kept_clean.readings
    assert len(kept.struck) == len(slips)


def test_the_count_goes_back_with_the_reading() -> None:
    """Reading number 6 is taken twice."""
    _, kept = run(5)
    assert kept.taken[:8] == [1, 2, 3, 4, 5, 6, 6, 7]


def test_nothing_is_taken_back_where_nothing_was_taken() -> None:
    """'back' at the first question asks the first question again."""
    bench = Slipping()
    bench._back = True  # noqa: SLF001 - as if the person began with it
    kept = Kept()
    planner = resonate(bench, PeakPlanner(GOAL), sink=kept, watch=lambda _: None)
    assert planner.readings == run()[0].readings
    assert kept.struck == []
