"""A capacitor by substitution: what it changes of a tank's resonance.

*Across the tank, the frequency swept.* The tank alone gives its loop (coil and leads)
by the balance of `halfpower.analysis.tank.balance`. The loop's resistance is carried
to the lower frequency as w^n, and the balance there, solved for what is across the
loop, holds the unknown beside what was there before:

    Cx = T2 - T,        Gx = G2 - G,        D = Gx/(w2 Cx).

For a lossless tank this is Cx = T1 ((f1/f2)^2 - 1).

*In series with the coil*, for one that is large against the tank's capacitance. The
coil shows its apparent inductance La = L/(1 - y) and resistance Ra = R/(1 - y)^2 with
y = w^2 L Cs (Cs its self-capacitance), the tank Z = 1/(G + jwT). The loop's reactance
vanishes, and its slope over frequency, which makes the bandwidth, is 2 L/(1 - y)^2
whatever the series capacitor is:

    1/(w Cs) = w La + Im Z,     Rx = w L/(1 - y)^2 / Q - Ra - Re Z,     D = w Cs Rx.

(The lead's inductance adds to La and to L/(1 - y)^2.) Cs is the series equivalent;
like the others this method gives the parallel one, Cx = Cs/(1 + D^2). The response's
exponent is not the fixture's: the driven branch is wL - 1/(w Cx), so k = 1 + 2 T/Cx.
"""

import math
from dataclasses import replace

from ..errors import AnalysisError
from ..fitting import ResonanceFit
from ..fitting.curves import LARGEST_EXPONENT
from ..quantity import Quantity
from ..uncertainty import Number, propagate
from .attached import (
    CAPACITOR_UNITS,
    REFERENCE,
    UNKNOWN,
    Steps,
    attached_shunt,
    loss_of,
    refuse_gain,
    refuse_none,
)
from .balance import at_resonance, loop_from
from .correction import measured_pair
from .tank import Tank, tank_shunt

__all__ = [
    "SERIES",
    "across_deduction",
    "deduce_in_series",
    "deduce_parallel",
    "exponent_in_series",
    "highest_rise_in_series",
]

SERIES = "series"


def across_deduction(at: Steps[Number]) -> dict[str, Number]:
    """Deduce a capacitor, or many, from the resonances without it and with it."""
    attached, omega = attached_shunt(at.tank, before=at.before, loaded=at.loaded)
    return loss_of(attached, omega=omega)


def deduce_parallel(
    tank: Tank, *, reference: ResonanceFit, unknown: ResonanceFit
) -> tuple[Quantity, ...]:
    """Deduce a capacitor that was put across a tank.

    Parameters
    ----------
    tank
        Everything known of the tank but its coil.
    reference, unknown
        The fits without it and with it.

    Returns
    -------
    tuple of Quantity
        In the order of `CAPACITOR_UNITS`, at the second resonance's frequency.

    Raises
    ------
    AnalysisError
        The frequency rose, or the loss fell, when it was attached.
    """
    _refuse_rise(reference, unknown)

    known = Steps.known(
        tank,
        before=measured_pair(reference, step=REFERENCE),
        loaded=measured_pair(unknown, step=UNKNOWN),
    )
    found = propagate(across_deduction, known, units=CAPACITOR_UNITS)
    refuse_none(found)
    refuse_gain(found)
    return found


def deduce_in_series(
    tank: Tank, *, reference: ResonanceFit, series: ResonanceFit
) -> tuple[Quantity, ...]:
    """Deduce a capacitor that was put in series with the tank's coil.

    Parameters
    ----------
    tank
        Everything known of the tank but its coil.
    reference, series
        The fits with a strap in its place and with it.

    Returns
    -------
    tuple of Quantity
        In the order of `CAPACITOR_UNITS`, at the second resonance's frequency.

    Raises
    ------
    AnalysisError
        The frequency fell, or the loss fell, when it took the strap's place.
    """
    if series.resonant_frequency_hz <= reference.resonant_frequency_hz:
        raise AnalysisError(
            "with the unknown in series the tank resonates at "
            f"{series.resonant_frequency_hz / 1e6:.6g} MHz, not above the "
            f"{reference.resonant_frequency_hz / 1e6:.6g} MHz of the strap, and a "
            "capacitor in series raises it; see that the strap was taken out, and "
            "that the part is a capacitor"
        )

    known = Steps.known(
        tank,
        before=measured_pair(reference, step=REFERENCE),
        loaded=measured_pair(series, step=SERIES),
    )
    found = propagate(_series_deduction, known, units=CAPACITOR_UNITS)
    refuse_none(found)
    refuse_gain(found)
    return found


def _series_deduction(at: Steps[Number]) -> dict[str, Number]:
    tank = at.tank
    strap = at_resonance(tank, at.before)
    loop = loop_from(strap, shunt=tank_shunt(tank, omega=strap.omega))
    own_h = loop.inductance_h - tank.lead_h
    own_ohm = loop.resistance_ohm - tank.lead_ohm
    with_it = at_resonance(tank, at.loaded)
    omega = with_it.omega
    ratio = omega / strap.omega
    # The self-capacitance lies across the coil alone now.
    shunt = tank_shunt(replace(tank, self_capacitance_f=0.0), omega=omega)
    susceptance = omega * shunt.capacitance_f
    magnitude = shunt.conductance_s**2 + susceptance**2
    fall = 1.0 - omega**2 * own_h * tank.self_capacitance_f
    coil_ohm = own_ohm * ratio**tank.loss_exponent / fall**2
    apparent_h = own_h / fall + tank.lead_h
    reactance = omega * apparent_h - susceptance / magnitude
    slope_h = own_h / fall**2 + tank.lead_h
    ohm = (
        omega * slope_h * with_it.loss
        - coil_ohm
        - tank.lead_ohm
        - shunt.conductance_s / magnitude
    )
    loss = ohm / reactance
    return {
        "capacitance": 1.0 / (omega * reactance * (1.0 + loss * loss)),
        "dissipation_factor": loss,
        "series_resistance": ohm,
    }


def exponent_in_series(*, rise: float, fixture: float) -> float:
    """Give the exponent k of a tank's response with a capacitor in series.

    Parameters
    ----------
    rise
        The resonance with it over that with a strap in its place, > 1.
    fixture
        The exponent of the fixture without it.

    Notes
    -----
    The branch's reactance X = wL - 1/(w Cx) stands where wL does without it. With
    ws^2 = 1/(L Cx), X goes as (w^2 - ws^2)/w, whose slope d ln X/d ln w at the
    resonance w0^2 = ws^2 + 1/(LT) is 2 w0^2 LT - 1, and w0^2 LT is the rise squared
    (but for the coil's own capacitance, which is small beside T).
    """
    return fixture + 2.0 * (rise**2 - 1.0)


def highest_rise_in_series(*, fixture: float) -> float:
    """Give the rise up to which a capacitor in series leaves a response to be fitted.

    Parameters
    ----------
    fixture
        The exponent of the fixture without it; see `exponent_in_series`.
    """
    return math.sqrt(1.0 + (LARGEST_EXPONENT - fixture) / 2.0)


def _refuse_rise(reference: ResonanceFit, loaded: ResonanceFit) -> None:
    if loaded.resonant_frequency_hz >= reference.resonant_frequency_hz:
        raise AnalysisError(
            "with the part attached the tank resonates at "
            f"{loaded.resonant_frequency_hz / 1e6:.7g} MHz, not below the "
            f"{reference.resonant_frequency_hz / 1e6:.7g} MHz without it, so no "
            "capacitance was added; see that it is attached, and that it is a capacitor"
        )
