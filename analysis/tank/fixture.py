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
from dataclasses import dataclass
from typing import Any

from ..errors import AnalysisError
from ..fitting import ResonanceFit
from ..quantity import Stated
from ..uncertainty import Deduced, propagate
from .attached import attached_shunt, step_pairs
from .balance import Loop, at_resonance, loop_from, shunt_from
from .coil_on_several import EXACT, CoilPoint, check_points, line_through, point_inputs
from .correction import measured_pair
from .tank import Tank, tank_shunt

__all__ = [
    "FIXTURE_UNITS",
    "PROBE",
    "STRAY",
    "FixtureCoil",
    "deduce_loading",
    "deduce_probe",
    "deduce_stray",
]

CLEAR = 3.0  # standard uncertainties from zero
PROBE = "second probe"
STRAY = ("fixture's stray",)
FIXTURE_UNITS: Mapping[str, str] = {
    "stray_capacitance": "F",
    "probe_capacitance": "F",
    "probe_resistance": "ohm",
    "inductance": "H",
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
) -> tuple[Deduced, ...]:
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
    tuple of Deduced
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
    stated = dict(tank.stated)
    del stated["coil's self-capacitance"]
    for coil in coils:
        stated[f"self-capacitance of {coil.name}"] = coil.self_capacitance_f
        stated |= point_inputs(coil.points, common=common)
    measured = tuple(
        measured_pair(point.found, step=point.step)
        for coil in coils
        for point in coil.points
    )

    def each(inputs: Mapping[str, Any]) -> list[tuple[Any, Any]]:
        found = []
        for coil in coils:
            name = f"self-capacitance of {coil.name}"
            own = {"coil's self-capacitance": inputs[name]}
            line = line_through({**inputs, **own}, points=coil.points, left_out=STRAY)
            found.append((line.unknown_f, line.inductance_h))
        return found

    def strays(inputs: Mapping[str, Any]) -> dict[str, Any]:
        return {str(n): stray for n, (stray, _) in enumerate(each(inputs))}

    weights = [
        one.u**-2.0 if one.u else 1.0
        for one in propagate(strays, stated=stated, measured=measured)
    ]
    total = sum(weights)

    def deduction(inputs: Mapping[str, Any]) -> dict[str, Any]:
        found = each(inputs)
        stray = sum(
            weight / total * one
            for weight, (one, _) in zip(weights, found, strict=True)
        )
        inductances = {
            f"inductance, {coil.name}": henry - inputs["lead inductance"]
            for coil, (_, henry) in zip(coils, found, strict=True)
        }
        return {"stray_capacitance": stray, **inductances}

    result = propagate(deduction, stated=stated, measured=measured)
    stray = result[0]
    if stray.interval[1] <= 0.0:
        raise AnalysisError(
            f"the stray comes out as {stray.value * 1e12:.3g} pF, and no fixture is "
            "below zero: a coil's self-capacitance, the probe's capacitance or a known "
            "capacitor is stated too large",
            stray_f=stray.value,
        )
    return result


def deduce_probe(
    tank: Tank, *, reference: ResonanceFit, loaded: ResonanceFit, alike: Stated
) -> tuple[Deduced, ...]:
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
    tuple of Deduced
        ``probe_capacitance`` and ``probe_resistance`` at the second resonance.

    Raises
    ------
    AnalysisError
        The second probe took nothing from the tank.
    """

    def deduction(inputs: Mapping[str, Any]) -> dict[str, Any]:
        added, _ = attached_shunt(inputs, step=PROBE)
        same = 1.0 + inputs["second probe's likeness"]
        return {
            "probe_capacitance": added.capacitance_f * same,
            "conductance": added.conductance_s * same,
        }

    stated = {**tank.stated, "second probe's likeness": alike}
    pairs = step_pairs({"reference": reference, PROBE: loaded})
    _, conductance = propagate(deduction, stated=stated, measured=pairs)
    _refuse_unloaded(conductance)

    def resistance(inputs: Mapping[str, Any]) -> dict[str, Any]:
        found = deduction(inputs)
        return {
            "probe_capacitance": found["probe_capacitance"],
            "probe_resistance": 1.0 / found["conductance"],
        }

    return propagate(resistance, stated=stated, measured=pairs)


def deduce_loading(
    tank: Tank, *, found: ResonanceFit, coil_q: Stated
) -> tuple[Deduced, ...]:
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
    tuple of Deduced
        ``probe_resistance``: of all that is not accounted for otherwise.

    Raises
    ------
    AnalysisError
        The tank loses less than the coil alone would.
    """

    def deduction(inputs: Mapping[str, Any]) -> dict[str, Any]:
        at = at_resonance(inputs)
        bare = {**inputs, "probe resistance": 1e18}
        rest = tank_shunt(bare, omega=at.omega)
        henry = loop_from(at, shunt=rest).inductance_h
        loop = Loop(
            resistance_ohm=at.omega * henry / inputs["coil's Q"]
            + inputs["lead resistance"],
            inductance_h=henry,
        )
        return {
            "conductance": shunt_from(at, loop=loop).conductance_s - rest.conductance_s
        }

    stated = {**tank.stated, "coil's Q": coil_q}
    pair = (measured_pair(found),)
    (conductance,) = propagate(deduction, stated=stated, measured=pair)
    _refuse_unloaded(conductance)
    return propagate(
        lambda inputs: {"probe_resistance": 1.0 / deduction(inputs)["conductance"]},
        stated=stated,
        measured=pair,
    )


def _refuse_unloaded(conductance: Deduced) -> None:
    """Refuse a loading that is not clear of zero.

    Raises
    ------
    AnalysisError
        It is not, and its inverse would be any resistance at all.
    """
    if conductance.value < -CLEAR * conductance.u:
        raise AnalysisError(
            "the tank loses less than the coil of the Q that was stated would by "
            "itself: its Q is stated too low",
            conductance_s=conductance.value,
        )
    if conductance.value < CLEAR * conductance.u or conductance.interval[0] <= 0.0:
        raise AnalysisError(
            "the loading does not stand out of its uncertainty (a conductance of "
            f"{conductance.value * 1e9:.3g} nS ± {2e9 * conductance.u:.2g} nS): the "
            "probe's resistance is above what this coil can tell; take one of higher "
            "Q, or a larger inductance with less capacitance",
            conductance_s=conductance.value,
        )
