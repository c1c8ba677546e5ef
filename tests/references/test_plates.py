"""Plates' edge field against independent solutions and published asymptotics."""

import math

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from halfpower.analysis import Stated
from halfpower.analysis.plates import EPS0, kirchhoff_ratio, love_ratio, rectangle_ratio
from halfpower.analysis.plates.rectangles import moments_ratio


def love_by_iteration(k: float) -> float:
    """Love's equation by Neumann's series with splines and subtracted kernel.

    Shares the equation with ours, not the method: f is a spline, the kernel's peak is
    taken out analytically, and the equation is iterated instead of solved.
    """
    s = np.sin(np.pi / 2.0 * np.linspace(0.0, 1.0, 121))
    node, weight = np.polynomial.legendre.leggauss(800)
    f = np.ones_like(s)
    kernel = k / np.pi / (k**2 + (s[:, np.newaxis] - node) ** 2)
    peak = (np.arctan((1.0 - s) / k) + np.arctan((1.0 + s) / k)) / np.pi
    for _ in range(4000):
        fine = CubicSpline(s, f)(np.abs(node))
        spread = (fine - f[:, np.newaxis]) * kernel @ weight + f * peak
        moved = np.max(np.abs(1.0 + spread - f))
        f = 1.0 + spread
        if moved < 1e-10:
            break
    return 2.0 * k / np.pi * float(CubicSpline(s, f)(np.abs(node)) @ weight)


@pytest.mark.parametrize("k", [0.1, 0.2, 0.5, 1.0])
def test_discs_are_love_s_equation_solved_another_way(k: float) -> None:
    """Independent solution, to 1e-6; asked is 1e-4 for d/R up to 0.5."""
    assert love_ratio(k) == pytest.approx(love_by_iteration(k), rel=1e-6)


# Love's equation solved elsewhere with other code; C over the ideal.
SOLVED = {
    0.01: 1.0241240, 0.05: 1.0970315, 0.1: 1.1755923, 0.5: 1.7058703, 1.0: 2.3182954,
    2.0: 3.5345823,
}  # fmt: skip


@pytest.mark.parametrize(("k", "ratio"), SOLVED.items())
def test_discs_by_the_table(k: float, ratio: float) -> None:
    """To the digits of a separate computation."""
    assert love_ratio(k) == pytest.approx(ratio, abs=6e-8)


@pytest.mark.parametrize(
    ("k", "error"), [(0.01, -1.7e-4), (0.05, -2.66e-3), (0.1, -8.03e-3), (0.5, -0.0769)]
)
def test_kirchhoff_s_formula_is_as_far_off_as_it_is(k: float, error: float) -> None:
    """Kirchhoff 1877 against the exact solution, from the same separate computation."""
    found = kirchhoff_ratio(k) / love_ratio(k) - 1.0
    assert found == pytest.approx(error, abs=6e-5)


def test_discs_meet_at_the_change_of_method() -> None:
    """3e-7 at d/R = 0.01, where the expansion takes over."""
    assert love_ratio(0.01 * (1 - 1e-9)) == pytest.approx(love_ratio(0.01), abs=4e-7)


def test_far_discs_are_two_lone_discs_in_series() -> None:
    """C -> 4 eps0 R / (1 - 2R/(pi d)): a lone disc is 8 eps0 R (Cavendish, Thomson)."""
    k = 50.0
    capacitance = math.pi / k * love_ratio(k)  # over eps0 R
    assert capacitance == pytest.approx(4.0 / (1.0 - 2.0 / (math.pi * k)), rel=1e-5)


# Square plates of side a, gap d: another method-of-moments code, +/- 1e-5.
SQUARES = {0.01: 1.04302, 0.1: 1.30570, 0.2: 1.55276, 0.5: 2.23643, 1.0: 3.34299}


@pytest.mark.parametrize(("gap", "ratio"), SQUARES.items())
def test_squares_by_the_table(gap: float, ratio: float) -> None:
    """Within 3e-5; asked is 0.2 %."""
    found = rectangle_ratio(width=1.0, length=1.0, gap=gap)
    assert found == pytest.approx(ratio, rel=3e-5)


@pytest.mark.parametrize("gap", [0.1, 0.3])
def test_squares_by_the_formula_of_nishiyama_and_nakamura(gap: float) -> None:
    """1 + 2.343 (d/a)^0.891 (IEEE CPMT-A 17(3) 411, 1994; from memory): 1.2 %."""
    found = rectangle_ratio(width=1.0, length=1.0, gap=gap)
    assert found == pytest.approx(1.0 + 2.343 * gap**0.891, rel=0.012)


