"""The lineariser: a detector read at known steps of the generator's level."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ...analysis.errors import InputError
from ...analysis.reading import Setting
from .bench import Bench

__all__ = ["LevelReading", "LevelSteps", "step_levels"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelSteps:
    """Which levels to step through.

    Attributes
    ----------
    highest_v
        Highest e.m.f. in V r.m.s., > 0.
    step_db
        From level to level, > 0.
    n_levels
        How many.
    repeats
        Readings at each, on the way down and again on the way up: a slow drift
        cancels.
    """

    highest_v: float
    step_db: float = 1.0
    n_levels: int = 31
    repeats: int = 4

    def __post_init__(self) -> None:
        """Refuse steps that are none."""
        if not (self.highest_v > 0.0 and self.step_db > 0.0):
            raise InputError("levels and steps must be above zero")
        if self.n_levels < 1 or self.repeats < 1:
            raise InputError("at least one level and one reading of each are needed")

    @property
    def emf_v(self) -> tuple[float, ...]:
        """The levels in V r.m.s., highest first."""
        return tuple(
            self.highest_v * 10.0 ** (-k * self.step_db / 20.0)
            for k in range(self.n_levels)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelReading:
    """What the detector indicated in V at one e.m.f. in V r.m.s."""

    emf_v: float
    indicated_v: float


def step_levels(
    bench: Bench,
    *,
    setting: Setting,
    steps: LevelSteps,
    taken: Callable[[LevelReading], None],
) -> Sequence[LevelReading]:
    """Step the generator down and up again at one frequency and read each level.

    Parameters
    ----------
    bench
        An open bench whose detector is not linearised.
    setting
        Where it stands, and how long to wait.
    steps
        The levels.
    taken
        Gets every reading as it is taken.

    Raises
    ------
    SettingError, DriverError
        Out of an instrument's range, or one failed; the output is off by then.
    """
    readings: list[LevelReading] = []
    with bench.driven():
        for emf_v in (*steps.emf_v, *reversed(steps.emf_v)):
            bench.generator.set_emf(emf_v)
            for _ in range(steps.repeats):
                indicated_v = bench.read(setting).amplitude_v
                readings.append(LevelReading(emf_v=emf_v, indicated_v=indicated_v))
                taken(readings[-1])
    return readings
