"""Matched sets: as many as possible from a bag, and the closest of those.

One criterion is a line. On it some best choice takes neighbours: sort, and any two
sets whose ranges overlap can be re-cut into the lower and the upper half of their
parts, any set with an idle part within its range can take that for its end, and
neither widens anything. So a pass over the sorted values that either skips a part or
closes a set finds the most sets and, of those, the least total spread.

With a second criterion, or doubts that differ from part to part, there is no line.
Then every set that would do is a candidate, and the choice is a set packing, an
integer programme solved twice: for the number of sets, then, with no fewer, for the
least total spread. (Both at once, a set's reward above all spreads, is hard to solve:
the spreads drown in it.)
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, sparse

from ..errors import InputError
from ..quantity import Caution
from .trend import FloatArray, Numbers

__all__ = ["Criterion", "MatchedSet", "Matching", "matched_sets"]

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

ROUNDING = 1e-12  # of a logarithm: 100 and 101 are within 1 %
SAME = 1e-6  # relative: doubts, and total spreads, that are not told apart
MOST_NODES = 20  # of branch and bound: a count, so that each run gives the same
MOST_PAIRS = 50_000  # candidate pairs; 200 parts have 19 900
MOST_LISTED = 40_000  # candidate sets listed before the tightest are chosen


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Criterion:
    """One quantity by which parts are to be alike.

    Attributes
    ----------
    values
        One for each part, shape (N,), > 0, any unit; NaN where it was not measured.
    within_relative
        The largest of a set may exceed the smallest by this share (0.01 for 1 %).
    u
        Standard uncertainties, same unit as the values, shape (N,) or one for all: of
        what differs from part to part alone, since what all share falls out of a
        comparison. None: taken as exact.
    """

    values: Numbers
    within_relative: float
    u: Numbers | float | None = None

    def __post_init__(self) -> None:
        """Refuse what is no row of positive numbers, or a width that is none."""
        values = np.array(self.values, dtype=np.float64)
        u = np.array(0.0 if self.u is None else self.u, dtype=np.float64)
        positive = np.isnan(values) | ((values > 0.0) & np.isfinite(values))
        if values.ndim != 1 or not positive.all() or (u < 0.0).any():
            raise InputError("a criterion needs one row of values > 0 and u >= 0")
        if u.shape not in {(), values.shape}:
            raise InputError(f"give one uncertainty or {values.size}, not {u.shape}")
        if not np.isfinite(np.where(np.isnan(values), 0.0, u)).all():
            raise InputError("a measured value's uncertainty must be finite")
        if not 0.0 < self.within_relative < math.inf:
            raise InputError(f"within {self.within_relative:g} nothing can be matched")
        u = np.broadcast_to(u, values.shape).copy()
        values.flags.writeable = u.flags.writeable = False
        object.__setattr__(self, "values", values)
        object.__setattr__(self, "u", u)

    @property
    def log_values(self) -> FloatArray:
        """Logarithms of the values."""
        logs: FloatArray = np.log(np.asarray(self.values, dtype=np.float64))
        return logs

    @property
    def u_log(self) -> FloatArray:
        """Relative standard uncertainties; NaN where one is not known."""
        u, values = np.asarray(self.u, dtype=np.float64), np.asarray(self.values)
        shares: FloatArray = u / values
        return shares


@dataclass(frozen=True, slots=True, kw_only=True)
class MatchedSet:
    """Parts that belong together.

    Attributes
    ----------
    parts
        Indices into the values, by the first criterion, the smallest first.
    spread_relative
        For each criterion, how much the largest exceeds the smallest.
    u_spread_relative
        The standard uncertainties of these.
    """

    parts: tuple[int, ...]
    spread_relative: tuple[float, ...]
    u_spread_relative: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Matching:
    """A bag sorted into sets.

    Attributes
    ----------
    sets
        The tightest first.
    left
        Indices of the parts in no set.
    most_proven
        No choice has more sets.
    tightest_proven
        Nor, with as many, a smaller total spread.
    cautions
        Says so where either is not proven.
    """

    sets: tuple[MatchedSet, ...]
    left: tuple[int, ...]
    most_proven: bool
    tightest_proven: bool
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Bag:
    """The measured parts: logarithms, and what each pair may differ by."""

    log_values: FloatArray  # (parts, criteria)
    limits: FloatArray  # (criteria,)
    margins: FloatArray  # (criteria, parts, parts): k times the doubt of a difference

    def alike(self) -> BoolArray:
        """Which pairs are within every limit, shape (parts, parts)."""
        x = self.log_values.T
        apart = np.abs(x[:, :, np.newaxis] - x[:, np.newaxis, :])
        allowed = self.limits[:, np.newaxis, np.newaxis] + ROUNDING
        return np.asarray((apart + self.margins <= allowed).all(axis=0))

    def cost(self, sets: IntArray) -> FloatArray:
        """Spread of each set in shares of the limits, summed over the criteria."""
        x = self.log_values[sets]
        return np.asarray(((x.max(axis=1) - x.min(axis=1)) / self.limits).sum(axis=1))


def matched_sets(
    criteria: Sequence[Criterion],
    *,
    size: int = 2,
    coverage_factor: float = 0.0,
    most_candidates: int = 500,
) -> Matching:
    """Sort parts into as many matched sets as possible.

    Parameters
    ----------
    criteria
        One or more, for the same parts in the same order. A part that lacks a value
        is left over.
    size
        Parts in a set, 2 or more.
    coverage_factor
        0: sets are alike as measured. k: surely so; what any two of a set differ by,
        plus k standard uncertainties of that difference, is within the limit.
    most_candidates
        Larger sets than pairs, by several criteria: if more sets than this would do,
        the choice is among the tightest for each part, and a caution says that more
        may be had. A larger number costs time.

    Returns
    -------
    Matching
        The same for the same input.

    Raises
    ------
    InputError
        No criterion, rows of different length, a size below 2, k below zero, or more
        than 50 000 candidate pairs by several criteria.

    Notes
    -----
    Of the choices with the most sets it is one with the least total spread: the sum
    of ln(largest/smallest), each criterion in shares of its limit. The line is exact
    for any number of parts; by two criteria 200 parts took 0.3 s to 1.5 s.
    For larger sets by two criteria the problem is hard (NP) and may stay unproven.
    """
    n_parts = _checked(criteria, size=size, coverage_factor=coverage_factor)
    known = np.flatnonzero(
        np.isfinite([one.log_values for one in criteria]).all(axis=0)
    )
    x = np.stack([one.log_values[known] for one in criteria], axis=1)
    doubt = np.stack([one.u_log[known] for one in criteria], axis=1) * coverage_factor
    limits = np.log1p([one.within_relative for one in criteria])
    same = doubt.size == 0 or np.ptp(doubt) <= SAME * float(doubt.max())
    if len(criteria) == 1 and same:
        margin = math.sqrt(2.0) * float(doubt.max(initial=0.0))
        chosen = _on_a_line(x[:, 0], limit=float(limits[0]) - margin, size=size)
        proven = (True, True)
    else:
        squares = doubt.T**2
        margins = np.sqrt(squares[:, :, np.newaxis] + squares[:, np.newaxis, :])
        bag = _Bag(log_values=x, limits=limits, margins=margins)
        chosen, *found = _packed(bag, size=size, most=most_candidates)
        proven = (found[0], found[1])
    return _matching(known[chosen], criteria=criteria, n_parts=n_parts, proven=proven)


def _checked(
    criteria: Sequence[Criterion], *, size: int, coverage_factor: float
) -> int:
    lengths = {one.log_values.size for one in criteria}
    if len(lengths) != 1:
        raise InputError("matching needs one criterion or more, of as many parts each")
    if size < 2:  # noqa: PLR2004 # one part is no set
        raise InputError(f"a set has two parts or more, not {size}")
    if not 0.0 <= coverage_factor < math.inf:
        raise InputError(f"a coverage factor is 0 or more, not {coverage_factor:g}")
    return lengths.pop()


def _on_a_line(x: FloatArray, *, limit: float, size: int) -> IntArray:
    """Choose sets of sorted neighbours: the most, then the least total spread."""
    order = np.argsort(x, kind="stable")
    line = x[order]
    best = [(0, 0.0)] * (line.size + 1)  # sets and minus their spread, of the first i
    closes = [False] * (line.size + 1)
    for i in range(1, line.size + 1):
        best[i] = best[i - 1]
        spread = float(line[i - 1] - line[i - size]) if i >= size else math.inf
        if spread <= limit + ROUNDING:
            count, total = best[i - size]
            taken = (count + 1, total - spread)
            if taken > best[i]:
                best[i], closes[i] = taken, True
    chosen, i = [], line.size
    while i > 0:
        if closes[i]:
            chosen.append(order[i - size : i])
        i -= size if closes[i] else 1
    return np.array(chosen, dtype=np.int64).reshape(-1, size)


def _packed(bag: _Bag, *, size: int, most: int) -> tuple[IntArray, bool, bool]:
    """Choose disjoint sets; say whether their number and their spread are proven."""
    sets, complete = _candidates(bag, size=size, most=most)
    if not len(sets):
        return sets, complete, complete
    n_parts = len(bag.log_values)
    columns = np.repeat(np.arange(len(sets)), size)
    once = sparse.csr_array(
        (np.ones(columns.size), (sets.ravel(), columns)), shape=(n_parts, len(sets))
    )
    number, surely = _least(-np.ones(len(sets)), once=once, sets=0)
    closest, surely_too = _least(bag.cost(sets), once=once, sets=int(number.sum()))
    # Stopped before a first choice was found, the second keeps the first one's.
    chosen = sets[closest if closest.any() else number]
    exact = surely and complete
    return chosen, exact or len(chosen) == n_parts // size, exact and surely_too


def _least(
    cost: FloatArray, *, once: sparse.csr_array, sets: int
) -> tuple[BoolArray, bool]:
    """Take so many sets, no part twice, at the least cost; say if surely the least.

    0: as many as it costs least to take.
    """
    found = optimize.milp(
        cost,
        integrality=np.ones(cost.size, dtype=np.int64),
        bounds=optimize.Bounds(0.0, 1.0),
        constraints=optimize.LinearConstraint(
            sparse.vstack((once, sparse.csr_array(np.ones((1, cost.size))))),
            lb=np.append(np.zeros(once.shape[0]), sets),
            ub=np.append(np.ones(once.shape[0]), sets or math.inf),
        ),
        options={"mip_rel_gap": SAME, "node_limit": MOST_NODES},
    )
    x = np.zeros(cost.size) if found.x is None else found.x
    return np.asarray(x > 0.5), found.status == 0  # noqa: PLR2004 # whole numbers, as a solver writes them


def _candidates(bag: _Bag, *, size: int, most: int) -> tuple[IntArray, bool]:
    """List the sets that would do, and whether these are all."""
    alike = np.triu(bag.alike(), k=1)
    sets = np.argwhere(alike).astype(np.int64)
    if len(sets) > MOST_PAIRS:
        raise InputError(
            f"{len(sets)} pairs would do by these criteria, more than {MOST_PAIRS}: "
            "match fewer parts at a time, or more closely",
            n_pairs=len(sets),
        )
    complete = True
    for _ in range(size - 2):
        grown = [
            np.concatenate((np.tile(one, (len(more), 1)), more[:, np.newaxis]), axis=1)
            for one, more in _extensions(sets, alike)
        ]
        sets = np.concatenate(grown) if grown else np.empty((0, sets.shape[1] + 1), int)
        if len(sets) > MOST_LISTED:
            sets, complete = _tightest(bag, sets, most=MOST_LISTED // 4), False
    if size > 2 and len(sets) > most:  # noqa: PLR2004 # pairs are never thinned
        sets, complete = _tightest(bag, sets, most=most), False
    return sets, complete


def _extensions(
    sets: IntArray, alike: BoolArray
) -> Iterator[tuple[IntArray, IntArray]]:
    for one in sets:
        more = np.flatnonzero(alike[one].all(axis=0))
        if more.size:
            yield one, more


def _tightest(bag: _Bag, sets: IntArray, *, most: int) -> IntArray:
    """Keep each part's tightest sets, turn by turn, up to a number."""
    order = np.argsort(bag.cost(sets), kind="stable")
    turn = np.zeros(len(bag.log_values), dtype=np.int64)
    rank = np.empty(len(sets), dtype=np.int64)
    for index in order:
        parts = sets[index]
        rank[index] = turn[parts].min()
        turn[parts] += 1
    kept = np.lexsort((bag.cost(sets), rank))[:most]
    return sets[np.sort(kept)]


