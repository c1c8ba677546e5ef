"""Carry out a plan on a bench: set, wait, read, tell, until it is done."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Protocol

from ..analysis.reading import Reading, Setting
from ..drivers.errors import SettingError
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
) -> None:
    """Take the readings that a plan asks for.

    Parameters
    ----------
    bench
        An open bench; it is driven for as long as the readings take.
    planner
        A fresh plan; afterwards it holds the readings and the fit.
    sink
        Gets every reading before the plan is told of it.
    watch
        Called with every reading; stops the sweep by raising.

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
            progress = Progress(
                phase=planner.phase,
                taken=len(planner.readings) + 1,
                expected=planner.expected_readings,
            )
            sink.reading(reading, progress=progress)
            watch(reading)
            planner.tell(reading)
