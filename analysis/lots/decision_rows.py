"""Decide on many values at once, by the rule for a single one."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..quantity import FloatArray
from .conformity import Decision, GuardBand, Limits

__all__ = ["DECISIONS", "decide_rows", "worst_of"]

BoolArray = NDArray[np.bool_]

# In the order in which one outweighs another.
DECISIONS = (Decision.ACCEPTED, Decision.UNDECIDED, Decision.REJECTED)
_ACCEPTED, _UNDECIDED, _REJECTED = range(3)


def decide_rows(
    values: FloatArray, *, u: FloatArray, limits: Limits, guard_band: GuardBand
) -> NDArray[np.int8]:
    """Decide on many values as `halfpower.analysis.lots.decide` does on one.

    Parameters
    ----------
    values, u
        Shape (M,); NaN: not measured.
    limits, guard_band
        The rule.

    Returns
    -------
    array of int8
        Places in `DECISIONS`, shape (M,); undecided where nothing was measured.
    """
    width = guard_band.multiple * u
    outward = -width if guard_band.undecided_zone else width
    with np.errstate(invalid="ignore"):
        accepted = _inside(values, limits, by=width)
        kept = _inside(values, limits, by=outward)
    known = np.isfinite(values) & np.isfinite(u)
    codes = np.where(accepted, _ACCEPTED, np.where(kept, _UNDECIDED, _REJECTED))
    return np.where(known, codes, _UNDECIDED).astype(np.int8)


def worst_of(decisions: Sequence[NDArray[np.int8]], *, count: int) -> NDArray[np.int8]:
    """Put the decisions by several limits together, shape (count,).

    Rejected where any rejects, else undecided where any is, else accepted; without
    limits all are accepted.
    """
    worst = np.zeros(count, dtype=np.int8)
    for one in decisions:
        np.maximum(worst, one, out=worst)
    return worst


def _inside(values: FloatArray, limits: Limits, *, by: FloatArray) -> BoolArray:
    low, high = limits.low + by, limits.high - by
    result: BoolArray = (low < high) & (low <= values) & (values <= high)
    return result
