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
from .curves import Abscissa
from .trace import Trace

__all__ = ["HalfPower", "half_power"]

MIN_READINGS = 3
PASSES = 3  # the third moves nothing above 1e-4 of the bandwidth


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfPower:
    """Half-power points of one trace, without a model.

    Attributes
    ----------
    abscissa
        What was swept.
    lower, upper
        Where the amplitude crosses 1/sqrt(2) of its highest reading, in its unit.
    peak_v
        The highest reading in V.
    """

    abscissa: Abscissa
    lower: float
    upper: float
    peak_v: float

    @property
    def half_width(self) -> float:
        """Half the distance of the half-power points."""
        return 0.5 * (self.upper - self.lower)

    @property
    def centre(self) -> float:
        """Geometric mean of the half-power points."""
        return math.sqrt(self.lower * self.upper)

    @property
    def loaded_q(self) -> float:
        """Centre over the width that goes with Q: see `Abscissa.half_widths`."""
        return self.centre / (self.abscissa.half_widths * self.half_width)


def half_power(trace: Trace, *, abscissa: Abscissa = Abscissa.FREQUENCY) -> HalfPower:
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
    setting, amplitude = _averaged(trace)
    if setting.size < MIN_READINGS:
        raise FitError(
            f"readings at {setting.size} frequencies show no half-power points; it "
            "takes 3",
            n_frequencies=int(setting.size),
        )
    top = int(np.argmax(amplitude))
    peak = float(amplitude[top])
    if peak <= 0.0:
        raise FitError("every amplitude is zero: there is no peak")
    level = peak * math.sqrt(0.5)
    upper = _crossing(setting[top:], amplitude[top:], level)
    lower = _crossing(setting[top::-1], amplitude[top::-1], level)
    if lower is None or upper is None:
        side = "below" if lower is None else "above"
        if lower is None and upper is None:
            side = "on either side of"
        raise FitError(
            f"the amplitude does not fall to half power {side} the highest reading at "
            f"{setting[top]:.9g} {abscissa.unit}; widen the sweep",
            peak=float(setting[top]),
        )
    for _ in range(PASSES):  # the centre that t is counted from is theirs
        centre = math.sqrt(lower.at(level) * upper.at(level))
        lower, upper = lower.about(centre), upper.about(centre)
    return HalfPower(
        abscissa=abscissa, lower=lower.at(level), upper=upper.at(level), peak_v=peak
    )


def _averaged(trace: Trace) -> tuple[FloatArray, FloatArray]:
    """Return the frequencies in order and the mean amplitude at each."""
    frequency, where = np.unique(trace.frequency_hz, return_inverse=True)
    count = np.bincount(where)
    return frequency, np.bincount(where, weights=trace.amplitude_v) / count


@dataclass(frozen=True, slots=True, kw_only=True)
class _Crossing:
    """Two readings that hold a crossing, and the centre that t is counted from."""

    setting: tuple[float, float]
    amplitude_v: tuple[float, float]
    centre: float | None = None

    def about(self, centre: float) -> "_Crossing":
        """Return the crossing with its t counted from `centre`."""
        return _Crossing(
            setting=self.setting,
            amplitude_v=self.amplitude_v,
            centre=centre,
        )

    def at(self, level_v: float) -> float:
        """Return where the amplitude crosses the level."""
        (f1, f2), (v1, v2), centre = (
            self.setting,
            self.amplitude_v,
            self.centre,
        )
        if v2 <= 0.0 or centre is None or (f1 - centre) * (f2 - centre) < 0.0:
            # A zero has no reciprocal, and across the centre t^2 turns: the chord.
            return f1 + (f2 - f1) * (v1 - level_v) / (v1 - v2)
        t1, t2 = (f1 / centre - centre / f1, f2 / centre - centre / f2)
        share = (level_v**-2 - v1**-2) / (v2**-2 - v1**-2)
        t = math.copysign(math.sqrt(t1 * t1 + share * (t2 * t2 - t1 * t1)), t2)
        return centre * math.exp(math.asinh(0.5 * t))


def _crossing(
    setting: FloatArray, amplitude: FloatArray, level: float
) -> _Crossing | None:
    """Return where the amplitude first falls to the level, walking outwards."""
    below = amplitude <= level
    if not below.any():
        return None
    i = int(np.argmax(below))
    return _Crossing(
        setting=(float(setting[i - 1]), float(setting[i])),
        amplitude_v=(float(amplitude[i - 1]), float(amplitude[i])),
    )
