"""Self-capacitance of a single-layer solenoid, from Medhurst's measurements."""

import math

import numpy as np

from ..errors import AnalysisError

__all__ = ["LIMITS", "LONGEST", "SHORTEST", "medhurst_self_capacitance_f"]

# length/diameter: H in pF per cm of diameter; one end grounded, solid former.
# R. G. Medhurst, Wireless Engineer 24, 35-43 and 80-92, Feb./March 1947.
TABLE = (
    (0.1, 0.96), (0.15, 0.79), (0.2, 0.70), (0.25, 0.64), (0.3, 0.60), (0.35, 0.57),
    (0.4, 0.54), (0.45, 0.52), (0.5, 0.50), (0.6, 0.48), (0.7, 0.47), (0.8, 0.46),
    (0.9, 0.46), (1.0, 0.46), (1.5, 0.47), (2.0, 0.50), (2.5, 0.56), (3.0, 0.61),
    (3.5, 0.67), (4.0, 0.72), (4.5, 0.77), (5.0, 0.81), (6.0, 0.92), (7.0, 1.01),
    (8.0, 1.12), (9.0, 1.22), (10.0, 1.32), (15.0, 1.86), (20.0, 2.36), (25.0, 2.9),
    (30.0, 3.4), (40.0, 4.6), (50.0, 5.8),
)  # fmt: skip
LIMITS = 0.05  # the table's stated accuracy, as limits
SHORTEST, LONGEST = TABLE[0][0], TABLE[-1][0]
F_PER_M = 1e-10  # 1 pF/cm
ROUNDING = 1e-12  # a shape at the table's very end


def medhurst_self_capacitance_f(*, diameter_m: float, length_m: float) -> float:
    """Return the self-capacitance of a solenoid in F.

    Parameters
    ----------
    diameter_m, length_m
        Of the winding, in m; length/diameter within 0.1 to 50.

    Raises
    ------
    AnalysisError
        The shape is outside the table.

    Notes
    -----
    Stated to 5 %. One end is grounded and the coil stands clear of everything else;
    interpolated in the logarithms of both.
    """
    shape = length_m / diameter_m
    if not SHORTEST * (1.0 - ROUNDING) <= shape <= LONGEST * (1.0 + ROUNDING):
        raise AnalysisError(
            f"a winding {shape:.3g} times as long as wide is outside the "
            f"self-capacitance table, {SHORTEST:g} to {LONGEST:g}",
            length_over_diameter=shape,
        )
    x, h = np.log(np.array(TABLE)).T
    return diameter_m * F_PER_M * math.exp(float(np.interp(math.log(shape), x, h)))
