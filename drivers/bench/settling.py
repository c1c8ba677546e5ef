"""How long a bench takes to stand still after a step, measured by watching it."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ...analysis.quantity import FloatArray
from ..errors import SettingError
from ..instruments import SignalSource
from .bench import Clock, Sleep

__all__ = ["Settling", "SettlingWatch"]

LEAST_LOOK_S = 1.0  # a display that creeps shows no change in less
MOST_LOOK_S = 30.0
LEAST_READINGS = 12
MOST_READINGS = 4000
SEEN = 4.0  # standard deviations that a reading is off before it counts
SETTLED = 1e-3  # of the end value
HALVINGS = 8
TRIES = 3  # steps for one wait
MOST_DRAWN_ON = 3.0

Step = Callable[[], object]


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """Time in s from a step until readings are within 0.1 % of where they end."""

    after_level_s: float
    after_frequency_s: float

    @property
    def longest_s(self) -> float:
        """The longer of the two, in s."""
        return max(self.after_level_s, self.after_frequency_s)


@dataclass(frozen=True, slots=True)
class _Stand:
    """Where a look ended, what noise hides there, how far off it began, and when."""

    end_v: float
    hidden_v: float
    first_off_v: float
    stood_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SettlingWatch:
    """Steps the level and the frequency, and watches until the detector stands.

    Attributes
    ----------
    generator
        Started, its output on.
    read_v
        Reads the detector at once, in V.
    sleep, clock
        How to wait, and what time it is in s.

    Notes
    -----
    A slow detector's readings are farther apart than it takes to settle: the wait
    that is needed is found by steps with ever shorter waits. Noise hides the end of a
    settling, which is taken as an exponential and drawn on to 0.1 %; a dip that ends
    at once is overstated by that, by three times at most, and never understated.
    """

    generator: SignalSource
    read_v: Callable[[], float]
    sleep: Sleep
    clock: Clock

    def measure(
        self, frequency_hz: float, *, aside_hz: float, levels_v: tuple[float, float]
    ) -> Settling:
        """Measure how long it takes to stand after a step.

        Parameters
        ----------
        frequency_hz
            Where the generator is seen, in Hz.
        aside_hz
            Where a step of frequency comes from, in Hz.
        levels_v
            Two levels, e.m.f. in V r.m.s.; the second is left set.

        Raises
        ------
        SettingError
            It does not come to a stand within half a minute.
        DriverError
            An instrument or its link failed.
        """
        low_v, high_v = levels_v
        set_hz, set_v = self.generator.set_frequency, self.generator.set_emf
        set_hz(frequency_hz)
        return Settling(
            after_level_s=self._needed_s(
                away=lambda: set_v(low_v), back=lambda: set_v(high_v)
            ),
            after_frequency_s=self._needed_s(
                away=lambda: set_hz(aside_hz),
                back=lambda: set_hz(frequency_hz),
            ),
        )

    def _needed_s(self, *, away: Step, back: Step) -> float:
        away()
        there = self._look()
        back()
        here = self._look()
        if here.stood_s == 0.0:
            return 0.0
        too_short_s, enough_s = 0.0, here.stood_s
        for _ in range(HALVINGS):
            wait_s = (too_short_s + enough_s) / 2.0
            seen_v = [
                self._after(
                    wait_s, away=away, stay_s=max(there.stood_s, enough_s), back=back
                )
                for _ in range(TRIES)
            ]
            if abs(float(np.mean(seen_v)) - here.end_v) <= here.hidden_v:
                enough_s = wait_s
            else:
                too_short_s = wait_s
        return enough_s * _drawn_on(here)

    def _after(self, wait_s: float, *, away: Step, stay_s: float, back: Step) -> float:
        """Step away, stay there, step back, wait, and read once."""
        away()
        self.sleep(stay_s)
        self.read_v()
        back()
        self.sleep(wait_s)
        return self.read_v()

    def _look(self) -> _Stand:
        begun_s, look_s = self.clock(), LEAST_LOOK_S
        asked_s: list[float] = []
        seen_v: list[float] = []
        while True:
            while len(seen_v) < LEAST_READINGS or self.clock() - begun_s < look_s:
                asked_s.append(self.clock() - begun_s)
                seen_v.append(self.read_v())
                if len(seen_v) >= MOST_READINGS:
                    break
            if _stands(np.array(seen_v)):
                return _stand_of(np.array(asked_s), np.array(seen_v))
            look_s *= 2.0
            if look_s > MOST_LOOK_S or len(seen_v) >= MOST_READINGS:
                raise SettingError(
                    "the detector does not come to a stand within "
                    f"{self.clock() - begun_s:.2g} s after a step; see that nothing "
                    "drifts, or give it fewer averages"
                )


def _stands(seen_v: FloatArray) -> bool:
    """Tell whether the last two quarters of a look are alike."""
    third, last = np.array_split(seen_v, 4)[2:]
    noise = math.hypot(*(q.std(ddof=1) / math.sqrt(q.size) for q in (third, last)))
    apart = abs(float(last.mean() - third.mean()))
    return apart <= max(SEEN * noise, SETTLED / 2.0 * float(last.mean()))


def _stand_of(asked_s: FloatArray, seen_v: FloatArray) -> _Stand:
    end = seen_v[seen_v.size // 2 :]
    end_v = float(end.mean())
    hidden_v = max(SEEN * float(end.std(ddof=1)), SETTLED * end_v)
    off_v = np.abs(seen_v - end_v)
    off = np.flatnonzero(off_v > hidden_v)
    last = int(off[-1]) + 1 if off.size else 0
    return _Stand(
        end_v=end_v,
        hidden_v=hidden_v,
        first_off_v=float(off_v.max()),
        stood_s=float(asked_s[last]),
    )


def _drawn_on(stand: _Stand) -> float:
    """How many times as long an exponential takes to 0.1 % as to what noise hides."""
    if stand.end_v <= 0.0:
        return 1.0
    share = math.log(stand.first_off_v / (SETTLED * stand.end_v))
    return min(share / math.log(stand.first_off_v / stand.hidden_v), MOST_DRAWN_ON)
