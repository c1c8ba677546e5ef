"""Capacitance of two equal rectangular plates in air, with the edge field.

Each plate is cut into rectangles of uniform charge, crowded towards its edges (where
the charge grows without limit), and the potential is set at their centres: method of
moments, with the exact potential of a uniformly charged rectangle. Two meshes, one
twice as fine, are extrapolated. Solved directly for any shape: no table to go stale.
"""

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError

__all__ = ["moments_ratio", "rectangle_ratio"]

FloatArray = NDArray[np.float64]

CELLS = 12  # along half a side, in the coarse mesh; twice that in the fine one
GRADING = 3.0  # cell edges at 1 - (1 - u)^3: the outermost is 1/n^3 of half a side
ORDER = 3.0  # of the error in 1/n with that grading, as measured on squares
THINNEST, WIDEST, SLIMMEST = 1e-3, 2.0, 20.0


def _antiderivative(u: FloatArray, v: FloatArray, height: float) -> FloatArray:
    """Corner term of the potential of a charged rectangle at that height."""
    term = u * np.arcsinh(v / np.sqrt(u**2 + height**2)) + v * np.arcsinh(
        u / np.sqrt(v**2 + height**2)
    )
    if height > 0.0:
        distance = np.sqrt(u**2 + v**2 + height**2)
        term -= height * np.arctan(u * v / (height * distance))
    return np.asarray(term)


def _half_side(side: float, cells: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Centres and widths on half a side, and the edges over the whole of it."""
    edges = side / 2.0 * (1.0 - (1.0 - np.linspace(0.0, 1.0, cells + 1)) ** GRADING)
    whole = np.concatenate([-edges[:0:-1], edges])
    return (edges[1:] + edges[:-1]) / 2.0, np.diff(edges), whole


def moments_ratio(*, width: float, length: float, gap: float, cells: int) -> float:
    """Return C over the ideal of two plates by one mesh, lengths in any one unit.

    Parameters
    ----------
    width, length, gap
        Sides and gap, > 0.
    cells
        Along half a side; a quarter of the plate is solved, by symmetry.
    """
    x, dx, edges_x = _half_side(width, cells)
    y, dy, edges_y = _half_side(length, cells)
    u = (edges_x - x[:, np.newaxis])[:, np.newaxis, :, np.newaxis]
    v = (edges_y - y[:, np.newaxis])[np.newaxis, :, np.newaxis, :]
    # The other plate carries the opposite charge.
    corner = _antiderivative(u, v, 0.0) - _antiderivative(u, v, gap)
    cell = np.diff(np.diff(corner, axis=2), axis=3)
    cell = cell[:, :, cells:] + cell[:, :, cells - 1 :: -1]  # mirrored in x
    cell = cell[..., cells:] + cell[..., cells - 1 :: -1]  # and in y
    matrix = cell.reshape(cells**2, cells**2)
    density = np.linalg.solve(matrix, np.ones(cells**2)).reshape(cells, cells)
    # Density in units of 4 pi eps0 times half the voltage; four quarters, one plate.
    charge = 4.0 * 4.0 * np.pi * float(dx @ density @ dy)
    return charge / 2.0 * gap / (width * length)


def rectangle_ratio(*, width: float, length: float, gap: float) -> float:
    """Return C over the ideal eps0 A/d of two thin rectangular plates in air.

    Parameters
    ----------
    width, length, gap
        Sides and gap in one unit; gap over the shorter side 0.001 to 2, sides up to
        20 to 1.

    Raises
    ------
    InputError
        A dimension is not above zero, or the shape is outside those limits.

    Notes
    -----
    Squares within 3e-5 of a computed table for d/a from 0.01 to 1, and long plates
    within 5e-4 of a strip's own solution (tests/references/test_plates.py).
    """
    if min(width, length, gap) <= 0.0:
        raise InputError(
            "plates have sides and a gap above zero, not "
            f"{width:g}, {length:g} and {gap:g} m"
        )
    shorter, longer = sorted((width, length))
    if not THINNEST <= gap / shorter <= WIDEST:
        raise InputError(
            f"a gap of {gap / shorter:.3g} of the shorter side is outside what the "
            f"solution is good for, {THINNEST:g} to {WIDEST:g}"
        )
    if longer > SLIMMEST * shorter:
        raise InputError(
            f"plates {longer / shorter:.3g} times as long as wide are outside what "
            f"the solution is good for, {SLIMMEST:g}"
        )
    coarse, fine = (
        moments_ratio(width=1.0, length=longer / shorter, gap=gap / shorter, cells=n)
        for n in (CELLS, 2 * CELLS)
    )
    return float(fine + (fine - coarse) / (2.0**ORDER - 1.0))
