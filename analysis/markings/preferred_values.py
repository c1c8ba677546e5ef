"""Preferred values: the E series of IEC 60063, membership and neighbours."""

import math
from collections.abc import Mapping

from ..errors import InputError

__all__ = [
    "NOMINAL_TOLERANCE",
    "SERIES",
    "nearest_series",
    "neighbours",
    "series_of",
    "series_values",
]

# IEC 60063: the steps of 10^(i/24) that the standard does not round as arithmetic does.
E24_EXCEPTIONS = {
    10: 2.7,
    11: 3.0,
    12: 3.3,
    13: 3.6,
    14: 3.9,
    15: 4.3,
    16: 4.7,
    22: 8.2,
}
E192_EXCEPTIONS = {185: 9.20}  # 9.19 by rounding

# The tolerance that a series covers without gaps, nominally.
NOMINAL_TOLERANCE: Mapping[str, float] = {
    "E6": 0.20, "E12": 0.10, "E24": 0.05, "E48": 0.02, "E96": 0.01, "E192": 0.005,
}  # fmt: skip
SAME = 1e-6  # relative, between a value and a series' member


def _coarse(count: int) -> tuple[float, ...]:
    step = 24 // count
    return tuple(
        E24_EXCEPTIONS.get(i, round(10.0 ** (i / 24.0), 1)) for i in range(0, 24, step)
    )


def _fine(count: int) -> tuple[float, ...]:
    step = 192 // count
    return tuple(
        E192_EXCEPTIONS.get(i, round(10.0 ** (i / 192.0), 2))
        for i in range(0, 192, step)
    )


SERIES: Mapping[str, tuple[float, ...]] = {
    "E6": _coarse(6), "E12": _coarse(12), "E24": _coarse(24),
    "E48": _fine(48), "E96": _fine(96), "E192": _fine(192),
}  # fmt: skip


def series_values(name: str) -> tuple[float, ...]:
    """Return a series' values from 1 up to 10, ascending.

    Raises
    ------
    InputError
        There is no series of that name.
    """
    if name not in SERIES:
        raise InputError(f"there is no series {name!r}; there are " + ", ".join(SERIES))
    return SERIES[name]


def series_of(value: float) -> tuple[str, ...]:
    """Return the series that hold a value, whatever its power of ten.

    Raises
    ------
    InputError
        The value is not above zero.
    """
    mantissa, _ = _split(value)
    return tuple(
        name
        for name, members in SERIES.items()
        if any(abs(mantissa / member - 1.0) < SAME for member in (*members, 10.0))
    )


def nearest_series(value: float) -> str:
    """Name the coarsest series that holds a value; E24, to show what it misses.

    Raises
    ------
    InputError
        The value is not above zero.
    """
    held = series_of(value)
    return held[0] if held else "E24"


def neighbours(value: float, *, series: str) -> tuple[float, float]:
    """Return the series' values next below and next above a value.

    Raises
    ------
    InputError
        No such series, or the value is not above zero.
    """
    members = series_values(series)
    mantissa, decade = _split(value)
    around = (members[-1] / 10.0, *members, 10.0)
    below = max(one for one in around if one < mantissa * (1.0 - SAME))
    above = min(one for one in around if one > mantissa * (1.0 + SAME))
    return below * decade, above * decade


def _split(value: float) -> tuple[float, float]:
    if not (math.isfinite(value) and value > 0.0):
        raise InputError(f"a part's value is above zero, not {value:g}")
    decade = 10.0 ** math.floor(math.log10(value))
    mantissa = value / decade
    if mantissa >= 10.0 * (1.0 - SAME):  # a power of ten that rounding left below
        return mantissa / 10.0, decade * 10.0
    return mantissa, decade