def strip_f_per_m(gap: float) -> float:
    """Two parallel strips of width 1, per length and eps0, by Chebyshev's polynomials.

    Charge density sum c_n T_n(x)/sqrt(1 - x^2) on half-width 1; the logarithm's
    integral over the own strip is diagonal, over the other one smooth.
    """
    count, nodes = 24, 800
    angle = (np.arange(nodes) + 0.5) * np.pi / nodes
    t, d = np.cos(angle), 2.0 * gap
    order = np.arange(0, count, 2)
    chebyshev = np.cos(np.outer(order, angle))
    other = 0.5 * np.log((t[:, np.newaxis] - t) ** 2 + d**2)
    matrix = np.pi / nodes * chebyshev @ other.T  # int ln r T_n/sqrt
    own = np.where(order == 0, -np.pi * math.log(2.0), -np.pi / np.maximum(order, 1))
    # Potential: -(1/2 pi eps0) (own - other) = V/2 = 1/2.
    rows = (matrix - own[:, np.newaxis] * chebyshev) / (2.0 * np.pi)
    c = np.linalg.lstsq(rows.T, np.full(nodes, 0.5), rcond=None)[0]
    return float(np.pi * c[0])


@pytest.mark.parametrize("gap", [0.05, 0.2, 0.5])
def test_a_long_plate_s_middle_is_a_strip(gap: float) -> None:
    """What 10 widths more add, against the two-dimensional solution.

    To the meshes' 3e-5 of three times what is left, and to what the two ends see of
    each other over 10 widths, w d/(4 pi L^2).
    """
    longer, shorter = (
        length / gap * rectangle_ratio(width=1.0, length=length, gap=gap)
        for length in (20.0, 10.0)
    )
    rel = 1e-4 + gap / (4.0 * math.pi * 10.0**2)
    assert (longer - shorter) / 10.0 == pytest.approx(strip_f_per_m(gap), rel=rel)


def test_a_strip_s_edge_is_the_conformal_map_s() -> None:
    """C' -> w/d + [1 + ln(2 pi w/d)]/pi for thin gaps (Love 1923; from memory)."""
    ratio = 1.0 / 0.02
    edge = (1.0 + math.log(2.0 * math.pi * ratio)) / math.pi
    assert strip_f_per_m(0.02) - ratio == pytest.approx(edge, rel=0.02)


@pytest.mark.parametrize("gap", [0.001, 0.002])
def test_a_thin_gap_s_edge_is_a_loop_s_inductance(gap: float) -> None:
    """The field outside thin plates is that of a current round their edge.

    So C_edge/eps0 = L/mu0 of a loop of that shape, with a wire of radius d/(2 pi e),
    which turns a ring's mu0 R [ln(8R/rho) - 2] into Kirchhoff's formula. A square:
    L = (2 mu0 a/pi) [ln(a/rho) - 0.77401] (Rosa 1908; from memory). To 0.4 %.
    """
    rho = gap / (2.0 * math.pi * math.e)
    edge = 2.0 / math.pi * (math.log(1.0 / rho) - 0.77401)
    found = (rectangle_ratio(width=1.0, length=1.0, gap=gap) - 1.0) / gap
    assert found == pytest.approx(edge, rel=0.004)


def test_the_extrapolation_beats_its_meshes() -> None:
    """A mesh of 32 comes closer to the extrapolated value than one of 24 did."""
    best = rectangle_ratio(width=1.0, length=2.0, gap=0.1)
    errors = [
        abs(moments_ratio(width=1.0, length=2.0, gap=0.1, cells=n) - best)
        for n in (12, 24, 32)
    ]
    assert errors[0] > errors[1] > errors[2]
    assert errors[2] < 5e-5


# D = 50 mm discs with a flush sheet, edge capacitance in pF per mm of perimeter: an
# axisymmetric finite-volume solution, checked against Love's equation to 4e-4.
FLUSH = {0.5e-3: (0.00988, 0.01000), 1e-3: (0.00899, 0.00912), 5e-3: (0.00718, 0.00732)}


@pytest.mark.parametrize(("gap_m", "edges"), FLUSH.items())
def test_a_flush_sheet_s_edge_is_the_air_s_within_its_doubt(
    gap_m: float, edges: tuple[float, float]
) -> None:
    """Permittivities of 2.1 to 9.8: 1 to 4 % above the air's, inside 10 %."""
    air_pf = (
        EPS0 * math.pi * 0.025**2 / gap_m * (love_ratio(gap_m / 0.025) - 1.0) * 1e12
    )
    air = air_pf / (math.pi * 50.0)
    limits = Stated.within(0.0, half_width=0.10)
    for edge in edges:
        assert 0.0 < edge / air - 1.0 < 0.04 < limits.u * math.sqrt(3.0)
