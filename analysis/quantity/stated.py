"""What is stated of a quantity beforehand: a value, and how far it may be off.

An input that was not measured here (a capacitor's marking, a probe's data sheet)
enters the uncertainty with a distribution (JCGM 100:2008, 4.3). Two are enough:
limits with nothing known between them (rectangular, 4.3.7) and a stated standard
uncertainty (normal, 4.3.6).
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError

__all__ = ["Distribution", "Stated"]

Distribution = Literal["normal", "rectangular"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """A value with its standard uncertainty, both in the same SI unit.

    Attributes
    ----------
    value
        The best estimate.
    u
        Standard uncertainty, same unit, >= 0; 0 means "taken as exact".
    distribution
        ``rectangular``: the limits are value +/- sqrt(3) u.
    """

    value: float
    u: float = 0.0
    distribution: Distribution = "normal"

    def __post_init__(self) -> None:
        """Refuse what is not a number or has no width."""
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0.0):
            raise InputError(
                f"a stated value must be finite and its uncertainty 0 or more, "
                f"not {self.value:g} with {self.u:g}",
                value=self.value,
                u=self.u,
            )

    @classmethod
    def within(cls, value: float, *, half_width: float) -> "Stated":
        """Limits value +/- half_width, nothing known between (JCGM 100, 4.3.7)."""
        u = abs(half_width) / math.sqrt(3.0)
        return cls(value=value, u=u, distribution="rectangular")

    def draw(self, rng: np.random.Generator, *, size: int) -> NDArray[np.float64]:
        """Draw values as JCGM 101:2008, 6.4 assigns them, shape (size,)."""
        if self.distribution == "rectangular":
            half_width = math.sqrt(3.0) * self.u
            return self.value + half_width * rng.uniform(-1.0, 1.0, size)
        return self.value + self.u * rng.standard_normal(size)
