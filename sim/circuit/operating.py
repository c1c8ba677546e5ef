"""What moves the branches' values: temperature, time, and the coil's own current.

The inductance of a coil on a core falls with the current through it; here as
L0 / (1 + (I / Is)^2), I its r.m.s. current, Is the one at which half is left. The
current depends on the inductance, so the operating point is a root. Where a strong
drive makes several (the resonance curve leans over), the one is taken that is
reached from the inductance before, as a bench that is tuned slowly does.
"""

import math
from collections.abc import Callable

import numpy as np

from .nodal import Circuit, FloatArray, Scale

__all__ = ["OperatingPoint"]

TOLERANCE = 1e-10
MOST_STEPS = 60


class OperatingPoint:
    """The factors on a circuit's values at a time and under a drive.

    Parameters
    ----------
    circuit
        The circuit, whose branches say how they move.
    kelvin_above_reference, warming_k_per_s
        The room's temperature at a time, above the one the values hold for, and how
        fast it rises.

    Attributes
    ----------
    is_fixed
        Nothing ever moves, and the values are what the branches say.
    fastest_per_s
        Relative change per second of the value that drifts most.
    """

    def __init__(
        self,
        circuit: Circuit,
        kelvin_above_reference: Callable[[float], float],
        *,
        warming_k_per_s: float = 0.0,
    ) -> None:
        self._circuit = circuit
        self._kelvin = kelvin_above_reference
        branches = circuit.branches
        self._saturating = [
            i for i, b in enumerate(branches) if not math.isinf(b.saturation_current_a)
        ]
        self._limit_a = [branches[i].saturation_current_a for i in self._saturating]
        self._left = [1.0] * len(self._saturating)

        def column(name: str) -> FloatArray:
            return np.array([getattr(b, name) for b in branches], np.float64)

        self._per_kelvin = (
            column("inductance_per_kelvin"),
            column("capacitance_per_kelvin"),
        )
        self._per_second = (
            column("inductance_per_second"),
            column("capacitance_per_second"),
        )
        self.is_fixed = not circuit.drifts and not self._saturating
        rates = [
            per_kelvin * warming_k_per_s + per_second
            for per_kelvin, per_second in zip(
                self._per_kelvin, self._per_second, strict=True
            )
        ]
        self.fastest_per_s = float(max(np.abs(rate).max() for rate in rates))
        self._constant: Scale | None = None

    def drifted(self, now_s: float) -> Scale:
        """Give the factors of temperature and time alone."""
        if self._constant is not None:
            return self._constant
        kelvin = self._kelvin(now_s)
        inductance, capacitance = (
            1.0 + per_kelvin * kelvin + per_second * now_s
            for per_kelvin, per_second in zip(
                self._per_kelvin, self._per_second, strict=True
            )
        )
        scale = Scale(inductance=inductance, capacitance=capacitance)
        if self.fastest_per_s == 0.0:
            self._constant = scale
        return scale

    def scale(self, now_s: float, *, omega: float, emf_v: float) -> Scale | None:
        """Give the factors under a drive; None where nothing ever moves.

        Parameters
        ----------
        now_s
            The clock.
        omega, emf_v
            Angular frequency and r.m.s. e.m.f. of the fundamental.
        """
        if self.is_fixed:
            return None
        scale = self.drifted(now_s)
        for k in range(len(self._saturating)):
            self._left[k] = self._settle(k, scale, omega, emf_v)
            scale = self._with(scale, k, self._left[k])
        return scale

    def _with(self, scale: Scale, k: int, left: float) -> Scale:
        inductance = scale.inductance.copy()
        inductance[self._saturating[k]] *= left
        return Scale(inductance=inductance, capacitance=scale.capacitance)

    def _settle(self, k: int, scale: Scale, omega: float, emf_v: float) -> float:
        """Find how much of the inductance is left under its own current."""
        s = np.array([1j * omega])
        row = len(self._circuit.nodes) + self._saturating[k]

        def excess(left: float) -> float:
            solution = self._circuit.solve(s, self._with(scale, k, left))
            current = abs(complex(solution[0, row])) * emf_v
            return 1.0 / (1.0 + (current / self._limit_a[k]) ** 2) - left

        return _root_near(excess, self._left[k])


def _root_near(excess: Callable[[float], float], start: float) -> float:
    """Follow the sign of the excess from the start to a root, then close in.

    The excess is above 0 as the fraction left goes to 0, and not above 0 at 1.
    """
    here, value = start, excess(start)
    if abs(value) < TOLERANCE:
        return here
    step = 1e-4
    while True:
        beyond = here + math.copysign(step, value)
        beyond = min(max(beyond, 1e-6), 1.0)
        other = excess(beyond)
        if other * value <= 0.0 or beyond in (1e-6, 1.0):
            break
        here, value, step = beyond, other, 2.0 * step
    for _ in range(MOST_STEPS):
        middle = 0.5 * (here + beyond)
        found = excess(middle)
        if found * value > 0.0:
            here = middle
        else:
            beyond = middle
        if abs(here - beyond) < TOLERANCE:
            break
    return 0.5 * (here + beyond)
