"""The scatter of a check standard against a printed table of control charts' constants.

The table: a textbook's "Table A.22", read; c4 to its four decimals. The exact values
were computed by an independent integration when the table was collected.
"""

import numpy as np
import pytest

from halfpower.analysis.lots import check_chart

# n, c4 as printed, c4 by an independent integration
C4 = [
    (3, 0.8862, 0.886227),
    (4, 0.9213, 0.921318),
    (5, 0.9400, 0.939986),
    (6, 0.9515, 0.951533),
    (7, 0.9594, 0.959369),
    (8, 0.9650, 0.965030),
    (9, 0.9693, 0.969311),
    (10, 0.9727, 0.972659),
]


@pytest.mark.parametrize(("n", "printed", "exact"), C4)
def test_the_deviation_is_freed_of_its_bias(
    n: int, printed: float, exact: float
) -> None:
    """A history of n with s = 1 has sd = 1/c4, to half a unit of c4's last digit."""
    row = np.arange(float(n))
    c4 = 1.0 / check_chart(row / row.std(ddof=1)).sd
    assert c4 == pytest.approx(printed, abs=5.1e-5)
    assert c4 == pytest.approx(exact, abs=5.1e-7)
