"""What a plan is to reach: where to look, how closely to measure, at what cost."""

import math
from dataclasses import dataclass

from ...analysis.errors import InputError

__all__ = ["HARMONICS", "OVERVIEW", "ROOT3", "PeakGoal", "PeakPrior", "in_mhz"]

STEPS_PER_OCTAVE = 24  # 3 % steps: the skirts of a Q of 1000 still show
LEAST_STEPS = 16
ROOT3 = math.sqrt(3.0)
OVERVIEW = (0.0, 0.5, -0.5, 1.0, -1.0, ROOT3, -ROOT3, 3.0, -3.0)  # in half-bandwidths
HARMONICS = (2, 3)  # the ones that a generator has most of
SPREADS = 3.0  # standard deviations about a prior that are looked at first


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakPrior:
    """What the parts measured before say of this one's peak.

    Attributes
    ----------
    resonant_frequency_hz
        Where it is expected, in Hz.
    spread_relative
        Standard deviation of the parts' frequencies, relative.
    loaded_q
        The expected loaded Q.
    """

    resonant_frequency_hz: float
    spread_relative: float
    loaded_q: float

    def __post_init__(self) -> None:
        """Refuse an expectation that cannot be."""
        given = (self.resonant_frequency_hz, self.loaded_q)
        if not (
            all(0.0 < one < math.inf for one in given)
            and 0.0 <= self.spread_relative < 1.0
        ):
            raise InputError(
                f"a peak at {self.resonant_frequency_hz:g} Hz +/- "
                f"{100.0 * self.spread_relative:g} % with Q = {self.loaded_q:g} cannot "
                "be expected"
            )

    @property
    def looks_hz(self) -> tuple[float, float, float]:
        """Where to look first: the middle and both sides, in Hz.

        A peak is located best from its flanks; where the parts differ by more than it
        is wide, from as far out as they differ.
        """
        flank = ROOT3 / (2.0 * self.loaded_q)
        step = 1.0 + max(flank, SPREADS * self.spread_relative)
        middle = self.resonant_frequency_hz
        return (middle, middle * step, middle / step)


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakGoal:
    """Where to look, how closely to measure, and what it may cost.

    Attributes
    ----------
    lowest_hz, highest_hz
        The span in Hz; no reading is asked for outside it but to unmask a ghost.
    exponent
        The fixture's k (see `halfpower.analysis.fitting.curves.Peak`).
    target
        Relative standard uncertainty of the loaded Q to stop at, > 0.
    most_readings
        Readings to stop at in any case.
    generator_highest_hz
        Up to where a ghost may be unmasked beyond the span, in Hz.
    prior
        Where the peak is likely to be; None: nobody knows.
    witness
        Whether two steps of nearly the peak's height are read at the end, which show
        best whether the instruments had settled.
    """

    lowest_hz: float
    highest_hz: float
    exponent: float
    target: float = 0.002
    most_readings: int = 200
    generator_highest_hz: float = 0.0
    prior: PeakPrior | None = None
    witness: bool = False

    def __post_init__(self) -> None:
        """Refuse a span or a target that cannot be."""
        if not 0.0 < self.lowest_hz < self.highest_hz < math.inf:
            raise InputError(
                f"a span from {in_mhz(self.lowest_hz)} to {in_mhz(self.highest_hz)} is "
                "empty; give the lower frequency first"
            )
        if not 0.0 < self.target < 1.0:
            raise InputError(
                f"a target of {self.target:g} for the uncertainty of Q is not between "
                "0 and 1"
            )
        if self.most_readings < self.least_readings:
            raise InputError(
                f"{self.most_readings} readings are too few for this span; "
                f"it takes at least {self.least_readings}"
            )

    @property
    def n_search(self) -> int:
        """Readings of the coarse grid."""
        octaves = math.log2(self.highest_hz / self.lowest_hz)
        return max(LEAST_STEPS, math.ceil(STEPS_PER_OCTAVE * octaves) + 1)

    @property
    def highest_driven_hz(self) -> float:
        """Up to where a reading may be asked for: a ghost is unmasked beyond the span.

        A peak is found on the span and looked for at twice and three times it.
        """
        beyond_hz = min(HARMONICS[-1] * self.highest_hz, self.generator_highest_hz)
        return max(self.highest_hz, beyond_hz)

    @property
    def least_readings(self) -> int:
        """Readings that a search and two looks at the whole peak take."""
        return self.n_search + 2 * len(OVERVIEW)


def in_mhz(frequency_hz: float) -> str:
    """Write a frequency for a sentence."""
    return f"{frequency_hz / 1e6:.6g} MHz"
