"""Carry out a plan on a bench: set, wait, read, tell, until it is done."""

from collections import deque
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from typing import Protocol, Self, TypeVar

from ...analysis.errors import InputError
from ...analysis.reading import Reading, Setting
from ...drivers.errors import SettingError
from ...drivers.instruments import TakenBackError
from .sink import Progress, Sink

__all__ = ["AnyPlan", "DrivenBench", "Plan", "Stored", "resonate"]

NEAR = 0.1  # a person's dial may stand so far from what was asked for


class DrivenBench(Protocol):
    """What a sweep needs of a bench."""

    def driven(self, level_v: float | None = None) -> AbstractContextManager[None]:
        """Drive the circuit for the length of a block."""
        ...

    def read(self, setting: Setting) -> Reading:
        """Set the generator, wait, read the detector."""
        ...


class Plan(Protocol):
    """Asks for settings and is told readings (see `halfpower.sweeps.PeakPlanner`)."""

    readings: list[Reading]

    @property
    def phase(self) -> str:
        """What the plan is about now."""
        ...

    @property
    def optional(self) -> bool:
        """Whether it can do without the setting that it asks for."""
        ...

    @property
    def expected_readings(self) -> int:
        """How many readings it is likely to take in all."""
        ...

    def ask(self) -> Setting | None:
        """Return the next setting, or None when the plan is done."""
        ...

    def tell(self, reading: Reading) -> None:
        """Tell the reading that the last setting gave."""

    def skip(self) -> None:
        """Tell that the last setting, an optional one, cannot be had."""

    def afresh(self) -> Self:
        """Return a plan with the same goal that has been told nothing."""
        ...


AnyPlan = TypeVar("AnyPlan", bound=Plan)


class Stored:
    """Readings of a step that were taken before an interruption.

    Parameters
    ----------
    readings
        In their order.
    finished
        Whether the step was done with them, so that nothing is missing.
    ends_elsewhere
        Whether they were taken with another target or most readings: where the plan
        comes to want another reading than they have, they are used no further.
    """

    def __init__(
        self,
        readings: Sequence[Reading] = (),
        *,
        finished: bool = False,
        ends_elsewhere: bool = False,
    ) -> None:
        self.readings = deque(readings)
        self.finished = finished
        self.ends_elsewhere = ends_elsewhere


def _nothing() -> None:
    """Do nothing."""


def resonate(
    bench: DrivenBench,
    planner: AnyPlan,
    *,
    sink: Sink,
    watch: Callable[[Reading], None],
    step: str = "",
    stored: Stored | None = None,
    prepare: Callable[[], None] = _nothing,
    level_v: float | None = None,
    tank_v: Callable[[Reading], float] | None = None,
) -> AnyPlan:
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
    step
        What this is called in a measurement of several.
    stored
        Readings of an earlier run: a plan follows from its readings alone, so it is
        told these first and goes on where it stood.
    prepare
        Called before the circuit is driven, with the output off; not where the stored
        readings are all that it takes.
    level_v
        E.m.f. in V r.m.s.; None: the bench file's.
    tank_v
        Says what a reading shows of the tank's voltage, in V r.m.s., for the sink.

    Returns
    -------
    Plan
        The plan, done, with the readings and the fit. It is the one given unless a
        reading was taken back.

    Raises
    ------
    InputError
        The stored readings do not belong to this plan.
    SweepError, DriverError, SettingError, GuardError
        The output is off by then, and the sink has every reading.
    """
    _retell(planner, stored or Stored(), sink=sink, step=step)
    if planner.ask() is None:
        return planner
    prepare()
    with bench.driven(level_v):
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
            shown_v = None if tank_v is None else tank_v(reading)
            progress = _progress(planner, step=step, tank_v=shown_v)
            sink.reading(reading, progress=progress)
            watch(reading)
            planner.tell(reading)
    return planner


def _progress(planner: Plan, *, step: str, tank_v: float | None = None) -> Progress:
    return Progress(
        phase=planner.phase,
        taken=len(planner.readings) + 1,
        expected=planner.expected_readings,
        step=step,
        tank_v=tank_v,
    )


def _retell(planner: Plan, stored: Stored, *, sink: Sink, step: str) -> None:
    """Tell a plan what was read before, and pass it on as if it came now.

    Raises
    ------
    InputError
        A reading is not what the plan asks for.
    """
    while stored.readings and (setting := planner.ask()) is not None:
        reading = stored.readings.popleft()
        wanted, got = setting.frequency_hz, reading.frequency_hz
        if setting.capacitance_f is not None:
            wanted, got = setting.capacitance_f, reading.capacitance_f or 0.0
        if abs(got / wanted - 1.0) > NEAR:
            if stored.ends_elsewhere and planner.readings:
                stored.readings.clear()
                break
            raise InputError(
                f"the readings to go on from do not belong to this measurement: at "
                f"{wanted:.6g} its plan has a reading, they have one at {got:.6g}; "
                "give the options that they were taken with"
            )
        sink.reading(reading, progress=_progress(planner, step=step))
        planner.tell(reading)
    while stored.finished and planner.ask() is not None and planner.optional:
        planner.skip()


def _without_last(planner: AnyPlan, *, sink: Sink) -> AnyPlan:
    """Wind a plan back by one reading; without any it stays as it is.

    A plan follows from its readings alone, so a fresh one that is told all but the
    last stands where this one stood before it.
    """
    if not planner.readings:
        return planner
    *kept, slip = planner.readings
    sink.taken_back(slip)
    rewound = planner.afresh()
    for reading in kept:
        rewound.tell(reading)
    return rewound
