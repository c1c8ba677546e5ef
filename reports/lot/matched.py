"""Matched sets of a lot's accepted parts."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...analysis.lots import Criterion, Matching, matched_sets
from ...analysis.quantity import format_quantity
from ...records.base import PartRow
from ..errors import ReportError
from ..result import WORDS
from .findings import quantity_of
from .tables import TextTable

__all__ = ["MatchedLot", "match_parts", "matching_tables"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MatchedLot:
    """Matched sets and the parts they are of.

    Attributes
    ----------
    lot
        Its name.
    parts
        Those that were to be matched; the matching's indices are into these.
    within
        Largest relative difference in a set, by quantity.
    size
        Parts in a set.
    matching
        What was found.
    """

    lot: str
    parts: tuple[PartRow, ...]
    within: Mapping[str, float]
    size: int
    matching: Matching

    def members(self, number: int) -> tuple[PartRow, ...]:
        """Return the parts of a set, by its place from 0."""
        return tuple(self.parts[i] for i in self.matching.sets[number].parts)

    def values_of(self, part: PartRow) -> tuple[float | None, ...]:
        """Return a part's values of the quantities matched by, SI."""
        found = (quantity_of(part, name) for name in self.within)
        return tuple(None if one is None else one.value for one in found)


def match_parts(
    parts: Sequence[PartRow],
    *,
    within: Mapping[str, float],
    size: int = 2,
    coverage_factor: float = 0.0,
) -> MatchedLot:
    """Match the accepted parts of a lot that are not suspect.

    Parameters
    ----------
    parts
        As they count now.
    within
        Largest relative difference in a set, by quantity; one or more.
    size
        Parts in a set.
    coverage_factor
        As `halfpower.analysis.lots.matched_sets` takes it. The uncertainties
        are the parts' whole ones, what they share included, so k = 2 asks for more
        than is needed.

    Raises
    ------
    ReportError
        No accepted part has the quantities.
    InputError
        A width, a size or a coverage factor that is none.
    """
    good = tuple(one for one in parts if one.sound)
    if not good:
        raise ReportError("no accepted part is there to be matched")
    criteria = [_criterion(good, name, share=share) for name, share in within.items()]
    matching = matched_sets(criteria, size=size, coverage_factor=coverage_factor)
    return MatchedLot(
        lot=good[0].lot,
        parts=good,
        within=dict(within),
        size=size,
        matching=matching,
    )


def _criterion(good: Sequence[PartRow], name: str, *, share: float) -> Criterion:
    found = [quantity_of(one, name) for one in good]
    values = np.array([math.nan if one is None else one.value for one in found])
    if not np.isfinite(values).any():
        raise ReportError(f"no accepted part has {WORDS.get(name, name)}")
    doubts = [0.0 if q is None else q.standard_uncertainty or 0.0 for q in found]
    values[values <= 0.0] = math.nan
    return Criterion(values=values, within_relative=share, u=np.array(doubts))


def matching_tables(found: MatchedLot) -> tuple[TextTable, ...]:
    """List the sets, the tightest first, and what is left over."""
    rows = [_set_row(found, number) for number in range(len(found.matching.sets))]
    words = [WORDS.get(name, name) for name in found.within]
    heads = ("set", "#", "parts", f"least {words[0]}", *(f"{w} differs" for w in words))
    sets = TextTable(
        title=f"{len(rows)} sets of {found.size}, the tightest first",
        heads=heads,
        rows=tuple(rows),
        numeric=frozenset({0, *range(3, len(heads))}),
    )
    left = TextTable(
        title="Left over",
        heads=("#", "part"),
        rows=tuple(
            (str(one.position), one.label)
            for one in (found.parts[i] for i in found.matching.left)
        ),
        numeric=frozenset({0}),
    )
    return tuple(one for one in (sets, left) if one.rows)


def _set_row(found: MatchedLot, number: int) -> tuple[str, ...]:
    members = found.members(number)
    first = quantity_of(members[0], next(iter(found.within)))
    value = "" if first is None else _short(first.value, first.unit)
    spread_relative = found.matching.sets[number].spread_relative
    spreads = (f"{100.0 * spread:.2g} %" for spread in spread_relative)
    names = ", ".join(part.label or f"#{part.position}" for part in members)
    places = ", ".join(str(part.position) for part in members)
    return (str(number + 1), places, names, value, *spreads)


def _short(value: float, unit: str) -> str:
    shown, _, prefix = format_quantity(value, u=math.nan, unit=unit)
    return f"{shown} {prefix}".rstrip()
