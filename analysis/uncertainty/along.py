"""Coverage intervals of a deduction that cannot be run on every draw.

A deduction that solves integral equations is run along each input by itself, over its
whole range, and the effects of the inputs multiply: exact wherever a result is a
product of functions of one input each. The curves are then drawn from
(JCGM 101:2008, clause 7).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from ..quantity import FloatArray, Quantity, Stated
from .monte_carlo import DRAWS, SEED
from .record import Inputs, Number, Record
from .sensitivity import Deduction

__all__ = ["with_intervals_along"]

STEPS = 7  # of a deduction along one input
FINE = 401  # of the curve through them
# How far an input is followed, in its standard uncertainties: a rectangular one to its
# limits, a normal one to where 0.3 % of the draws are left, which are put there.
REACH = {"rectangular": math.sqrt(3.0), "normal": 3.0 * (1.0 - 1e-6)}


def with_intervals_along(
    found: Sequence[Quantity], deduction: Deduction[Record], record: Record
) -> tuple[Quantity, ...]:
    """Give a single part's quantities their 95 % intervals.

    Parameters
    ----------
    found
        With their budgets; without one a quantity stays without an interval.
    deduction, record
        What they came from: stated inputs alone, and results above zero over the
        whole of the inputs' ranges.

    Notes
    -----
    The intervals' ends are those of a deduction run on every draw to 4 % of the
    standard uncertainty where dimensions are known to a few per cent, to 20 % of it
    where all of them are known to 15 % (tests/analysis/predict/test_prediction.py).
    """
    rng, inputs = np.random.default_rng(SEED), Inputs(record)
    for leaf, stated in inputs.stated():
        leaf.put(stated.value)
    curves: dict[str, _Curve] = {}
    for leaf, stated in inputs.stated():
        if not stated.u:
            continue
        reach = REACH[stated.distribution]
        offset = np.linspace(-reach, reach, STEPS)
        results = []
        for steps in offset:
            leaf.put(stated.value + float(steps) * stated.u)
            results.append(deduction(inputs.record))
        leaf.put(stated.value)
        curves[leaf.source] = _Curve(
            offset=offset, results=results, drawn=_Drawn.of(stated, rng)
        )
    return tuple(_with_interval(one, curves) for one in found)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Drawn:
    """Drawn values of an input, as places between the points of a fine curve."""

    below: NDArray[np.intp]
    fraction: FloatArray

    @classmethod
    def of(cls, stated: Stated, rng: np.random.Generator) -> "_Drawn":
        """Draw; what is beyond the curve's reach is put at its end."""
        unit = Stated(value=0.0, u=1.0, distribution=stated.distribution)
        reach = REACH[stated.distribution]
        offset = np.clip(unit.draw(rng, size=DRAWS), -reach, reach)
        place = (offset / reach + 1.0) / 2.0 * (FINE - 1)
        below = np.floor(place).astype(np.intp)
        return cls(below=below, fraction=place - below)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Curve:
    """A deduction's results along one input, and the draws of that input."""

    offset: FloatArray  # of the input, in its standard uncertainties
    results: Sequence[Mapping[str, Number]]
    drawn: _Drawn

    def relative(self, name: str, *, value: float) -> FloatArray:
        """Give ln(result/value) at the drawn values."""
        logs = [math.log(one[name] / value) for one in self.results]
        fine = np.linspace(self.offset[0], self.offset[-1], FINE)
        curve = PchipInterpolator(self.offset, logs)(fine)
        step = np.append(np.diff(curve), 0.0)
        drawn = self.drawn
        return np.asarray(curve[drawn.below] + drawn.fraction * step[drawn.below])


def _with_interval(one: Quantity, curves: Mapping[str, _Curve]) -> Quantity:
    if not one.budget:
        return one
    log = np.zeros(DRAWS)
    for part in one.budget:
        log += curves[part.source].relative(one.name, value=one.value)
    low, high = np.exp(np.quantile(log, (0.025, 0.975))) * one.value
    return replace(one, interval=(float(low), float(high)))
