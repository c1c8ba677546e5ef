"""Edge fields of sheets against separate solutions and a published expansion."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import spsolve

from halfpower.analysis.plates import Sheet, edge_capacitance, excess_over_air
from halfpower.analysis.plates.edge_field import wide_sheet_ratio
from halfpower.analysis.plates.rectangles import _antiderivative, _half_side

# D = 50 mm discs, edge capacitance in pF per mm of perimeter by thickness in m and
# permittivity: an axisymmetric finite-volume solution with other code, known to be
# high by 6e-5 to 4e-4 of the whole capacitance.
EXTENDS = {
    (0.5e-3, 2.1): 0.01227, (0.5e-3, 4.5): 0.01720, (0.5e-3, 9.8): 0.02772,
    (1e-3, 2.1): 0.01136, (1e-3, 2.55): 0.01231, (1e-3, 9.8): 0.02682,
    (2e-3, 2.1): 0.01050, (2e-3, 4.5): 0.01542, (5e-3, 2.1): 0.00948,
    (5e-3, 9.8): 0.02512,
}  # fmt: skip
FLUSH = {
    (0.5e-3, 2.1): 0.00988, (0.5e-3, 9.8): 0.01000, (1e-3, 2.1): 0.00899,
    (1e-3, 4.5): 0.00907, (2e-3, 9.8): 0.00829, (5e-3, 2.1): 0.00718,
    (5e-3, 9.8): 0.00732,
}  # fmt: skip
CASES = [
    *(("extends", *case, value) for case, value in EXTENDS.items()),
    *(("flush", *case, value) for case, value in FLUSH.items()),
]


@pytest.mark.parametrize(("sheet", "gap_m", "permittivity", "pf_per_mm"), CASES)
def test_50_mm_discs_by_the_table(
    sheet: Sheet, gap_m: float, permittivity: float, pf_per_mm: float
) -> None:
    """To 0.4 %: 4e-4 of the whole capacitance is up to that much of the edge."""
    found = edge_capacitance(
        gap_m=gap_m, diameter_m=50e-3, sheet=sheet, relative_permittivity=permittivity
    )
    assert found.value_f * 1e12 / (math.pi * 50.0) == pytest.approx(pf_per_mm, rel=4e-3)


@pytest.mark.parametrize("k", [0.02, 0.04, 0.1, 0.2])
@pytest.mark.parametrize("permittivity", [2.1, 4.5, 9.8])
def test_a_microstrip_disc_s_expansion(k: float, permittivity: float) -> None:
    """Chew and Kong, IEEE Trans. MTT 28(2) 98, 1980 (from memory), h = t/2.

    C/C0 = 1 + 2h/(pi eps_r R) [ln(R/2h) + 1.41 eps_r + 1.77
    + (h/R)(0.268 eps_r + 1.65)]; its authors say within 1 %.
    """
    h = k / 2.0
    inside = 1.41 * permittivity + 1.77 + h * (0.268 * permittivity + 1.65)
    expansion = 1.0 + 2.0 * h / (math.pi * permittivity) * (math.log(1.0 / k) + inside)
    found = wide_sheet_ratio(k, relative_permittivity=permittivity)
    assert found == pytest.approx(expansion, rel=0.01)


def graded(first: float, *, factor: float, total: float) -> NDArray[np.float64]:
    """Steps that grow by a factor from 0 to a total."""
    count = math.ceil(math.log(1.0 + total * (factor - 1.0) / first) / math.log(factor))
    steps = (factor ** np.arange(count + 1) - 1.0) / (factor - 1.0)
    return np.asarray(steps * total / steps[-1])


def finite_volumes(
    gap: float, *, permittivity: float, width: float, factor: float
) -> float:
    """Solve discs of radius 1 on a sheet of a radius; the edge over eps0 perimeter.

    Upper half, the middle plane at 0 V and the disc at 1 V; node-centred volumes whose
    energy gives the capacitance, on a mesh graded outwards from the edge.
    """
    h, first = gap / 2.0, 2e-4 * gap
    inner = 1.0 - graded(first, factor=factor, total=1.0)[::-1]
    lower = h - graded(first, factor=factor, total=h)[::-1]
    outer = graded(first, factor=factor, total=40.0)[1:]
    r, z = np.concatenate([inner, 1.0 + outer]), np.concatenate([lower, h + outer])
    dr, dz, middle = np.diff(r), np.diff(z), (r[1:] + r[:-1]) / 2.0
    filled = (middle[:, np.newaxis] < width) & (z[1:] <= h * (1.0 + 1e-9))
    eps = np.where(filled, permittivity, 1.0)
    along = np.zeros((r.size - 1, z.size))
    half = eps * middle[:, np.newaxis] * dz / 2.0 / dr[:, np.newaxis]
    along[:, :-1] += half
    along[:, 1:] += half
    up = np.zeros((r.size, z.size - 1))
    up[:-1] += eps * (middle**2 - r[:-1] ** 2)[:, np.newaxis] / 2.0 / dz
    up[1:] += eps * (r[1:] ** 2 - middle**2)[:, np.newaxis] / 2.0 / dz
    index = np.arange(r.size * z.size).reshape(r.size, z.size)
    a = np.concatenate([index[:-1].ravel(), index[:, :-1].ravel()])
    b = np.concatenate([index[1:].ravel(), index[:, 1:].ravel()])
    g = np.concatenate([along.ravel(), up.ravel()])
    fixed = np.full(index.shape, np.nan)
    fixed[:, 0] = fixed[-1] = fixed[:, -1] = 0.0
    fixed[: inner.size, lower.size - 1] = 1.0
    volts, free = np.nan_to_num(fixed).ravel(), np.isnan(fixed).ravel()
    rows, columns = np.concatenate([a, b, a, b]), np.concatenate([b, a, a, b])
    matrix = sparse.csr_array((np.concatenate([-g, -g, g, g]), (rows, columns)))
    right = -(matrix @ volts)[free]
    inside = sparse.csc_array(matrix[free][:, free])
    volts[free] = spsolve(inside, right, permc_spec="MMD_AT_PLUS_A")
    energy = float(np.sum(g * (volts[a] - volts[b]) ** 2))
    return energy / 2.0 - permittivity / (2.0 * gap)


@pytest.mark.parametrize("shape", [0.005, 0.01, 0.02, 0.05, 0.1, 0.2])
def test_a_flush_sheet_solved_again(shape: float) -> None:
    """Finite volumes with and without it: this coarse mesh is 0.5 to 0.6 % high."""
    bare, some, much = (
        finite_volumes(2.0 * shape, permittivity=one, width=1.0, factor=1.2)
        for one in (1.0, 2.0, 20.0)
    )
    for permittivity, filled in ((2.0, some), (20.0, much)):
        expected = excess_over_air(
            shape, sheet="flush", relative_permittivity=permittivity
        )
        assert filled - bare == pytest.approx(expected, rel=0.008)


def test_an_overhang_of_two_thicknesses_is_wide_enough() -> None:
    """0.4 % of the edge or less is missing; without an overhang a fifth is."""
    gap = 0.02
    wide, some, flush = (
        finite_volumes(gap, permittivity=2.1, width=width, factor=1.2)
        for width in (50.0, 1.0 + 2.0 * gap, 1.0)
    )
    assert -0.0045 < some / wide - 1.0 < 0.0
    assert flush / wide - 1.0 < -0.15


def moments_on_a_sheet(
    gap: float, *, length: float, permittivity: float, cells: int
) -> float:
    """Solve plates of width 1 on a wide sheet, C over the ideal, with its images."""
    b = (permittivity - 1.0) / (permittivity + 1.0)
    x, dx, edges_x = _half_side(1.0, cells)
    y, dy, edges_y = _half_side(length, cells)
    u = (edges_x - x[:, np.newaxis])[:, np.newaxis, :, np.newaxis]
    v = (edges_y - y[:, np.newaxis])[np.newaxis, :, np.newaxis, :]
    corner, weight, n = _antiderivative(u, v, 0.0), 1.0 + b, 1
    while abs(weight) > 1e-6:
        corner = corner - weight * _antiderivative(u, v, n * gap)
        weight, n = -b * weight, n + 1
    cell = np.diff(np.diff(corner, axis=2), axis=3)
    cell = cell[:, :, cells:] + cell[:, :, cells - 1 :: -1]
    cell = cell[..., cells:] + cell[..., cells - 1 :: -1]
    density = np.linalg.solve(cell.reshape(cells**2, cells**2), np.ones(cells**2))
    charge = 16.0 * math.pi * float(dx @ density.reshape(cells, cells) @ dy)
    return charge / 2.0 * gap / length * (1.0 + permittivity) / (2.0 * permittivity)


@pytest.mark.parametrize(("gap", "length"), [(0.02, 1.0), (0.1, 1.0), (0.1, 3.0)])
def test_a_rectangle_s_wide_sheet_adds_as_a_disc_s(gap: float, length: float) -> None:
    """Moments with images, two meshes extrapolated: within the 2 % allowed."""
    ratios = [
        moments_on_a_sheet(gap, length=length, permittivity=one, cells=cells)
        for one in (2.1, 1.0)
        for cells in (6, 12)
    ]
    sheet, air = (
        fine + (fine - coarse) / 7.0 for coarse, fine in np.reshape(ratios, (2, 2))
    )
    perimeter = 2.0 * (1.0 + length)
    added = (2.1 * (sheet - 1.0) - (air - 1.0)) * length / gap / perimeter
    equivalent = 4.0 * length / perimeter
    expected = excess_over_air(
        gap / equivalent, sheet="extends", relative_permittivity=2.1
    )
    assert added == pytest.approx(expected, rel=0.02)
