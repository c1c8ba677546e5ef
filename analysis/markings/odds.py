"""Which reading of a marking a measured value supports, and how strongly."""

import itertools
import math
from dataclasses import dataclass

from scipy import special

from ..errors import InputError
from ..quantity import Judged, Stated
from .marking import MarkedReading

__all__ = ["NONE_SHARE", "MarkingOdds", "weigh_readings"]

NONE_SHARE = 0.05  # prior odds that the part is not what its marking says
DECADES = 6.0  # over which a part that is none of them may lie
SURE = 0.95  # what settles it, either way


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkingOdds:
    """The odds of each reading, given a measured value.

    Attributes
    ----------
    shares
        Of each reading, in the readings' order; with ``none`` they add up to 1.
    none
        That the part is none of them.
    none_share
        What ``none`` was taken to be before the measurement.
    verdict
        It fits: one value has 95 %; it does not: that has, that it is none of them.
    best
        The index of the likeliest reading.
    """

    shares: tuple[float, ...]
    none: float
    none_share: float
    verdict: Judged
    best: int


def weigh_readings(
    readings: tuple[MarkedReading, ...],
    *,
    measured: Stated,
    none_share: float = NONE_SHARE,
) -> MarkingOdds:
    """Weigh a marking's readings by a measurement.

    Parameters
    ----------
    readings
        At least one.
    measured
        Value and standard uncertainty, in the readings' unit; taken as normal.
    none_share
        Prior share of "none of these", above 0 and below 1; the rest is shared
        equally among the readings.

    Raises
    ------
    InputError
        A measurement without a value above zero or without an uncertainty, or a
        share out of its range.

    Notes
    -----
    Bayes' theorem: a reading's likelihood is the measurement's normal density averaged
    over the tolerance band (parts uniform within it),
    [Phi((b - y)/u) - Phi((a - y)/u)]/(b - a); a part that is none of them lies
    anywhere in six decades, evenly in the logarithm, with density 1/(y ln 10^6).
    """
    if measured.value <= 0.0:
        raise InputError(f"a measured value is above zero, not {measured.value:g}")
    if measured.u <= 0.0:
        raise InputError(
            "the odds need the measurement's uncertainty; write it as 98pF u=1pF or "
            "98pF +- 2pF"
        )
    if not 0.0 < none_share < 1.0:
        raise InputError(
            f"the share of none of these is between 0 and 1, not {none_share:g}"
        )
    prior = (1.0 - none_share) / len(readings)
    weights = [prior * _density(one, measured) for one in readings]
    none = none_share / (measured.value * DECADES * math.log(10.0))
    total = math.fsum([*weights, none])
    shares = tuple(weight / total for weight in weights)
    best = max(range(len(shares)), key=lambda i: shares[i])
    verdict = Judged.UNDECIDED
    # One value with two tolerances (100nF: F as a unit, or as 1 %) is one value.
    alike = (one.value == readings[best].value for one in readings)
    if math.fsum(itertools.compress(shares, alike)) >= SURE:
        verdict = Judged.FITS
    elif none / total >= SURE:
        verdict = Judged.DOES_NOT_FIT
    return MarkingOdds(
        shares=shares,
        none=none / total,
        none_share=none_share,
        verdict=verdict,
        best=best,
    )


def _density(reading: MarkedReading, measured: Stated) -> float:
    low = (reading.lowest - measured.value) / measured.u
    high = (reading.highest - measured.value) / measured.u
    if low > 0.0:  # the lower tail keeps its digits, the upper one loses them
        low, high = -high, -low
    inside = float(special.ndtr(high) - special.ndtr(low))
    return inside / (reading.highest - reading.lowest)
