"""Yield and capability against published and independent numbers."""

import math

import numpy as np
import pytest
from scipy import stats

from halfpower.analysis.lots import Limits, yield_of
from halfpower.analysis.lots.capability import capability_of


def lot_with(*, mean: float, sd: float, n: int) -> np.ndarray:
    """Normal quantiles moved to an exact mean and sample standard deviation."""
    z = stats.norm.ppf((np.arange(n) + 0.5) / n)
    return mean + sd * z / z.std(ddof=1)


def test_the_handbook_s_indices() -> None:
    """NIST/SEMATECH 6.1.6, from memory: limits 8 and 20, mean 16, sd 2."""
    lot = lot_with(mean=16.0, sd=2.0, n=50)
    found = capability_of(lot, limits=Limits(lower=8.0, upper=20.0))
    assert found.cp == pytest.approx(1.0, rel=1e-12)
    assert found.cpk == found.cpu == pytest.approx(0.6667, abs=5e-5)
    assert found.cpl == pytest.approx(1.3333, abs=5e-5)
    assert found.cp is not None
    assert found.cpk == pytest.approx(found.cp * (1.0 - 0.3333), abs=5e-5)


def test_the_handbook_s_intervals() -> None:
    """NIST/SEMATECH 6.1.6: Cp by chi-squared, Cpk by Bissell's formula; by hand here.

    n = 50, 95 %: chi-squared of 49 at 2.5 % and 97.5 % is 31.555 and 70.222 (any
    table), z = 1.960.
    """
    lot = lot_with(mean=16.0, sd=2.0, n=50)
    found = capability_of(lot, limits=Limits(lower=8.0, upper=20.0))
    wanted = (math.sqrt(31.555 / 49.0), math.sqrt(70.222 / 49.0))
    assert found.cp_interval == pytest.approx(wanted, rel=2e-5)
    half = 1.960 * math.sqrt(1.0 / 450.0 + (2.0 / 3.0) ** 2 / 98.0)
    wanted = (2.0 / 3.0 - half, 2.0 / 3.0 + half)
    assert found.cpk_interval == pytest.approx(wanted, abs=1e-5)


@pytest.mark.parametrize(
    ("good", "tested", "method", "low", "high"),
    [
        (187, 200, "exact", 0.8914127634961848, 0.9649392913430209),
        (187, 200, "wilson", 0.891980920700931, 0.9616236453508471),
        (20, 20, "exact", 0.8315665290169146, 1.0),
        (20, 20, "wilson", 0.8388748419471804, 1.0),
    ],
)
def test_yield_intervals_agree_with_another_library(
    good: int, tested: int, method: str, low: float, high: float
) -> None:
    """Statsmodels 0.15.0, proportion_confint with ``beta`` and ``wilson``, 95 %."""
    found = yield_of(good, tested=tested, method=method)  # type: ignore[arg-type] # one of two
    assert found.interval == pytest.approx((low, high), rel=1e-9)
