"""Constants of control charts against a printed table.

The table: a textbook's "Table A.22", read; its third decimals. The exact values were
computed by an independent integration when the table was collected. One entry is off
in its last digit: D4 of three is printed 2.574 in some tables and 2.575 in others.
"""

import pytest

from halfpower.analysis.lots.control_chart import chart_constants

# n, A2, A3, c4, d2, d3, D3, D4, B3, B4
PRINTED = [
    (2, 1.880, 2.659, 0.7979, 1.128, 0.853, 0.0, 3.267, 0.0, 3.267),
    (3, 1.023, 1.954, 0.8862, 1.693, 0.888, 0.0, 2.575, 0.0, 2.568),
    (4, 0.729, 1.628, 0.9213, 2.059, 0.880, 0.0, 2.282, 0.0, 2.266),
    (5, 0.577, 1.427, 0.9400, 2.326, 0.864, 0.0, 2.114, 0.0, 2.089),
    (6, 0.483, 1.287, 0.9515, 2.534, 0.848, 0.0, 2.004, 0.030, 1.970),
    (7, 0.419, 1.182, 0.9594, 2.704, 0.833, 0.076, 1.924, 0.118, 1.882),
    (8, 0.373, 1.099, 0.9650, 2.847, 0.820, 0.136, 1.864, 0.185, 1.815),
    (9, 0.337, 1.032, 0.9693, 2.970, 0.808, 0.184, 1.816, 0.239, 1.761),
    (10, 0.308, 0.975, 0.9727, 3.078, 0.797, 0.223, 1.777, 0.284, 1.716),
]  # fmt: skip
# n, d2, c4, d3, D4 by an independent integration
EXACT = [
    (2, 1.12838, 0.797885, 0.85250, 3.2665),
    (3, 1.69257, 0.886227, 0.88837, 2.5746),
    (4, 2.05875, 0.921318, 0.87981, 2.2821),
    (5, 2.32593, 0.939986, 0.86408, 2.1145),
    (6, 2.53441, 0.951533, 0.84804, 2.0038),
    (7, 2.70436, 0.959369, 0.83321, 1.9243),
    (8, 2.84720, 0.965030, 0.81983, 1.8638),
    (9, 2.97003, 0.969311, 0.80783, 1.8160),
    (10, 3.07751, 0.972659, 0.79705, 1.7770),
]


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: f"n={row[0]}")
def test_constants_are_the_printed_ones(row: tuple[float, ...]) -> None:
    """To one unit of the last printed digit: the tables themselves differ by that."""
    k = chart_constants(int(row[0]))
    found = (k.A2, k.A3, k.d2, k.d3, k.D3, k.D4, k.B3, k.B4)
    printed = (*row[1:3], *row[4:])
    assert found == pytest.approx(printed, abs=1e-3)
    assert k.c4 == pytest.approx(row[3], abs=5.1e-5)


@pytest.mark.parametrize("row", EXACT, ids=lambda row: f"n={row[0]}")
def test_constants_are_the_exact_ones(row: tuple[float, ...]) -> None:
    """To half a unit of each number's last digit."""
    k = chart_constants(int(row[0]))
    assert (k.d2, k.d3) == pytest.approx((row[1], row[3]), abs=5.1e-6)
    assert k.c4 == pytest.approx(row[2], abs=5.1e-7)
    upper = k.D4
    assert upper == pytest.approx(row[4], abs=5.1e-5)
