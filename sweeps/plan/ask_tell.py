"""What all plans have in common: asked for a setting, told the reading. No I/O."""

import itertools
import math
from abc import ABC, abstractmethod
from collections.abc import Generator, Sequence
from typing import Generic, TypeVar

import numpy as np

from ...analysis.quantity import FloatArray
from ...analysis.reading import Reading, Setting
from ..errors import SweepError

__all__ = [
    "FLANKS",
    "AskTell",
    "NotHadError",
    "Steps",
    "amplitudes_of",
    "averaged",
    "flanked",
    "ranges_of",
    "shown_before",
]

# Of peaks over frequency and over a dial alike; half-bandwidths are half-widths there.
FLANKS = (0.2, 0.9)  # of the peak: a reading there says where the flank is
Fit = TypeVar("Fit")


class NotHadError(Exception):
    """Tells a plan's steps that an optional setting cannot be had."""


Steps = Generator[Setting, Reading, None]


class AskTell(ABC, Generic[Fit]):
    """A plan that is written as a generator: it yields settings and gets readings.

    A subclass sets what its steps need before it calls this constructor, which runs
    them up to their first setting.

    Attributes
    ----------
    phase
        What the plan is about now; ``done`` at the end.
    readings
        Everything told so far, in order.
    used
        Indices of the readings that the fit used.
    """

    phase: str

    def __init__(self) -> None:
        self.readings: list[Reading] = []
        self.used: tuple[int, ...] = ()
        self._fit: Fit | None = None
        self._plan = self._steps()
        self._setting: Setting | None = next(self._plan)

    @abstractmethod
    def _steps(self) -> Steps:
        """Yield the settings, one after the other."""

    @property
    def found(self) -> Fit:
        """The fit of the finished plan.

        Raises
        ------
        SweepError
            The plan is not done.
        """
        if self._fit is None:
            raise SweepError("the plan has not come to a resonance yet")
        return self._fit

    def ask(self) -> Setting | None:
        """Return the next setting, or None when the plan is done."""
        return self._setting

    def tell(self, reading: Reading) -> None:
        """Tell the reading that the last setting gave.

        Raises
        ------
        NoResonanceError
            Nothing stands out of the readings.
        EdgeError
            The response is highest at an end of what is looked at, or the peak lies
            too near it.
        SweepError
            The readings are spent and no peak is bracketed, or the plan is done.
        """
        if self._setting is None:
            raise SweepError("the plan is done and takes no more readings")
        self.readings.append(reading)
        try:
            self._setting = self._plan.send(reading)
        except StopIteration:
            self._end()

    @property
    def optional(self) -> bool:
        """Whether the plan can do without the setting that it asks for."""
        return False

    def skip(self) -> None:
        """Tell that the last setting, an optional one, cannot be had.

        Raises
        ------
        SweepError
            The plan cannot do without it.
        """
        if not self.optional:
            raise SweepError("the plan cannot do without this reading")
        try:
            self._setting = self._plan.throw(NotHadError())
        except StopIteration:
            self._end()

    def _end(self) -> None:
        self._setting = None
        self.phase = "done"


def amplitudes_of(readings: Sequence[Reading]) -> FloatArray:
    """Give the amplitudes in V, shape (N,)."""
    return np.array([one.amplitude_v for one in readings])


def averaged(
    setting: FloatArray, readings: Sequence[Reading]
) -> tuple[FloatArray, FloatArray]:
    """Put readings in order of their setting, the amplitudes at one averaged."""
    amplitude = amplitudes_of(readings)
    unique, where = np.unique(setting, return_inverse=True)
    return unique, np.bincount(where, weights=amplitude) / np.bincount(where)


def ranges_of(readings: Sequence[Reading]) -> FloatArray | None:
    """Give the detector's ranges in V, None where a reading has none.

    A detector with ranges has noise in proportion to the range it stands on; how
    much, the scatter tells.
    """
    ranges = [one.range_v for one in readings if one.range_v]
    return np.array(ranges) if len(ranges) == len(readings) else None


def shown_before(readings: Sequence[Reading]) -> FloatArray:
    """Give what the detector showed before each reading, in V, shape (N,).

    It is nan for the first, and after a change of the detector's range.
    """
    before = [
        one.amplitude_v if one.range_v == other.range_v else math.nan
        for one, other in itertools.pairwise(readings)
    ]
    return np.array([math.nan, *before])


def flanked(amplitude: FloatArray, top: int) -> bool:
    """Whether readings on both sides of the highest lie on the peak's flanks."""
    share = amplitude / amplitude[top]
    low, high = FLANKS
    on_flank = (share >= low) & (share <= high)
    return bool(on_flank[:top].any() and on_flank[top + 1 :].any())
