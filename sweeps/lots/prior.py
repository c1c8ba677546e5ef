"""What the parts before say of the next one's peak."""

from collections import deque
from dataclasses import dataclass, replace

import numpy as np

from ...drivers.bench import BenchFile
from ..plan import PeakGoal, PeakPrior
from ..run import Span

__all__ = ["LedSpan", "PriorBook"]

LEAST = 3  # parts before anything is foretold
REMEMBERED = 50  # parts; a slow drift of the lot is followed
TO_SIGMA = 1.4826  # of a median absolute deviation, normal
# A spread read from few parts may be small by luck, and costs readings then.
SMALLEST_SPREAD = 0.002


class PriorBook:
    """Remembers where the peaks of the last parts were.

    Bad parts do not mislead it: it goes by medians.
    """

    def __init__(self) -> None:
        self._peaks: deque[tuple[float, float]] = deque(maxlen=REMEMBERED)

    def add(self, resonant_frequency_hz: float, loaded_q: float) -> None:
        """Remember a part's peak, in Hz, and its loaded Q."""
        self._peaks.append((resonant_frequency_hz, loaded_q))

    @property
    def prior(self) -> PeakPrior | None:
        """What is to be expected; None while too few parts are known."""
        if len(self._peaks) < LEAST:
            return None
        f0, q = np.median(np.array(self._peaks), axis=0)
        away = np.abs(np.array([one[0] for one in self._peaks]) / f0 - 1.0)
        return PeakPrior(
            resonant_frequency_hz=float(f0),
            spread_relative=min(
                max(TO_SIGMA * float(np.median(away)), SMALLEST_SPREAD), 0.5
            ),
            loaded_q=float(q),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LedSpan(Span):
    """A span with a prior.

    Attributes
    ----------
    prior
        Where the peak is likely to be.
    not_within_hz
        A span that the prior does not speak of: that of a reference sweep, which is
        made without the part. None: it speaks of any.
    """

    prior: PeakPrior | None = None
    not_within_hz: tuple[float, float] | None = None

    def goal(self, file: BenchFile) -> PeakGoal:
        """Say what the planner is to reach, and where it is likely to find it."""
        plain = Span.goal(self, file)
        if (self.lowest_hz, self.highest_hz) == self.not_within_hz:
            return plain
        # One part after the other is read by the same instruments: those that lead,
        # and the check standard, are the witnesses for all.
        witness = plain.witness and self.prior is None
        return replace(plain, prior=self.prior, witness=witness)
