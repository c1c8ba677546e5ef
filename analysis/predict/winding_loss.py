"""Radio-frequency resistance of a winding: skin effect, then proximity effect.

The skin effect of a round wire is exact (Bessel functions). What the neighbours'
field adds is Medhurst's measured ratio phi, which holds where the skin is thin; below
that its excess over 1 is scaled as a round wire's loss in a transverse field is.
"""

import math
from collections.abc import Mapping

import numpy as np
from scipy import special
from scipy.interpolate import RegularGridInterpolator

from .solenoid import MU0

__all__ = [
    "RESISTIVITY_OHM_M",
    "exclusion",
    "few_turns_share",
    "internal_share",
    "medhurst_ratio",
    "resistance_ratio",
    "skin_depth_m",
    "winding_ohm",
]

# At 20 C. Copper: IEC 60028 (100 % IACS, 58 MS/m). Silver and aluminium as usually
# tabulated (CRC Handbook values), read in a public copy.
RESISTIVITY_OHM_M: Mapping[str, float] = {
    "copper": 1.0 / 58.0e6,
    "silver": 1.59e-8,
    "aluminium": 2.824e-8,
}

# Medhurst's phi: rows length/diameter, columns pitch/wire diameter.
# R. G. Medhurst, "H.F. resistance and self-capacitance of single-layer solenoids",
# Wireless Engineer 24, 35-43 and 80-92, Feb./March 1947, from a copy. Its
# entry (0, 2.5) = 1.20 breaks the run of its column and row and stands as read;
# (10, 1.429) is 2.27 in one copy and 2.37 in another: 2.37, which fits its neighbours.
# The column for infinite pitch is 1 by definition.
PITCH_OVER_WIRE = (1.0, 1.111, 1.25, 1.429, 1.667, 2.0, 2.5, 3.333, 5.0, 10.0, math.inf)
LENGTH_OVER_DIAMETER = (
    0.0,
    0.2,
    0.4,
    0.6,
    0.8,
    1.0,
    2.0,
    4.0,
    6.0,
    8.0,
    10.0,
    math.inf,
)
PHI = (
    (5.31, 3.73, 2.74, 2.12, 1.74, 1.44, 1.20, 1.16, 1.07, 1.02, 1.0),
    (5.45, 3.84, 2.83, 2.20, 1.77, 1.48, 1.29, 1.19, 1.08, 1.02, 1.0),
    (5.65, 3.99, 2.97, 2.28, 1.83, 1.54, 1.33, 1.21, 1.08, 1.03, 1.0),
    (5.80, 4.11, 3.10, 2.38, 1.89, 1.60, 1.38, 1.22, 1.10, 1.03, 1.0),
    (5.80, 4.17, 3.20, 2.44, 1.92, 1.64, 1.42, 1.23, 1.10, 1.03, 1.0),
    (5.55, 4.10, 3.17, 2.47, 1.94, 1.67, 1.45, 1.24, 1.10, 1.03, 1.0),
    (4.10, 3.36, 2.74, 2.32, 1.98, 1.74, 1.50, 1.28, 1.13, 1.04, 1.0),
    (3.54, 3.05, 2.60, 2.27, 2.01, 1.78, 1.54, 1.32, 1.15, 1.04, 1.0),
    (3.31, 2.92, 2.60, 2.29, 2.03, 1.80, 1.56, 1.34, 1.16, 1.04, 1.0),
    (3.20, 2.90, 2.62, 2.34, 2.08, 1.81, 1.57, 1.34, 1.165, 1.04, 1.0),
    (3.23, 2.93, 2.65, 2.37, 2.10, 1.83, 1.58, 1.35, 1.17, 1.04, 1.0),
    (3.41, 3.11, 2.815, 2.51, 2.22, 1.93, 1.65, 1.395, 1.19, 1.05, 1.0),
)


def skin_depth_m(frequency_hz: float, *, resistivity_ohm_m: float) -> float:
    """Return sqrt(rho/(pi f mu0)), the skin depth of a non-magnetic metal in m."""
    return math.sqrt(resistivity_ohm_m / (math.pi * frequency_hz * MU0))


def _wave_number(wire_m: float, *, skin_m: float) -> complex:
    """Return ka, with k = (1 - j)/delta and a the wire's radius."""
    return complex(1.0, -1.0) * wire_m / (2.0 * skin_m)


def _bessel_ratio(ka: complex) -> complex:
    """Return J1/J0; of the scaled functions, so that nothing overflows."""
    order = np.array([0.0, 1.0])
    zeroth, first = special.jve(order, np.full(2, ka))
    return complex(first / zeroth)


def _wire_impedance_ratio(wire_m: float, *, skin_m: float) -> complex:
    ka = _wave_number(wire_m, skin_m=skin_m)
    return ka / 2.0 / _bessel_ratio(ka)


