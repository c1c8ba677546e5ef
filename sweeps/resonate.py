"""Carry out a plan on a bench: set, wait, read, tell, until it is done."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Protocol

from ..analysis.reading import Reading, Setting
from ..drivers.errors import SettingError
from ..drivers.hand import TakenBackError
from .planner import PeakPlanner
from .sink import Progress, Sink

__all__ = ["DrivenBench", "resonate"]


class DrivenBench(Protocol):
    """What a sweep needs of a bench."""

    def driven(self) -> AbstractContextManager[None]:
        """Drive the circuit for the length of a block."""
        ...

    def read(self, setting: Setting) -> Reading:
        """Set the generator, wait, read the detector."""
        ...


def resonate(
    bench: DrivenBench,
    planner: PeakPlanner,
    *,
    sink: Sink,
    watch: Callable[[Reading], None],
) -> PeakPlanner:
    """Take the readings that a plan asks for.

    Parameters
    ----------
    bench
        An open bench; it is driven for as long as the readings take.
    planner
        A fresh plan.
    sink
        Gets every reading before the plan is told of it, and is told of a reading
        that a person takes back.
    watch
        Called with every reading; stops the sweep by raising.

    Returns
    -------
    PeakPlanner
        The plan, done, with the readings and the fit. It is the one given unless a
        reading was taken back.

    Raises
    ------
    SweepError, DriverError, SettingError, GuardError
        The output is off by then, and the sink has every reading.
    """
    with bench.driven():
        while (setting := planner.ask()) is not None:
            try:
                reading = bench.read(setting)
            except SettingError:
                if not planner.optional:
                    raise
                planner.skip()
                continue
            except TakenBackError:
                planner = _without_last(planner, sink=sink)
                continue
            progress = Progress(
                phase=planner.phase,
                taken=len(planner.readings) + 1,
                expected=planner.expected_readings,
            )
            sink.reading(reading, progress=progress)
            watch(reading)
            planner.tell(reading)
    return planner


def _without_last(planner: PeakPlanner, *, sink: Sink) -> PeakPlanner:
    """Wind a plan back by one reading; without any it stays as it is.

    A plan follows from its readings alone, so a fresh one that is told all but the
    last stands where this one stood before it.
    """
    if not planner.readings:
        return planner
    *kept, slip = planner.readings
    sink.taken_back(slip)
    rewound = PeakPlanner(planner.goal)
    for reading in kept:
        rewound.tell(reading)
    return rewound
