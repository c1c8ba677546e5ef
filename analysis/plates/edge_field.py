"""Edge capacitance of two equal thin plates: in air, on a flush or a wider sheet.

The ideal capacitance eps0 eps_r A/t leaves out the field at the plates' edge. What that
adds depends on what the sheet does there:

``air``
    nothing between the plates;
``flush``
    a sheet cut to the plates: the field leaves it at once, so that the edge capacitance
    is nearly the air's (1 to 5 % more);
``extends``
    a sheet that is wider than the plates by twice its thickness or more: the sheet
    fills the fringe too, and the edge capacitance grows with its permittivity, so that
    a permittivity has to be found by iteration.

Discs on a wide sheet are solved exactly. A charge on the face of a sheet of thickness
t between two plates of opposite charge has, in the plane of its face, the images of

    1/[1 + eps_r coth(kappa t/2)]
        = 1/(1 + eps_r) [1 - (1 + b) sum_n>=1 (-b)^(n-1) exp(-n kappa t)],

b = (eps_r - 1)/(eps_r + 1): Love's integral equation with a sum of such kernels at
t, 2t, 3t ..., which is his own for eps_r = 1. The plates have no thickness: real
electrodes, guards and leads are the doubt that `IDEALISATION` allows for.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.interpolate import CubicSpline, RegularGridInterpolator

from ..errors import InputError
from .discs import EPS0, FloatArray, love_integral, love_ratio
from .rectangles import rectangle_ratio

__all__ = [
    "IDEALISATION",
    "MOST_PERMITTIVE",
    "THICKEST",
    "THINNEST",
    "EdgeCapacitance",
    "Sheet",
    "edge_capacitance",
    "excess_over_air",
    "wide_sheet_ratio",
]

Sheet = Literal["air", "flush", "extends"]

THINNEST, THICKEST = 0.005, 0.2  # sheet thickness over plate diameter
MOST_PERMITTIVE = 1000.0
ROUNDING = 1e-9  # 10 mm over 50 mm is not quite 0.2
# Limits: White 1973 (Proc. IEE, doi 10.1049/piee.1973.0209) confirmed the calculated
# edge field within about 10 % by direct measurement.
IDEALISATION = 0.10
# Limits of what the sheet adds: of the solution for discs, and of taking a rectangle's
# from a disc (see `edge_capacitance`); and of a rectangle's whole capacitance in air.
DISC_LIMITS = {"air": 0.0, "flush": 0.002, "extends": 1e-5}
RECTANGLE_LIMITS = {"air": 0.0, "flush": 0.10, "extends": 0.02}
MOMENTS_LIMITS = 3e-5

# What a flush sheet adds to the air's edge capacitance of a disc, per eps0 times the
# perimeter and per b. An axisymmetric finite-volume solution: mesh graded by factors of
# 1.2, 1.14 and 1.1 from 2e-4 t at the edge outwards to 40 radii (up to 47 000 nodes),
# extrapolated in (factor - 1)^2, by which the entries moved 0.15 % from the finest
# mesh. Solved between its entries too, the table is within 0.15 %; it is 1 to 5 % of
# the edge itself. tests/references/test_edge_field.py solves it again.
FLUSH_THICKNESS = (0.005, 0.01, 0.02, 0.05, 0.1, 0.2)
FLUSH_B = (0.02439, 0.2, 0.5, 0.71429, 0.84615, 0.96078, 1.0)
FLUSH = (
    (0.03721, 0.03589, 0.03390, 0.03264, 0.03192, 0.03133, 0.03113),
    (0.03764, 0.03632, 0.03431, 0.03304, 0.03231, 0.03172, 0.03152),
    (0.03845, 0.03710, 0.03506, 0.03377, 0.03303, 0.03243, 0.03223),
    (0.04059, 0.03919, 0.03708, 0.03574, 0.03498, 0.03435, 0.03414),
    (0.04374, 0.04228, 0.04008, 0.03868, 0.03789, 0.03723, 0.03701),
    (0.04938, 0.04785, 0.04553, 0.04406, 0.04322, 0.04253, 0.04230),
)
LEAST_IMAGE = 1e-12  # the image sum ends there
# The kernel is smooth in asinh of the distance over t: so many knots leave 1e-9.
KNOTS = 1500


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeCapacitance:
    """An edge capacitance in F.

    Attributes
    ----------
    value_f
        What the plates have beyond eps0 eps_r A/t.
    u_f
        Its standard uncertainty: that of the solution and of plates without thickness
        and without surroundings (10 % limits).
    u_solution_f
        Of the solution alone, for ideal plates.
    """

    value_f: float
    u_f: float
    u_solution_f: float


def wide_sheet_ratio(gap_over_radius: float, *, relative_permittivity: float) -> float:
    """Return C over eps0 eps_r pi R^2/t of thin discs on a sheet wider than they are.

    Parameters
    ----------
    gap_over_radius
        k = t/R, 0.01 to 0.4.
    relative_permittivity
        1 to 1000.

    Notes
    -----
    The generalised Love equation of the module's head; within 1e-7 of itself with half
    as many nodes again. The potential of a point charge on a sheet by images is in any
    textbook; E. R. Love, Q. J. Mech. Appl. Math. 2, 428, 1949 for the reduction.
    """
    k, permittivity = gap_over_radius, relative_permittivity
    b = (permittivity - 1.0) / (permittivity + 1.0)
    knots = np.linspace(0.0, math.asinh(2.0 / k), KNOTS)
    spline = CubicSpline(knots, _images(np.sinh(knots), b=b))

    def kernel(distance: FloatArray) -> FloatArray:
        return np.asarray(spline(np.arcsinh(distance / k))) / k

    integral = love_integral(k, kernel=kernel)
    return (1.0 + permittivity) / permittivity * k / math.pi * integral


def _images(x: FloatArray, *, b: float) -> FloatArray:
    """Sum the images' kernels at distance x, in units of the sheet's thickness."""
    count = 1 if b == 0.0 else 1 + math.ceil(math.log(LEAST_IMAGE) / math.log(b))
    total, weight, square = np.zeros_like(x), (1.0 + b) / math.pi, x**2
    for n in range(1, count + 1):
        total += weight * n / (n * n + square)
        weight *= -b
    return total


def excess_over_air(
    gap_over_diameter: float, *, sheet: Sheet, relative_permittivity: float
) -> float:
    """Return what a sheet adds to the air's edge capacitance, over eps0 and perimeter.

    Parameters
    ----------
    gap_over_diameter
        t/D of discs, 0.005 to 0.2.
    sheet
        What it does at the edge.
    relative_permittivity
        1 or more; up to 1000 where the sheet extends.

    Raises
    ------
    InputError
        Outside those limits.
    """
    if sheet == "air":
        return 0.0
    if (
        not THINNEST * (1.0 - ROUNDING)
        <= gap_over_diameter
        <= THICKEST * (1.0 + ROUNDING)
    ):
        raise InputError(
            f"a sheet of {gap_over_diameter:.3g} of the plates' diameter is outside "
            f"what the edge field is solved for, {THINNEST:g} to {THICKEST:g}; take "
            "other plates or another thickness"
        )
    most = MOST_PERMITTIVE if sheet == "extends" else math.inf
    if not 1.0 <= relative_permittivity <= most:
        raise InputError(
            f"a relative permittivity is 1 to {most:g} here, not "
            f"{relative_permittivity:g}"
        )
    b = (relative_permittivity - 1.0) / (relative_permittivity + 1.0)
    if sheet == "flush":
        table = RegularGridInterpolator((FLUSH_THICKNESS, FLUSH_B), np.array(FLUSH))
        within = min(max(gap_over_diameter, THINNEST), THICKEST)
        slope = table((within, max(b, FLUSH_B[0])))
        return b * float(slope)
    k = 2.0 * gap_over_diameter
    wide = wide_sheet_ratio(k, relative_permittivity=relative_permittivity) - 1.0
    ideal = 1.0 / (4.0 * gap_over_diameter)  # A/(t P) of a disc
    return ideal * (relative_permittivity * wide - (love_ratio(k) - 1.0))


def edge_capacitance(
    *,
    gap_m: float,
    sheet: Sheet,
    relative_permittivity: float = 1.0,
    diameter_m: float | None = None,
    width_m: float | None = None,
    length_m: float | None = None,
) -> EdgeCapacitance:
    """Return the edge capacitance of two equal thin plates, with its uncertainty.

    Parameters
    ----------
    gap_m
        The sheet's thickness t in m; over the diameter 0.005 to 0.2.
    sheet
        ``air``, ``flush`` or ``extends`` (by 2 t or more on all sides).
    relative_permittivity
        Of the sheet, 1 or more (up to 1000 where it extends); 1 in air.
    diameter_m
        Of discs, in m.
    width_m, length_m
        Of rectangles instead, in m, up to 20 to 1.

    Raises
    ------
    InputError
        Neither discs nor rectangles, or a dimension outside those limits.

    Notes
    -----
    Discs: Love's equation (``air``, ``extends``), a table (``flush``). Rectangles: the
    air's edge by moments, and what the sheet adds as on a disc of diameter 4A/P, per
    perimeter. For wide sheets that is within 1.3 % of a moment solution with images
    for t/(4A/P) of 0.01 to 0.1, permittivities of 2 and 6 and sides of 1 to 8; 2 % are
    allowed. An overhang of t leaves 1 % of the edge out, 2 t 0.4 %, 5 t 0.1 % or less.
    """
    if diameter_m is not None and (width_m, length_m) == (None, None):
        _above_zero(gap_m, diameter_m)
        perimeter_m, equivalent_m = math.pi * diameter_m, diameter_m
        ratio = love_ratio(2.0 * gap_m / diameter_m)
        area_m2, limits = math.pi * diameter_m**2 / 4.0, DISC_LIMITS[sheet]
        air_limits = 0.0
    elif diameter_m is None and width_m is not None and length_m is not None:
        ratio = rectangle_ratio(width=width_m, length=length_m, gap=gap_m)
        perimeter_m, area_m2 = 2.0 * (width_m + length_m), width_m * length_m
        equivalent_m, limits = 4.0 * area_m2 / perimeter_m, RECTANGLE_LIMITS[sheet]
        air_limits = MOMENTS_LIMITS
    else:
        raise InputError(
            "plates are discs with a diameter or rectangles with a width and a "
            "length; give one or the other"
        )
    excess = excess_over_air(
        gap_m / equivalent_m, sheet=sheet, relative_permittivity=relative_permittivity
    )
    added_f = EPS0 * perimeter_m * excess
    ideal_f = EPS0 * area_m2 / gap_m
    value_f = ideal_f * (ratio - 1.0) + added_f
    u_solution_f = math.hypot(limits * added_f, air_limits * ratio * ideal_f)
    u_solution_f /= math.sqrt(3.0)
    return EdgeCapacitance(
        value_f=value_f,
        u_f=math.hypot(u_solution_f, IDEALISATION * value_f / math.sqrt(3.0)),
        u_solution_f=u_solution_f,
    )


def _above_zero(*lengths_m: float) -> None:
    for length_m in lengths_m:
        if not (math.isfinite(length_m) and length_m > 0.0):
            raise InputError(
                f"plates have a diameter and a gap above zero, not {length_m:g} m"
            )
