"""A coil on several known capacitors: a straight line.

At each of them the balance of `halfpower.analysis.tank.balance` holds with the same L,
so

    (1 + R G)/w^2 = L (K + C0),

K all that is known across the coil and C0 what is not (the coil's self-capacitance,
the fixture's stray where it is asked for): the slope is L, the intercept L C0. Both
axes are uncertain. The weights are each point's inverse variance (that of K carried to
the other axis by the slope), and the doubt of every input is carried through the line
by `propagate`, so that what the points have in common (a scale, a stray, the
generator's reference) is not averaged away.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy import stats

from ..errors import AnalysisError, InputError
from ..fitting import ResonanceFit
from ..quantity import Stated
from ..uncertainty import Deduced, propagate
from .balance import AtResonance, at_resonance, loop_from
from .correction import measured_pair
from .tank import Tank, tank_shunt

__all__ = [
    "CoilPoint",
    "Line",
    "check_points",
    "deduce_coil_line",
    "line_through",
    "misfit",
    "point_inputs",
]

EXACT = Stated(value=0.0)
SELF = ("coil's self-capacitance",)
RESOLVED = 4.0  # u from zero: a self-capacitance that has a resonance
LEAST_SPREAD = 1.2  # the largest capacitor over the smallest


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoilPoint:
    """One known capacitor across the coil, and the resonance that it gave.

    Attributes
    ----------
    step
        What the point is called.
    capacitor_f, capacitor_loss
        The known capacitor in F and its dissipation factor.
    found
        The fit.
    capacitor
        What the capacitor is called, where it is used with several coils; empty: after
        the step.
    """

    step: str
    capacitor_f: Stated
    capacitor_loss: Stated
    found: ResonanceFit
    capacitor: str = ""

    @property
    def capacitor_name(self) -> str:
        """The name that the capacitor's inputs have."""
        return self.capacitor or self.step


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Slope and intercept of a line, as L in H and C0 in F, and the points' R and Q.

    Attributes
    ----------
    inductance_h, unknown_f
        Of the loop, and what is across it beside the known.
    resistance_ohm
        The loop's series resistance at each point.
    resonances
        Each point's resonance.
    """

    inductance_h: Any
    unknown_f: Any
    resistance_ohm: tuple[Any, ...] = field(default=())
    resonances: tuple[AtResonance, ...] = field(default=())


def check_points(points: Sequence[CoilPoint]) -> None:
    """Refuse points that make no line.

    Raises
    ------
    InputError
        Fewer than two, two of one name, or capacitors too alike.
    """
    if len(points) < 2:  # noqa: PLR2004 - a line
        raise InputError("a straight line takes two known capacitors or more")
    names = [point.step for point in points]
    if len(set(names)) < len(names):
        raise InputError(f"two capacitors are called the same: {', '.join(names)}")
    values = sorted(point.capacitor_f.value for point in points)
    if values[-1] < LEAST_SPREAD * values[0]:
        raise InputError(
            f"the known capacitors, {values[0] * 1e12:.4g} to {values[-1] * 1e12:.4g} "
            "pF, are too alike to make a line; take them further apart, three to one "
            "if you can"
        )


def point_inputs(
    points: Sequence[CoilPoint], *, common: Stated = EXACT
) -> dict[str, Stated]:
    """Give the known capacitors' stated values by the names that a budget shows.

    Parameters
    ----------
    points
        The points.
    common
        Relative error that all the capacitors share: zero, with its doubt.
    """
    stated = {"capacitors' common error": common}
    for point in points:
        stated[f"capacitor, {point.capacitor_name}"] = point.capacitor_f
        stated[f"capacitor's loss, {point.capacitor_name}"] = point.capacitor_loss
    return stated


def line_through(
    inputs: Mapping[str, Any], *, points: Sequence[CoilPoint], left_out: Sequence[str]
) -> Line:
    """Put the line through the points; plain arithmetic.

    Parameters
    ----------
    inputs
        The tank's stated values, the capacitors' and the pairs, by name.
    points
        The points; their stated values weigh them.
    left_out
        Capacitances of the tank that the intercept is to hold, by name.
    """
    resonances = [at_resonance(inputs, step=point.step) for point in points]
    shunts = [
        tank_shunt(
            _across(inputs, point=point) | dict.fromkeys(left_out, 0.0), omega=one.omega
        )
        for point, one in zip(points, resonances, strict=True)
    ]
    weights = _weights(points)
    rises = [1.0] * len(points)  # 1 + R G, which needs the line itself
    for _ in range(2):
        ordinates = [
            rise / one.omega**2 for rise, one in zip(rises, resonances, strict=True)
        ]
        line = _line([one.capacitance_f for one in shunts], ordinates, weights=weights)
        loops = [
            loop_from(one, shunt=_with(shunt, line.unknown_f))
            for one, shunt in zip(resonances, shunts, strict=True)
        ]
        rises = [
            1.0 + loop.resistance_ohm * shunt.conductance_s
            for loop, shunt in zip(loops, shunts, strict=True)
        ]
    return Line(
        inductance_h=line.inductance_h,
        unknown_f=line.unknown_f,
        resistance_ohm=tuple(loop.resistance_ohm for loop in loops),
        resonances=tuple(resonances),
    )


def deduce_coil_line(
    tank: Tank, *, points: Sequence[CoilPoint], common: Stated = EXACT
) -> tuple[Deduced, ...]:
    """Deduce a coil's inductance, self-capacitance and losses from several resonances.

    Parameters
    ----------
    tank
        Everything known but the coil; its resonating capacitor and self-capacitance are
        not used.
    points
        Two or more known capacitors with their resonances.
    common
        Relative error that all the capacitors share: zero, with its doubt.

    Returns
    -------
    tuple of Deduced
        ``self_resonant_frequency`` (of the coil alone, where its self-capacitance is
        clear of zero), ``inductance``, ``self_capacitance``, then for every point, with
        its name after a comma, ``unloaded_q``, ``series_resistance`` and
        ``apparent_inductance``.

    Raises
    ------
    InputError
        The points make no line.
    AnalysisError
        The doubt of the inputs is so large that a result is not finite.
    """
    check_points(points)

    def deduction(inputs: Mapping[str, Any]) -> dict[str, Any]:
        line = line_through(inputs, points=points, left_out=SELF)
        inductance_h = line.inductance_h - inputs["lead inductance"]
        found = {"inductance": inductance_h, "self_capacitance": line.unknown_f}
        for point, ohm, one in zip(
            points, line.resistance_ohm, line.resonances, strict=True
        ):
            series_ohm = ohm - inputs["lead resistance"]
            found |= {
                f"unloaded_q, {point.step}": one.omega * inductance_h / series_ohm,
                f"series_resistance, {point.step}": series_ohm,
                f"apparent_inductance, {point.step}": inductance_h
                / (1.0 - one.omega**2 * inductance_h * line.unknown_f),
            }
        return found

    def with_resonance(inputs: Mapping[str, Any]) -> dict[str, Any]:
        found = deduction(inputs)
        product = found["inductance"] * found["self_capacitance"]
        return {"self_resonant_frequency": product**-0.5 / (2.0 * math.pi)} | found

    stated = {**tank.stated, **point_inputs(points, common=common)}
    measured = tuple(measured_pair(one.found, step=one.step) for one in points)
    found = propagate(deduction, stated=stated, measured=measured)
    own = next(one for one in found if one.name == "self_capacitance")
    # A self-capacitance that may be nothing has no resonance to speak of.
    if own.value < RESOLVED * own.u or own.interval[0] <= 0.0:
        return found
    try:
        return propagate(with_resonance, stated=stated, measured=measured)
    except AnalysisError:  # a draw in a hundred thousand was below zero
        return found


def misfit(tank: Tank, *, points: Sequence[CoilPoint]) -> float | None:
    """Give the chance of points lying so far off a line; None with only two.

    Chi-squared of the points' distances from the line over their own uncertainties
    (what they share moves them together and is left out).
    """
    free = len(points) - 2
    if free < 1:
        return None
    plain = {name: one.value for name, one in tank.stated.items()}
    plain |= {name: one.value for name, one in point_inputs(points).items()}
    for point in points:
        pair = measured_pair(point.found, step=point.step)
        plain |= dict(zip(pair.names, pair.values, strict=True))
    line = line_through(plain, points=points, left_out=SELF)
    total = 0.0
    for point, resonance in zip(points, line.resonances, strict=True):
        shunt = tank_shunt(
            _across(plain, point=point) | dict.fromkeys(SELF, 0.0),
            omega=resonance.omega,
        )
        on_line = line.inductance_h * (shunt.capacitance_f + line.unknown_f)
        distance = resonance.omega**-2.0 - on_line
        total += distance**2 * _weight(point, inductance_h=line.inductance_h)
    return float(stats.chi2.sf(total, free))


def _across(inputs: Mapping[str, Any], *, point: CoilPoint) -> dict[str, Any]:
    """Put one point's capacitor into the tank."""
    scale = 1.0 + inputs["capacitors' common error"]
    return {
        **inputs,
        "resonating capacitor": inputs[f"capacitor, {point.capacitor_name}"] * scale,
        "resonating capacitor's loss": inputs[
            f"capacitor's loss, {point.capacitor_name}"
        ],
    }


