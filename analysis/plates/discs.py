"""Capacitance of two equal discs in air, with the edge field, exactly.

Love's integral equation of two coaxial discs of radius R, a gap d apart, k = d/R:

    f(s) - (k/pi) Int_-1^1 f(t) / (k^2 + (s - t)^2) dt = 1,
    C = 2 eps0 R Int_-1^1 f,

solved by Gauss-Legendre quadrature (Nystrom). For gaps so thin that the kernel would
need thousands of nodes, Kirchhoff's formula with its next term is closer than 3e-7.
"""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "EPS0",
    "kirchhoff_ratio",
    "love_integral",
    "love_ratio",
]

FloatArray = NDArray[np.float64]
Kernel = Callable[[FloatArray], FloatArray]

EPS0 = 8.8541878128e-12  # F/m, CODATA 2018
THIN = 0.01  # d/R: below it the expansion is used, see love_ratio
# The kernel's poles are at +/- jk: the quadrature's error falls as (1 + k)^(-2n), so
# n k = 12 nodes over the whole range leave e^-24.
NODES_TIMES_K, LEAST_NODES = 6.0, 32  # over half the range


def love_ratio(gap_over_radius: float) -> float:
    """Return C over the ideal eps0 pi R^2/d of two thin discs in air.

    Parameters
    ----------
    gap_over_radius
        k = d/R, > 0.

    Notes
    -----
    Below k = 0.01 Kirchhoff's expansion with its next term, which is 3e-7 off at
    k = 0.01 and better below; above it Love's equation, within 6e-8 of a
    separate solution (tests/references/test_plates.py).

    References
    ----------
    E. R. Love, Q. J. Mech. Appl. Math. 2, 428, 1949; V. Hutson, Proc. Camb. Phil.
    Soc. 59, 211, 1963 (the next term).
    """
    k = gap_over_radius
    if k < THIN:
        log = math.log(k / (16.0 * math.pi))
        return kirchhoff_ratio(k) + (k / (2.0 * math.pi)) ** 2 * (log**2 - 2.0)

    def kernel(distance: FloatArray) -> FloatArray:
        return k / math.pi / (k**2 + distance**2)

    return 2.0 * k / math.pi * love_integral(k, kernel=kernel)


def love_integral(gap_over_radius: float, *, kernel: Kernel) -> float:
    """Return Int_-1^1 f of f(s) - Int_-1^1 K(|s - t|) f(t) dt = 1.

    Parameters
    ----------
    gap_over_radius
        k, > 0: the distance of the kernel's nearest pole from the real axis.
    kernel
        K, of distances in units of the radius.
    """
    count = max(LEAST_NODES, math.ceil(NODES_TIMES_K / gap_over_radius))
    node, weight = np.polynomial.legendre.leggauss(2 * count)
    s, w = node[count:], weight[count:]  # f is even: half the range will do
    near, far = np.abs(s[:, np.newaxis] - s), s[:, np.newaxis] + s
    matrix = np.eye(count) - w * (kernel(near) + kernel(far))
    return 2.0 * float(w @ np.linalg.solve(matrix, np.ones(count)))


def kirchhoff_ratio(gap_over_radius: float) -> float:
    """Return Kirchhoff's C over the ideal: 1 + k/pi (ln(16 pi/k) - 1).

    References
    ----------
    G. Kirchhoff, Monatsber. Akad. Wiss. Berlin, 144, 1877.
    """
    k = gap_over_radius
    return 1.0 + k / math.pi * (math.log(16.0 * math.pi / k) - 1.0)
