"""The half-power points read straight off a trace, as a person does it.

No shape is assumed: the highest reading is the peak, and on each side the first
crossing of 1/sqrt(2) of it is interpolated between the two readings that hold it,
1/V^2 against t^2 (t = f/f0 - f0/f), a straight line for a tank.
Then ``f0 = sqrt(f1 f2)`` and ``Q = f0 / (f2 - f1)``, which is exact for the current
of a series circuit and the voltage of a parallel one.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..errors import FitError
from ..quantity import FloatArray
from .trace import Trace

__all__ = ["HalfPower", "half_power"]

MIN_READINGS = 3
PASSES = 3  # the third moves nothing above 1e-4 of the bandwidth


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfPower:
    """Half-power points of one trace, without a model.

    Attributes
    ----------
    lower_hz, upper_hz
        Where the amplitude crosses 1/sqrt(2) of its highest reading, in Hz.
    peak_v
        The highest reading in V.
    """

    lower_hz: float
    upper_hz: float
    peak_v: float

    @property
    def bandwidth_hz(self) -> float:
        """Distance of the half-power points in Hz."""
        return self.upper_hz - self.lower_hz

    @property
    def resonant_frequency_hz(self) -> float:
        """Geometric mean of the half-power points in Hz."""
        return math.sqrt(self.lower_hz * self.upper_hz)

    @property
    def loaded_q(self) -> float:
        """Resonant frequency over bandwidth."""
        return self.resonant_frequency_hz / self.bandwidth_hz


def half_power(trace: Trace) -> HalfPower:
    """Read the half-power points of a peak off its trace.

    Raises
    ------
    FitError
        Fewer than three frequencies, no amplitude at all, or an amplitude that does
        not fall to 1/sqrt(2) of its peak on both sides; the sentence says which.

    Notes
    -----
    What coarse readings leave: the highest one stands below the peak unless it hits
    it, which widens the bandwidth. With readings d half-bandwidths apart Q is read low
    by up to d^2/4 of itself and by d^2/12 in the mean: 1 % at d = 0.35, 8 % at d = 1.

    On a dense, noisy trace the highest reading is too high and the first crossing too
    near: Q comes out too large (by 5 % at 51 readings over four bandwidths and noise
    of a thirtieth of the peak). It is a check on a fit, not a rival to it.
    """
    frequency, amplitude = _averaged(trace)
    if frequency.size < MIN_READINGS:
        raise FitError(
            f"readings at {frequency.size} frequencies show no half-power points; it "
            "takes 3",
            n_frequencies=int(frequency.size),
        )
    top = int(np.argmax(amplitude))
    peak = float(amplitude[top])
    if peak <= 0.0:
        raise FitError("every amplitude is zero: there is no peak")
    level = peak * math.sqrt(0.5)
    upper = _crossing(frequency[top:], amplitude[top:], level)
    lower = _crossing(frequency[top::-1], amplitude[top::-1], level)
    if lower is None or upper is None:
        side = "below" if lower is None else "above"
        if lower is None and upper is None:
            side = "on either side of"
        raise FitError(
            f"the amplitude does not fall to half power {side} the highest reading at "
            f"{frequency[top]:.9g} Hz; widen the sweep",
            peak_hz=float(frequency[top]),
        )
    for _ in range(PASSES):  # the centre that t is counted from is theirs
        centre = math.sqrt(lower.at(level) * upper.at(level))
        lower, upper = lower.about(centre), upper.about(centre)
    return HalfPower(lower_hz=lower.at(level), upper_hz=upper.at(level), peak_v=peak)


def _averaged(trace: Trace) -> tuple[FloatArray, FloatArray]:
    """Return the frequencies in order and the mean amplitude at each."""
    frequency, where = np.unique(trace.frequency_hz, return_inverse=True)
    count = np.bincount(where)
    return frequency, np.bincount(where, weights=trace.amplitude_v) / count


@dataclass(frozen=True, slots=True, kw_only=True)
class _Crossing:
    """Two readings that hold a crossing, and the centre that t is counted from."""

    frequency_hz: tuple[float, float]
    amplitude_v: tuple[float, float]
    centre_hz: float | None = None

    def about(self, centre_hz: float) -> "_Crossing":
        """Return the crossing with its t counted from `centre_hz`."""
        return _Crossing(
            frequency_hz=self.frequency_hz,
            amplitude_v=self.amplitude_v,
            centre_hz=centre_hz,
        )

    def at(self, level_v: float) -> float:
        """Return where the amplitude crosses the level, in Hz."""
        (f1, f2), (v1, v2), centre = (
            self.frequency_hz,
            self.amplitude_v,
            self.centre_hz,
        )
        if v2 <= 0.0 or centre is None or (f1 - centre) * (f2 - centre) < 0.0:
            # A zero has no reciprocal, and across the centre t^2 turns: the chord.
            return f1 + (f2 - f1) * (v1 - level_v) / (v1 - v2)
        t1, t2 = (f1 / centre - centre / f1, f2 / centre - centre / f2)
        share = (level_v**-2 - v1**-2) / (v2**-2 - v1**-2)
        t = math.copysign(math.sqrt(t1 * t1 + share * (t2 * t2 - t1 * t1)), t2)
        return centre * math.exp(math.asinh(0.5 * t))


def _crossing(
    frequency: FloatArray, amplitude: FloatArray, level: float
) -> _Crossing | None:
    """Return where the amplitude first falls to the level, walking outwards."""
    below = amplitude <= level
    if not below.any():
        return None
    i = int(np.argmax(below))
    return _Crossing(
        frequency_hz=(float(frequency[i - 1]), float(frequency[i])),
        amplitude_v=(float(amplitude[i - 1]), float(amplitude[i])),
    )
