"""A detector's law: from what it indicates to what is there. No fitting here.

Between its nodes ln(true) is a cubic of ln(indicated) that has the nodes' values and
slopes (Hermite's form), so the law and its slope are continuous. Below the lowest node
it goes on as the power law that it has there, which is what a detector's law does low
down: square for a diode, linear for an r.m.s. one.
"""

import bisect
import itertools
import math
from dataclasses import dataclass

from ..errors import InputError

__all__ = ["WITHIN_DB", "DetectorLaw"]

LEAST_NODES = 2
# Above the highest node the power law there is trusted for another decibel: the
# factor in indicated volts is larger only where the detector is not linear.
ABOVE = 10.0 ** (1.0 / 20.0)
# The peak is fitted out to 6 half-bandwidths, 15.7 dB down; errors are told for a
# little more than that.
WITHIN_DB = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectorLaw:
    """Nodes of a rising law, and its slope at each.

    Attributes
    ----------
    indicated_v
        What the detector indicates, as V r.m.s. of its own scale, shape (N,), > 0,
        rising, N >= 2.
    true_v
        The amplitude there, shape (N,), > 0, rising.
    slope
        d ln(true) / d ln(indicated) there, shape (N,), > 0 (an end's may be 0).
    """

    indicated_v: tuple[float, ...]
    true_v: tuple[float, ...]
    slope: tuple[float, ...]

    def __post_init__(self) -> None:
        """Refuse what is no rising law."""
        columns = (self.indicated_v, self.true_v, self.slope)
        if len({len(column) for column in columns}) != 1:
            raise InputError("a detector's law needs as many nodes in every column")
        if len(self.indicated_v) < LEAST_NODES:
            raise InputError(f"a detector's law needs at least {LEAST_NODES} nodes")
        for name, column in (("indicated", self.indicated_v), ("true", self.true_v)):
            rising = all(a < b for a, b in itertools.pairwise(column))
            if not (rising and column[0] > 0.0 and math.isfinite(column[-1])):
                raise InputError(
                    f"a detector's law must rise: its {name} values do not"
                )
        if not all(slope >= 0.0 and math.isfinite(slope) for slope in self.slope):
            raise InputError("a detector's law must rise: a slope is below zero")

    @property
    def highest_v(self) -> float:
        """Highest indicated value in V that the law is good for."""
        return self.indicated_v[-1] * ABOVE

    @property
    def uncorrected(self) -> float:
        """Largest relative error of a ratio to the top, within 20 dB, without it."""
        top, full_v = self.indicated_v[-1], self.true_v[-1]
        lowest_v = full_v * 10.0 ** (-WITHIN_DB / 20.0)
        return max(
            abs(indicated_v / top * full_v / true_v - 1.0)
            for indicated_v, true_v in zip(self.indicated_v, self.true_v, strict=True)
            if true_v >= lowest_v
        )

    def true_from(self, indicated_v: float) -> float:
        """Amplitude in V r.m.s. where the detector indicates so many V, >= 0.

        References
        ----------
        Hermite's cubic on one interval: M. Abramowitz, I. A. Stegun (1964), 25.2
        (osculating interpolation); from memory.
        """
        if indicated_v <= 0.0:
            return 0.0
        x, y, m = self.indicated_v, self.true_v, self.slope
        after = bisect.bisect_left(x, indicated_v)
        if after in {0, len(x)}:
            end = min(after, len(x) - 1)
            return y[end] * math.pow(indicated_v / x[end], m[end])
        low, high = after - 1, after
        width = math.log(x[high] / x[low])
        rise = math.log(y[high] / y[low])
        s = math.log(indicated_v / x[low]) / width
        cubic = (
            s * s * (3.0 - 2.0 * s) * rise
            + s * (1.0 - s) ** 2 * width * m[low]
            - s * s * (1.0 - s) * width * m[high]
        )
        return y[low] * math.exp(cubic)