def _with(shunt: Any, unknown_f: Any) -> Any:
    return type(shunt)(
        capacitance_f=shunt.capacitance_f + unknown_f,
        conductance_s=shunt.conductance_s,
    )


def _weights(points: Sequence[CoilPoint]) -> list[float]:
    """Weigh the points, with the slope taken from the two outermost."""
    ordered = sorted(points, key=lambda point: point.capacitor_f.value)
    low, high = ordered[0], ordered[-1]
    slope = (_ordinate(high) - _ordinate(low)) / (
        high.capacitor_f.value - low.capacitor_f.value
    )
    weights = [_weight(point, inductance_h=slope) for point in points]
    largest = max(weights)
    return [weight / largest for weight in weights]


def _weight(point: CoilPoint, *, inductance_h: float) -> float:
    relative = 2.0 * point.found.u_resonant_frequency_hz
    own = _ordinate(point) * relative / point.found.resonant_frequency_hz
    across = inductance_h * point.capacitor_f.u
    floor = 1e-9 * _ordinate(point)  # exact inputs would weigh without bound
    return 1.0 / (own**2 + across**2 + floor**2)


def _ordinate(point: CoilPoint) -> float:
    return float((2.0 * math.pi * point.found.resonant_frequency_hz) ** -2.0)


def _line(abscissas: Sequence[Any], ordinates: Sequence[Any], *, weights: Any) -> Line:
    """Put a weighted least-squares line through points; arithmetic only."""
    total = float(np.sum(weights))
    share = [weight / total for weight in weights]
    mean_k = sum(w * k for w, k in zip(share, abscissas, strict=True))
    mean_y = sum(w * y for w, y in zip(share, ordinates, strict=True))
    cross = sum(
        w * (k - mean_k) * (y - mean_y)
        for w, k, y in zip(share, abscissas, ordinates, strict=True)
    )
    square = sum(w * (k - mean_k) ** 2 for w, k in zip(share, abscissas, strict=True))
    slope = cross / square
    return Line(inductance_h=slope, unknown_f=mean_y / slope - mean_k)
