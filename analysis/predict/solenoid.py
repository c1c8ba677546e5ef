"""Inductance of a single-layer solenoid: current sheet, then round wire.

The current sheet is exact (Lorenz 1879, Nagaoka 1909). Rosa's corrections turn the
sheet into turns of round wire: k_s for the self-inductance of a turn, k_m for the
mutual inductances of the turns. At radio frequency two things lower the inductance
further, and both are taken from the exact field of a round wire: the wire's inside
is emptied of flux, and the current moves towards the inside of the winding.
"""

import math

from scipy import special

__all__ = [
    "MU0",
    "current_sheet_h",
    "inward_shift_m",
    "nagaoka_coefficient",
    "rosa_mutual",
    "rosa_self",
    "solenoid_h",
]

MU0 = 1.25663706212e-6  # H/m, CODATA 2018
UNIFORM = 1.0  # share of the wire's internal inductance that is left at d.c.
# Rosa's k_m is ln(2 pi) - 3/2 - ln(N)/(6N) less this series in 1/N.
KM_SERIES = (
    (1, -0.33084236),
    (3, -1.0 / 120.0),
    (5, 1.0 / 504.0),
    (7, -0.0011923),
    (9, 0.0005068),
)


def nagaoka_coefficient(diameter_over_length: float) -> float:
    """Return Nagaoka's coefficient of a cylindrical current sheet, exactly.

    Parameters
    ----------
    diameter_over_length
        x = D/l, > 0.

    Notes
    -----
    K_N = 4/(3 pi k') [(k'/k)^2 (K - E) + E - k] with k^2 = x^2/(1 + x^2), where
    (K - E)/k^2 = R_D(0, k'^2, 1)/3 (DLMF 19.25.1), so that a long coil loses no
    digits. Within 1e-9 of an integral over rings for D/l from 0.1 to 10
    (tests/references/test_solenoid.py).

    References
    ----------
    H. Nagaoka, J. Coll. Sci. Tokyo 27(6), 1909; L. Lorenz, Wied. Ann. 7, 1879.
    """
    x = diameter_over_length
    m1 = 1.0 / (1.0 + x * x)  # k'^2
    k = x * math.sqrt(m1)
    k_less_e = float(special.elliprd(0.0, m1, 1.0)) / 3.0  # over k^2
    e = float(special.ellipe(x * x * m1))
    return 4.0 / (3.0 * math.pi * math.sqrt(m1)) * (m1 * k_less_e + e - k)


def current_sheet_h(*, diameter_m: float, length_m: float, turns: float) -> float:
    """Return the inductance in H of a current sheet: mu0 pi a^2 N^2 K_N / l."""
    area = math.pi * diameter_m**2 / 4.0
    coefficient = nagaoka_coefficient(diameter_m / length_m)
    return MU0 * area * turns**2 / length_m * coefficient


def rosa_self(wire_over_pitch: float, *, internal_share: float = UNIFORM) -> float:
    """Return Rosa's k_s, the self-inductance correction of a round wire.

    Parameters
    ----------
    wire_over_pitch
        d/p, > 0.
    internal_share
        What is left of the wire's internal inductance mu0/(8 pi) per metre: 1 at
        d.c. (Rosa's case, 5/4 - ln(2p/d)), towards 0 at radio frequency.

    References
    ----------
    E. B. Rosa, Bull. Bur. Standards 2, 161, 1906.
    """
    return 1.5 - 0.25 * internal_share - math.log(2.0 / wire_over_pitch)


def rosa_mutual(turns: float) -> float:
    """Return Rosa's k_m, the mutual-inductance correction, by its series.

    Parameters
    ----------
    turns
        N >= 1; exact to 1e-7 at N = 1 and 1e-8 above.
    """
    series = sum(factor / turns**power for power, factor in KM_SERIES)
    return (
        math.log(2.0 * math.pi) - 1.5 - math.log(turns) / (6.0 * turns) + float(series)
    )


def inward_shift_m(*, wire_m: float, pitch_m: float, exclusion: float) -> float:
    """Return how far the current seems to sit inside the wires' centres, in m.

    Parameters
    ----------
    wire_m, pitch_m
        Wire diameter and pitch in m.
    exclusion
        How far the wire keeps a transverse field out: 0 at d.c., 1 where the skin
        is thin (`winding_loss.exclusion`).

    Notes
    -----
    Derived here. The winding's own field at its wires is H0 = I/(2p) along the axis;
    a wire of radius r that shuts it out has the moment m = -2 pi r^2 H_loc per metre,
    and its neighbours' moments weaken the field to
    H_loc = H0 / (1 + pi^2 d^2/(12 p^2)). The inductance falls by mu0 |m| H0 / I^2 per
    metre of wire, which is what a sheet of smaller radius would lose. Shutting out the
    gradient of the neighbours' currents, pi I/(6 p^2), adds pi^2 d^2/(72 p^2) of the
    lone wire's shift. Within 3 % of a row of perfectly conducting wires up to d/p =
    0.9 (tests/references/test_solenoid.py). It is a long coil's; a short one's ends
    see another field, which the model's doubt allows for.
    """
    single = math.pi * wire_m**2 / (8.0 * pitch_m) * exclusion
    square = (math.pi * wire_m / pitch_m) ** 2
    return single * (1.0 / (1.0 + square / 12.0 * exclusion) + square / 72.0)


def solenoid_h(
    *,
    diameter_m: float,
    pitch_m: float,
    turns: float,
    wire_m: float,
    internal_share: float = UNIFORM,
    shift_m: float = 0.0,
) -> float:
    """Return the inductance of a single-layer solenoid of round wire, in H.

    Parameters
    ----------
    diameter_m
        Between wire centres, in m.
    pitch_m, turns, wire_m
        Pitch in m, number of turns (the sheet's length is their product), and wire
        diameter in m.
    internal_share, shift_m
        As `rosa_self` and `inward_shift_m` give them; the defaults are d.c.

    Notes
    -----
    L = L_sheet - mu0 (D/2) N (k_s + k_m). Rosa takes the wires as straight: against a
    sum over round-wire loops it is within 0.13 (p/D)^2 of itself, 5e-5 at p/D = 0.02
    and up to 4e-3 at 0.2 (tests/references/test_solenoid.py), and a helix of such a
    pitch is no stack of loops.

    References
    ----------
    E. B. Rosa and F. W. Grover, Bull. Bur. Standards 8 (S169), 1912, eq. for the
    summation correction.
    """
    sheet = current_sheet_h(
        diameter_m=diameter_m - 2.0 * shift_m, length_m=pitch_m * turns, turns=turns
    )
    correction = rosa_self(
        wire_m / pitch_m, internal_share=internal_share
    ) + rosa_mutual(turns)
    return sheet - MU0 * diameter_m / 2.0 * turns * correction
