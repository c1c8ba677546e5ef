"""A prediction: what a part should be, from what is stated of it, and how surely.

A deduction is a plain function of floats. Every stated input is moved by its standard
uncertainty to either side; half the difference is its contribution (JCGM 100:2008,
5.1.3, note 2), which needs no derivative of elliptic functions or tables. What the
model itself is worth enters as an input too, by its own name in the budget.

The 95 % intervals are those of drawn inputs (JCGM 101:2008, clause 7). A deduction
that solves integral equations cannot be run on every draw; it is run along each input
by itself, over its whole range, and the effects of the inputs multiply: exact wherever
a result is a product of functions of one input each.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from ..errors import InputError
from ..quantity import Caution, Contribution, Quantity, Stated

__all__ = ["Prediction", "predicted_quantities", "refuse_wide"]

Deduction = Callable[[Mapping[str, float]], Mapping[str, float]]
FloatArray = NDArray[np.float64]

WIDEST = 1.0 / 3.0  # relative: a dimension known worse than that predicts nothing
DRAWS = 100_000  # JCGM 101, 7.2.2
SEED = 101  # the same inputs give the same interval, to the last digit
STEPS = 7  # of a deduction along one input
FINE = 401  # of the curve through them
# How far an input is followed, in its standard uncertainties: a rectangular one to its
# limits, a normal one to where 0.3 % of the draws are left, which are put there.
REACH = {"rectangular": math.sqrt(3.0), "normal": 3.0 * (1.0 - 1e-6)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What is expected of a part that nobody has measured yet.

    Attributes
    ----------
    kind
        ``coil``, ``toroid``, ``plates`` or ``resonance``.
    title
        What is predicted, in words.
    inputs
        What was stated, by name, as text.
    quantities
        What follows, in SI, with standard uncertainties, 95 % intervals and budgets.
    remarks
        What belongs beside the numbers, a sentence each.
    warnings
        What must be known before they are believed.
    """

    kind: str
    title: str
    inputs: tuple[tuple[str, str], ...]
    quantities: tuple[Quantity, ...]
    remarks: tuple[str, ...] = ()
    warnings: tuple[Caution, ...] = ()

    def __getitem__(self, name: str) -> Quantity:
        """Return a quantity by its name; `KeyError` where there is none."""
        for quantity in self.quantities:
            if quantity.name == name:
                return quantity
        raise KeyError(name)


def refuse_wide(stated: Mapping[str, Stated], *, whose: str) -> None:
    """Refuse inputs whose doubt leaves nothing to lean on.

    Raises
    ------
    InputError
        A standard uncertainty is a third of its value or more.
    """
    for name, one in stated.items():
        if one.u >= WIDEST * abs(one.value):
            raise InputError(
                f"the {whose} {name} is stated so widely that no prediction can lean "
                "on it; state it to better than a third",
                name=name,
            )


def predicted_quantities(
    deduction: Deduction, *, stated: Mapping[str, Stated], units: Mapping[str, str]
) -> tuple[Quantity, ...]:
    """Deduce from stated inputs, with uncertainties, 95 % intervals and budgets.

    Parameters
    ----------
    deduction
        Takes values by the names of ``stated`` and returns results by name, SI; the
        results are above zero over the whole of the inputs' ranges.
    stated
        The inputs, independent of one another, by the names a budget shows.
    units
        The results wanted, in order, with their units; a result that the deduction
        leaves out is left out.

    Returns
    -------
    tuple of Quantity
        In the order of ``units``; without an interval where nothing is in doubt.

    Raises
    ------
    InputError
        The doubt of the inputs leaves a result without a finite value above zero.

    Notes
    -----
    The intervals' ends are those of a deduction run on every draw to 4 % of the
    standard uncertainty where dimensions are known to a few per cent, to 20 % of it
    where all of them are known to 15 % (tests/analysis/test_prediction.py).
    """
    doubtful = {name: one for name, one in stated.items() if one.u}
    centre = {name: one.value for name, one in stated.items()}
    values = deduction(centre)
    names = [name for name in units if name in values]
    _refuse(values, names)
    curves = {
        source: _along(deduction, centre, wanted=names, moved=(source, one))
        for source, one in doubtful.items()
    }
    found = []
    for name in names:
        budget = _budget(curves, name)
        u = math.sqrt(sum(part.u**2 for part in budget))
        found.append(
            Quantity(
                name=name,
                value=values[name],
                unit=units[name],
                standard_uncertainty=u,
                budget=budget,
            )
        )
    return _with_intervals(found, curves, doubtful)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Curve:
    """A deduction's results along one input: at its ends, and one u to each side."""

    offset: FloatArray  # of the input, in its standard uncertainties
    results: Sequence[Mapping[str, float]]
    up: Mapping[str, float]
    down: Mapping[str, float]

    def relative(self, name: str, *, value: float, at: "_Drawn") -> FloatArray:
        """Give ln(result/value) at drawn values of the input."""
        logs = [math.log(one[name] / value) for one in self.results]
        fine = np.linspace(self.offset[0], self.offset[-1], FINE)
        curve = PchipInterpolator(self.offset, logs)(fine)
        step = np.append(np.diff(curve), 0.0)
        return np.asarray(curve[at.below] + at.fraction * step[at.below])


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


def _along(
    deduction: Deduction,
    centre: Mapping[str, float],
    *,
    wanted: Sequence[str],
    moved: tuple[str, Stated],
) -> _Curve:
    source, stated = moved
    reach = REACH[stated.distribution]
    offset = np.linspace(-reach, reach, STEPS)

    def at(steps: float) -> Mapping[str, float]:
        found = deduction({**centre, source: stated.value + steps * stated.u})
        _refuse(found, wanted)
        return found

    return _Curve(
        offset=offset,
        results=[at(float(steps)) for steps in offset],
        up=at(1.0),
        down=at(-1.0),
    )


def _refuse(values: Mapping[str, float], names: Sequence[str]) -> None:
    for name in names:
        if not (math.isfinite(values[name]) and values[name] > 0.0):
            raise InputError(
                f"the doubt of what was stated leaves {name.replace('_', ' ')} without "
                "a finite value above zero; state it more closely",
                name=name,
            )


def _budget(curves: Mapping[str, _Curve], name: str) -> tuple[Contribution, ...]:
    parts = [
        Contribution(source=source, u=abs(curve.up[name] - curve.down[name]) / 2.0)
        for source, curve in curves.items()
    ]
    return tuple(
        sorted((part for part in parts if part.u > 0.0), key=lambda part: -part.u)
    )


def _with_intervals(
    found: Sequence[Quantity],
    curves: Mapping[str, _Curve],
    doubtful: Mapping[str, Stated],
) -> tuple[Quantity, ...]:
    rng = np.random.default_rng(SEED)
    drawn = {name: _Drawn.of(one, rng) for name, one in doubtful.items()}
    done = []
    for one in found:
        if not one.budget:
            done.append(one)
            continue
        log = np.zeros(DRAWS)
        for part in one.budget:
            curve = curves[part.source]
            log += curve.relative(one.name, value=one.value, at=drawn[part.source])
        low, high = np.exp(np.quantile(log, (0.025, 0.975))) * one.value
        done.append(replace(one, interval=(float(low), float(high))))
    return tuple(done)
