"""What is judged, and what refusing and flagging both ask of it."""

import math
from dataclasses import dataclass

import numpy as np

from ..quantity import FloatArray
from .family_fit import FamilyFit
from .trace import Trace

__all__ = ["BRACKETED", "Judged"]

BRACKETED = 1.0  # half-bandwidths


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """What is judged: the readings used, the fit to them, and its parameters."""

    trace: Trace
    found: FamilyFit
    parameters: FloatArray
    n_refused: int

    @property
    def detuning(self) -> FloatArray:
        """Readings' places in half-bandwidths, shape (N,)."""
        return self.found.response.detuning(self.trace.frequency_hz, self.parameters)

    @property
    def noise(self) -> float:
        """Standard deviation of a reading of unit weight; the larger of two views."""
        spread = self.found.minimum.cost / max(self.found.n_free, 1)
        return math.sqrt(max(spread if self.found.n_free else 0.0, self.found.variance))

    @property
    def strength(self) -> float:
        """How many standard deviations the curve improves on a straight line."""
        trace, weight = self.trace, self.found.weight
        centred = trace.frequency_hz / trace.frequency_hz.mean() - 1.0
        columns = np.stack((np.ones_like(centred), centred)) * np.sqrt(weight)
        y = trace.amplitude_v * np.sqrt(weight)
        normal = columns @ columns.T
        line = np.linalg.lstsq(normal, columns @ y, rcond=None)[0] @ columns
        gain = float(np.sum((y - line) ** 2)) - self.found.minimum.cost
        if gain <= 0.0:
            return 0.0
        # A fit without residuals to speak of is as strong as double precision tells.
        return math.sqrt(gain) / max(self.noise, 1e-9 * math.sqrt(float(y @ y)))