def resistance_ratio(wire_m: float, *, skin_m: float) -> float:
    """Return R/R_dc of a straight round wire: Re[(ka/2) J0(ka)/J1(ka)].

    References
    ----------
    S. Ramo, J. R. Whinnery, T. Van Duzer, Fields and Waves in Communication
    Electronics (from memory).
    """
    return _wire_impedance_ratio(wire_m, skin_m=skin_m).real


def internal_share(wire_m: float, *, skin_m: float) -> float:
    """Return what is left of a wire's d.c. internal inductance, 1 to 0."""
    scale = (wire_m / (2.0 * skin_m)) ** 2 / 4.0  # w L_internal,dc / R_dc
    return _wire_impedance_ratio(wire_m, skin_m=skin_m).imag / scale


def _transverse(wire_m: float, *, skin_m: float) -> complex:
    """Polarizability of a round wire in a transverse field, 0 at d.c., 1 at last."""
    ka = _wave_number(wire_m, skin_m=skin_m)
    return 1.0 - 2.0 / ka * _bessel_ratio(ka)


def exclusion(wire_m: float, *, skin_m: float) -> float:
    """Return how far a wire shuts a transverse field out, 0 (d.c.) to 1."""
    return _transverse(wire_m, skin_m=skin_m).real


def medhurst_ratio(*, length_over_diameter: float, wire_over_pitch: float) -> float:
    """Return Medhurst's phi: a coil's resistance over its straight wire's.

    Parameters
    ----------
    length_over_diameter
        l/D, >= 0.
    wire_over_pitch
        d/p, 0 to 1.

    Notes
    -----
    Bilinear in d/p and (l/D)/(1 + l/D), so that both ends of both scales are in the
    table; the table holds for skins thin against the wire and 30 turns or more. For
    short windings of close turns it is too low: 30 straight wires in a row, solved
    exactly, have 2.6 at d/p = 0.7 and 7.3 at 0.9, where its first row has 2.1 and 3.7
    (tests/references/test_solenoid.py).
    """
    spacing = np.array([0.0 if math.isinf(x) else 1.0 / x for x in PITCH_OVER_WIRE])
    shape = np.array([_compact(x) for x in LENGTH_OVER_DIAMETER])
    table = RegularGridInterpolator(
        (shape, spacing[::-1]),
        np.array(PHI)[:, ::-1],
        method="linear",
        bounds_error=False,
        fill_value=None,
    )
    return float(table((_compact(length_over_diameter), wire_over_pitch)))


def few_turns_share(turns: float) -> float:
    """Return what a coil of few turns has of phi's excess over 1: 0 at one turn.

    Parameters
    ----------
    turns
        N >= 1; from 30 on, where the table was measured, it is 1.

    Notes
    -----
    (N - 1)/(N + 2.85), over its value at 30: within 5 % of one of a row of straight
    wires with thin skins a diameter apart, d/p = 0.5, solved exactly; closer wires
    have less (0.13 instead of 0.23 for two at d/p = 0.7), thinner ones more (0.31 at
    0.2): tests/references/test_solenoid.py.
    """
    return min((turns - 1.0) / (turns + 2.85) * (30.0 + 2.85) / (30.0 - 1.0), 1.0)


def _compact(ratio: float) -> float:
    return 1.0 if math.isinf(ratio) else ratio / (1.0 + ratio)


def winding_ohm(
    *,
    diameter_m: float,
    pitch_m: float,
    turns: float,
    wire_m: float,
    frequency_hz: float,
    resistivity_ohm_m: float,
    table_factor: float = 1.0,
    excess_share: float = 1.0,
) -> float:
    """Return the series resistance of a single-layer winding in ohm.

    Parameters
    ----------
    diameter_m, pitch_m, turns, wire_m
        As `solenoid.solenoid_h` takes them.
    frequency_hz, resistivity_ohm_m
        In Hz and ohm metre.
    table_factor
        What phi is multiplied by: 1, or what its doubt allows.
    excess_share
        What is left of phi's excess over 1: 1, or less where the turns are few.

    Notes
    -----
    R = R_skin + (phi - 1) R_thin g, with R_thin = R_dc a/(2 delta), what a thin skin
    would give, and g = |Im alpha| a/delta from the wire's polarizability in a
    transverse field: 1 at a thin skin, falling as f^2 towards d.c. The conductor
    alone: former, enamel, surface and surroundings add to it.
    """
    skin_m = skin_depth_m(frequency_hz, resistivity_ohm_m=resistivity_ohm_m)
    wire_length = turns * math.hypot(math.pi * diameter_m, pitch_m)
    direct = resistivity_ohm_m * wire_length / (math.pi * wire_m**2 / 4.0)
    radii = wire_m / (2.0 * skin_m)
    phi = table_factor * medhurst_ratio(
        length_over_diameter=pitch_m * turns / diameter_m,
        wire_over_pitch=wire_m / pitch_m,
    )
    thin = abs(_transverse(wire_m, skin_m=skin_m).imag) * radii
    return direct * (
        resistance_ratio(wire_m, skin_m=skin_m)
        + excess_share * (phi - 1.0) * radii / 2.0 * thin
    )
