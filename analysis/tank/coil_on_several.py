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
from dataclasses import dataclass, field, replace
from typing import Generic

from scipy import stats

from ..errors import AnalysisError, InputError
from ..fitting import ResonanceFit
from ..quantity import Quantity, Stated
from ..uncertainty import Known, N, Number, named, propagate, stated_in, values_of
from .balance import AtResonance, at_resonance, loop_from
from .correction import Resonance, measured_pair
from .shunt import Shunt
from .tank import Tank, tank_shunt

__all__ = [
    "COMMON_ERROR",
    "EXACT",
    "LINE_UNITS",
    "Capacitor",
    "CoilPoint",
    "Line",
    "capacitors_stated",
    "check_points",
    "deduce_coil_line",
    "known_capacitors",
    "line_through",
    "misfit",
    "places_of",
    "weights_of",
    "with_capacitor",
]

EXACT = Stated(value=0.0)
COMMON_ERROR = "capacitors' common error"
RESOLVED = 4.0  # u from zero: a self-capacitance that has a resonance
LEAST_SPREAD = 1.2  # the largest capacitor over the smallest
LINE_UNITS: Mapping[str, str] = {
    "self_resonant_frequency": "Hz",
    "inductance": "H",
    "self_capacitance": "F",
    "unloaded_q": "1",
    "series_resistance": "ohm",
    "apparent_inductance": "H",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacitor(Generic[N]):
    """A known capacitor, by the name that its inputs have."""

    name: str
    capacitance_f: N = field(metadata=named("capacitor, {0.name}"))
    loss: N = field(metadata=named("capacitor's loss, {0.name}"))


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

    inductance_h: Number
    unknown_f: Number
    resistance_ohm: tuple[Number, ...] = ()
    resonances: tuple[AtResonance, ...] = ()


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


def known_capacitors(points: Sequence[CoilPoint]) -> tuple[Capacitor[Stated], ...]:
    """Give the known capacitors of points, each once."""
    named_so = {
        point.capacitor_name: Capacitor(
            name=point.capacitor_name,
            capacitance_f=point.capacitor_f,
            loss=point.capacitor_loss,
        )
        for point in points
    }
    return tuple(named_so.values())


def capacitors_stated(
    points: Sequence[CoilPoint], *, common: Stated = EXACT
) -> dict[str, Stated]:
    """Give what is stated of the known capacitors, by the names that a budget shows.

    Parameters
    ----------
    points
        The points.
    common
        Relative error that all the capacitors share: zero, with its doubt.
    """
    return {COMMON_ERROR: common} | stated_in(known_capacitors(points))


def places_of(
    points: Sequence[CoilPoint], capacitors: Sequence[Capacitor[Stated]]
) -> tuple[int, ...]:
    """Say which of the capacitors each of the points is on."""
    names = [one.name for one in capacitors]
    return tuple(names.index(point.capacitor_name) for point in points)


def with_capacitor(
    tank: Tank[Number], capacitor: Capacitor[Number], *, common: Number
) -> Tank[Number]:
    """Put a capacitor into a tank, with the error that all of them share."""
    return replace(
        tank,
        capacitor_f=capacitor.capacitance_f * (1.0 + common),
        capacitor_loss=capacitor.loss,
    )


def line_through(
    tanks: Sequence[Tank[Number]],
    measured: Sequence[Resonance[Number]],
    *,
    weights: Sequence[float],
) -> Line:
    """Put the line through the points.

    Parameters
    ----------
    tanks
        The tank at each point, with its known capacitor and without the capacitance
        that the intercept is to hold.
    measured
        Each point's resonance.
    weights
        Each point's; see `weights_of`.
    """
    resonances = [
        at_resonance(tank, one) for tank, one in zip(tanks, measured, strict=True)
    ]
    shunts = [
        tank_shunt(tank, omega=one.omega)
        for tank, one in zip(tanks, resonances, strict=True)
    ]
    rises: list[Number] = [1.0] * len(shunts)  # 1 + R G, which needs the line itself
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Several(Generic[N]):
    """A coil's resonances, each on one of the known capacitors."""

    steps: tuple[str, ...]
    weights: tuple[float, ...]
    places: tuple[int, ...]
    tank: Tank[N]
    common: N = field(metadata=named(COMMON_ERROR))
    capacitors: tuple[Capacitor[N], ...]
    measured: tuple[Resonance[N], ...]

    @classmethod
    def known(
        cls, tank: Tank, *, points: Sequence[CoilPoint], common: Stated
    ) -> "_Several[Known]":
        capacitors = known_capacitors(points)
        return _Several(
            steps=tuple(point.step for point in points),
            weights=weights_of(points),
            places=places_of(points, capacitors),
            tank=tank,
            common=common,
            capacitors=capacitors,
            measured=tuple(measured_pair(one.found, step=one.step) for one in points),
        )


def _tanks(at: _Several[Number]) -> list[Tank[Number]]:
    """Give the tank at each point, without the coil's self-capacitance."""
    bare = replace(at.tank, self_capacitance_f=0.0)
    return [
        with_capacitor(bare, at.capacitors[place], common=at.common)
        for place in at.places
    ]


def _deduction(at: _Several[Number]) -> dict[str, Number]:
    line = line_through(_tanks(at), at.measured, weights=at.weights)
    inductance_h = line.inductance_h - at.tank.lead_h
    found = {"inductance": inductance_h, "self_capacitance": line.unknown_f}
    for step, ohm, one in zip(
        at.steps, line.resistance_ohm, line.resonances, strict=True
    ):
        series_ohm = ohm - at.tank.lead_ohm
        found |= {
            f"unloaded_q, {step}": one.omega * inductance_h / series_ohm,
            f"series_resistance, {step}": series_ohm,
            f"apparent_inductance, {step}": inductance_h
            / (1.0 - one.omega**2 * inductance_h * line.unknown_f),
        }
    return found


def _with_resonance(at: _Several[Number]) -> dict[str, Number]:
    found = _deduction(at)
    product = found["inductance"] * found["self_capacitance"]
    return {"self_resonant_frequency": product**-0.5 / (2.0 * math.pi)} | found


def deduce_coil_line(
    tank: Tank, *, points: Sequence[CoilPoint], common: Stated = EXACT
) -> tuple[Quantity, ...]:
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
    tuple of Quantity
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
    known = _Several.known(tank, points=points, common=common)
    found = propagate(_deduction, known, units=LINE_UNITS)
    own = next(one for one in found if one.name == "self_capacitance")
    # A self-capacitance that may be nothing has no resonance to speak of.
    if own.value < RESOLVED * own.standard_uncertainty or own.limits[0] <= 0.0:
        return found
    try:
        return propagate(_with_resonance, known, units=LINE_UNITS)
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
    known = _Several.known(tank, points=points, common=EXACT)
    plain: _Several[float] = values_of(known)
    tanks = _tanks(plain)
    line = line_through(tanks, plain.measured, weights=plain.weights)
    total = 0.0
    for point, at, resonance in zip(points, tanks, line.resonances, strict=True):
        across_f = tank_shunt(at, omega=resonance.omega).capacitance_f
        on_line = line.inductance_h * (across_f + line.unknown_f)
        distance = resonance.omega**-2.0 - on_line
        total += distance**2 * _weight(point, inductance_h=line.inductance_h)
    return float(stats.chi2.sf(total, free))


def _with(shunt: Shunt, unknown_f: Number) -> Shunt:
    return Shunt(
        capacitance_f=shunt.capacitance_f + unknown_f,
        conductance_s=shunt.conductance_s,
    )


def weights_of(points: Sequence[CoilPoint]) -> tuple[float, ...]:
    """Weigh the points, with the slope taken from the two outermost."""
    ordered = sorted(points, key=lambda point: point.capacitor_f.value)
    low, high = ordered[0], ordered[-1]
    slope = (_ordinate(high) - _ordinate(low)) / (
        high.capacitor_f.value - low.capacitor_f.value
    )
    weights = [_weight(point, inductance_h=slope) for point in points]
    largest = max(weights)
    return tuple(weight / largest for weight in weights)


def _weight(point: CoilPoint, *, inductance_h: float) -> float:
    relative = 2.0 * point.found.u_resonant_frequency_hz
    own = _ordinate(point) * relative / point.found.resonant_frequency_hz
    across = inductance_h * point.capacitor_f.u
    floor = 1e-9 * _ordinate(point)  # exact inputs would weigh without bound
    return 1.0 / (own**2 + across**2 + floor**2)


def _ordinate(point: CoilPoint) -> float:
    return float((2.0 * math.pi * point.found.resonant_frequency_hz) ** -2.0)


def _line(
    abscissas: Sequence[Number],
    ordinates: Sequence[Number],
    *,
    weights: Sequence[float],
) -> Line:
    """Put a weighted least-squares line through points."""
    total = math.fsum(weights)
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
