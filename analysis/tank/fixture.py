"""What a fixture adds: its stray capacitance, and how its detector loads the tank.

*Stray.* Over several known capacitors a coil gives a straight line whose intercept is
all that is across it and not known (`halfpower.analysis.tank.coil_on_several`): its own
capacitance and the fixture's stray. The coil's share is a stated estimate; a second
coil, with an estimate of its own, gives the stray a second time, and the mean of both,
weighted by their uncertainties, is the better for it.

*Loading.* A second probe like the first, put beside it, is a capacitor with a loss like
any other (`halfpower.analysis.tank.attached`): what it adds is what the first one has.
Or a coil of known Q: what its tank loses more than it does is the fixture's,

    G = (1/Q - 1/Qc) w0 T, but for what the known capacitor and the couplings take.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Generic

from ..errors import AnalysisError
from ..fitting import ResonanceFit
from ..quantity import Quantity, Stated
from ..uncertainty import Known, N, Number, first_order, named, propagate
from .attached import REFERENCE, Steps, attached_shunt
from .balance import Loop, at_resonance, loop_from, shunt_from
from .coil_on_several import (
    COMMON_ERROR,
    EXACT,
    Capacitor,
    CoilPoint,
    Line,
    check_points,
    known_capacitors,
    line_through,
    places_of,
    weights_of,
    with_capacitor,
)
from .correction import Resonance, measured_pair
from .tank import Tank, tank_shunt

__all__ = [
    "FIXTURE_UNITS",
    "PROBE",
    "FixtureCoil",
    "deduce_loading",
    "deduce_probe",
    "deduce_stray",
]

CLEAR = 3.0  # standard uncertainties from zero
PROBE = "second probe"
FIXTURE_UNITS: Mapping[str, str] = {
    "stray_capacitance": "F",
    "probe_capacitance": "F",
    "probe_resistance": "ohm",
    "inductance": "H",
    "conductance": "S",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FixtureCoil:
    """A work coil on the fixture, with its resonances on the known capacitors.

    Attributes
    ----------
    name
        What it is called.
    self_capacitance_f
        Its own, in F, estimated or measured elsewhere.
    points
        Two or more.
    """

    name: str
    self_capacitance_f: Stated
    points: tuple[CoilPoint, ...]


def deduce_stray(
    tank: Tank, *, coils: Sequence[FixtureCoil], common: Stated = EXACT
) -> tuple[Quantity, ...]:
    """Deduce a fixture's stray capacitance.

    Parameters
    ----------
    tank
        The fixture's other constants; its stray, resonating capacitor and
        self-capacitance are not used.
    coils
        One or more, on the same known capacitors.
    common
        Relative error that all the capacitors share: zero, with its doubt.

    Returns
    -------
    tuple of Quantity
        ``stray_capacitance``, then each coil's ``inductance`` with the coil's name
        after a comma.

    Raises
    ------
    InputError
        A coil's points make no line.
    AnalysisError
        The stray comes out below zero.
    """
    for coil in coils:
        check_points(coil.points)
    known = _known_strays(tank, coils=coils, common=common)
    u = first_order(_strays, known).u[0]
    weights = [float(one) ** -2.0 if one else 1.0 for one in u]
    known = replace(known, shares=tuple(one / sum(weights) for one in weights))
    result = propagate(_mean_stray, known, units=FIXTURE_UNITS)
    stray = result[0]
    if stray.limits[1] <= 0.0:
        raise AnalysisError(
            f"the stray comes out as {stray.value * 1e12:.3g} pF, and no fixture is "
            "below zero: a coil's self-capacitance, the probe's capacitance or a known "
            "capacitor is stated too large",
            stray_f=stray.value,
        )
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class _Own(Generic[N]):
    """A work coil's self-capacitance, and its resonances on known capacitors."""

    name: str
    places: tuple[int, ...]
    weights: tuple[float, ...]
    self_capacitance_f: N = field(metadata=named("self-capacitance of {0.name}"))
    measured: tuple[Resonance[N], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Strays(Generic[N]):
    """Work coils on a fixture; their shares in the mean of what they tell of it."""

    shares: tuple[float, ...] = ()
    tank: Tank[N]
    first: _Own[N]
    common: N = field(metadata=named(COMMON_ERROR))
    capacitors: tuple[Capacitor[N], ...]
    others: tuple[_Own[N], ...]


def _known_strays(
    tank: Tank, *, coils: Sequence[FixtureCoil], common: Stated
) -> _Strays[Known]:
    capacitors = known_capacitors([one for coil in coils for one in coil.points])
    stated: Tank[Known] = tank
    owns: list[_Own[Known]] = [
        _Own(
            name=coil.name,
            places=places_of(coil.points, capacitors),
            weights=weights_of(coil.points),
            self_capacitance_f=coil.self_capacitance_f,
            measured=tuple(
                measured_pair(point.found, step=point.step) for point in coil.points
            ),
        )
        for coil in coils
    ]
    return _Strays(
        tank=replace(stated, self_capacitance_f=0.0),  # each coil has its own
        first=owns[0],
        common=common,
        capacitors=capacitors,
        others=tuple(owns[1:]),
    )


def _lines(at: _Strays[Number]) -> list[Line]:
    """Put each coil's line through its points; the intercept holds the stray."""
    return [
        line_through(
            [
                with_capacitor(
                    replace(
                        at.tank,
                        stray_f=0.0,
                        self_capacitance_f=coil.self_capacitance_f,
                    ),
                    at.capacitors[place],
                    common=at.common,
                )
                for place in coil.places
            ],
            coil.measured,
            weights=coil.weights,
        )
        for coil in (at.first, *at.others)
    ]


def _strays(at: _Strays[Number]) -> dict[str, Number]:
    return {str(n): line.unknown_f for n, line in enumerate(_lines(at))}


def _mean_stray(at: _Strays[Number]) -> dict[str, Number]:
    lines = _lines(at)
    stray = sum(
        share * line.unknown_f for share, line in zip(at.shares, lines, strict=True)
    )
    return {"stray_capacitance": stray} | {
        f"inductance, {coil.name}": line.inductance_h - at.tank.lead_h
        for coil, line in zip((at.first, *at.others), lines, strict=True)
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class _Probes(Generic[N]):
    """The resonances without a second probe and with it."""

    steps: Steps[N]
    alike: N = field(metadata=named("second probe's likeness"))


def _probe(at: _Probes[Number]) -> dict[str, Number]:
    added, _ = attached_shunt(
        at.steps.tank, before=at.steps.before, loaded=at.steps.loaded
    )
    conductance = added.conductance_s * (1.0 + at.alike)
    return {
        "probe_capacitance": added.capacitance_f * (1.0 + at.alike),
        "probe_resistance": 1.0 / conductance,
        "conductance": conductance,
    }


def deduce_probe(
    tank: Tank, *, reference: ResonanceFit, loaded: ResonanceFit, alike: Stated
) -> tuple[Quantity, ...]:
    """Deduce what a probe puts across the tank from a second one beside it.

    Parameters
    ----------
    tank
        Everything known of the tank but its coil.
    reference, loaded
        The fits without the second probe and with it.
    alike
        Relative difference of the two: zero, with its doubt.

    Returns
    -------
    tuple of Quantity
        ``probe_capacitance`` and ``probe_resistance`` at the second resonance.

    Raises
    ------
    AnalysisError
        The second probe took nothing from the tank.
    """
    known: _Probes[Known] = _Probes(
        steps=Steps.known(
            tank,
            before=measured_pair(reference, step=REFERENCE),
            loaded=measured_pair(loaded, step=PROBE),
        ),
        alike=alike,
    )
    *found, conductance = propagate(_probe, known, units=FIXTURE_UNITS)
    _refuse_unloaded(conductance)
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Loaded(Generic[N]):
    """A tank's resonance with a coil of known Q."""

    tank: Tank[N]
    resonance: Resonance[N]
    coil_q: N = field(metadata=named("coil's Q"))


def _loading(at: _Loaded[Number]) -> dict[str, Number]:
    here = at_resonance(at.tank, at.resonance)
    rest = tank_shunt(replace(at.tank, probe_ohm=1e18), omega=here.omega)
    henry = loop_from(here, shunt=rest).inductance_h
    loop = Loop(
        resistance_ohm=here.omega * henry / at.coil_q + at.tank.lead_ohm,
        inductance_h=henry,
    )
    conductance = shunt_from(here, loop=loop).conductance_s - rest.conductance_s
    return {"probe_resistance": 1.0 / conductance, "conductance": conductance}


def deduce_loading(
    tank: Tank, *, found: ResonanceFit, coil_q: Stated
) -> tuple[Quantity, ...]:
    """Deduce the probe's resistance from a coil of known Q.

    Parameters
    ----------
    tank
        Everything known of the tank but its coil and the probe's resistance.
    found
        The fit with that coil.
    coil_q
        The coil's unloaded Q at that frequency.

    Returns
    -------
    tuple of Quantity
        ``probe_resistance``: of all that is not accounted for otherwise.

    Raises
    ------
    AnalysisError
        The tank loses less than the coil alone would.
    """
    known: _Loaded[Known] = _Loaded(
        tank=tank, resonance=measured_pair(found), coil_q=coil_q
    )
    resistance, conductance = propagate(_loading, known, units=FIXTURE_UNITS)
    _refuse_unloaded(conductance)
    return (resistance,)


def _refuse_unloaded(conductance: Quantity) -> None:
    """Refuse a loading that is not clear of zero.

    Raises
    ------
    AnalysisError
        It is not, and its inverse would be any resistance at all.
    """
    u = conductance.standard_uncertainty
    if conductance.value < -CLEAR * u:
        raise AnalysisError(
            "the tank loses less than the coil of the Q that was stated would by "
            "itself: its Q is stated too low",
            conductance_s=conductance.value,
        )
    if conductance.value < CLEAR * u or conductance.limits[0] <= 0.0:
        raise AnalysisError(
            "the loading does not stand out of its uncertainty (a conductance of "
            f"{conductance.value * 1e9:.3g} nS ± {2e9 * u:.2g} nS): the "
            "probe's resistance is above what this coil can tell; take one of higher "
            "Q, or a larger inductance with less capacitance",
            conductance_s=conductance.value,
        )
