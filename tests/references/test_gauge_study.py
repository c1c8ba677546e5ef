"""Gauge studies against published and independent numbers.

Sources, beside each check: a textbook's table of mean squares for power modules (10
parts, 3 inspectors, 3 tests), from memory; and another library's analysis of variance
of an invented table.
"""

import numpy as np
import pytest

from halfpower.analysis.lots import crossed_study


def power_modules() -> np.ndarray:
    """Build a table of 10 x 3 x 3 with the textbook's sums of squares exactly."""
    rng = np.random.default_rng(0)
    parts, operators = (
        rng.standard_normal((10, 1, 1)),
        np.array([[[-1.0], [0.2], [0.8]]]),
    )
    crossed = rng.standard_normal((10, 3, 1))
    crossed -= crossed.mean(axis=0, keepdims=True)
    crossed -= crossed.mean(axis=1, keepdims=True)
    noise = rng.standard_normal((10, 3, 3))
    noise -= noise.mean(axis=2, keepdims=True)
    wanted = ((parts, 3935.96), (operators, 39.27), (crossed, 48.51), (noise, 30.67))
    table = np.zeros((10, 3, 3))
    for effect, squares in wanted:
        effect = np.broadcast_to(effect - effect.mean(), table.shape)  # noqa: PLW2901 # the same effect, spread out
        table = table + effect * np.sqrt(squares / (effect**2).sum())
    return table


def test_a_textbook_s_power_modules() -> None:
    """From memory: mean squares 437.33, 19.63, 2.70, 0.51.

    Components 48.29 (parts), 0.56 (operators), 0.73 (interaction), 0.51; F 162.27,
    7.28 and 5.27.
    """
    found = crossed_study(power_modules(), pool="never")
    variances = [one.sd**2 for one in found.components[:4]]
    assert variances == pytest.approx([48.29, 0.56, 0.73, 0.51], abs=0.006)
    assert [row.mean_square for row in found.table] == pytest.approx(
        [437.33, 19.63, 2.70, 0.51], abs=0.006
    )
    assert [row.f for row in found.table[:3]] == pytest.approx(
        [162.27, 7.28, 5.27], abs=0.02
    )
    # By hand: sqrt(2 x 48.29/(0.56 + 0.73 + 0.51)) = 7.3.
    assert found.distinct_categories == 7


# An invented table, 4 parts x 3 operators x 2 repeats.
INVENTED = np.array(
    [
        [[10.1, 10.3], [10.4, 10.2], [10.0, 10.1]],
        [[12.0, 11.8], [12.5, 12.4], [11.9, 12.1]],
        [[9.5, 9.4], [9.6, 9.9], [9.3, 9.0]],
        [[11.1, 11.0], [11.6, 11.2], [11.3, 11.0]],
    ]
)


def test_sums_of_squares_agree_with_another_library() -> None:
    """Statsmodels 0.15.0, anova_lm of ``y ~ C(P) * C(O)``; its F of the interaction."""
    found = crossed_study(INVENTED, pool="never")
    squares = [row.sum_of_squares for row in found.table]
    wanted = [24.4845833333, 0.6925, 0.204166666667, 0.315]
    assert squares == pytest.approx(wanted, rel=1e-10)
    assert [row.degrees_of_freedom for row in found.table] == [3, 2, 6, 12]
    assert found.table[2].f == pytest.approx(1.2962962963, rel=1e-9)
    assert found.table[2].p_value == pytest.approx(0.329642373546, rel=1e-9)


def test_a_pooled_table_agrees_with_another_library() -> None:
    """Statsmodels 0.15.0, anova_lm of ``y ~ C(P) + C(O)``: p 0.33 is pooled."""
    found = crossed_study(INVENTED)
    assert found.pooled
    parts, operators, noise = found.table
    assert (noise.sum_of_squares, noise.degrees_of_freedom) == (
        pytest.approx(0.519166666667, rel=1e-10),
        18,
    )
    assert (parts.f, operators.f) == pytest.approx((282.967897271, 12.0048154093))
    assert operators.p_value == pytest.approx(0.000486757622544, rel=1e-9)