def _matching(
    chosen: IntArray,
    *,
    criteria: Sequence[Criterion],
    n_parts: int,
    proven: tuple[bool, bool],
) -> Matching:
    sets = [_described(parts, criteria=criteria) for parts in chosen]
    sets.sort(key=lambda one: (one.spread_relative, one.parts))
    left = np.setdiff1d(np.arange(n_parts), chosen.ravel())
    cautions: tuple[Caution, ...] = ()
    if not all(proven):
        what = "closer sets" if proven[0] else "more sets"
        text = (
            f"the search was stopped before all ways were tried: {what} may be had;"
            " match more closely, or allow more candidates"
        )
        cautions = (Caution(code="matching_not_proven", text=text),)
    return Matching(
        sets=tuple(sets),
        left=tuple(int(one) for one in left),
        most_proven=proven[0],
        tightest_proven=proven[1],
        cautions=cautions,
    )


def _described(parts: IntArray, *, criteria: Sequence[Criterion]) -> MatchedSet:
    parts = parts[np.lexsort((parts, criteria[0].log_values[parts]))]
    spreads, doubts = [], []
    for one in criteria:
        x, u = one.log_values[parts], one.u_log[parts]
        low, high = int(np.argmin(x)), int(np.argmax(x))
        ratio = math.exp(x[high] - x[low])
        spreads.append(ratio - 1.0)
        doubts.append(ratio * math.hypot(u[low], u[high]) if low != high else 0.0)
    return MatchedSet(
        parts=tuple(int(one) for one in parts),
        spread_relative=tuple(spreads),
        u_spread_relative=tuple(doubts),
    )
