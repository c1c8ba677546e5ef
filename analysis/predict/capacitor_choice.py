"""Which of the capacitors at hand suits a range of inductance on a bench, and why."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from ..errors import InputError
from ..quantity import format_quantity
from .reach import BenchReach, Candidate, ReadingPlan, Use, foresee

__all__ = ["Choice", "Outlook", "choose_capacitors"]

TWO_ARE_BETTER = 1.5  # by so much must two capacitors beat one at its worst
MOST = 20  # capacitors compared at once


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """One capacitor at the range's lower end, geometric middle and upper end."""

    name: str
    uses: tuple[Use, ...]

    @property
    def usable(self) -> bool:
        """Whether nothing stands in its way anywhere."""
        return all(not use.obstacles for use in self.uses)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Which capacitors to use for a range of inductance, and why."""

    lowest_h: float
    highest_h: float
    plan: ReadingPlan
    outlooks: tuple[Outlook, ...]
    recommended: tuple[str, ...]
    sentence: str


def choose_capacitors(
    candidates: Sequence[Candidate],
    *,
    lowest_h: float,
    highest_h: float,
    bench: BenchReach,
    plan: ReadingPlan,
) -> Choice:
    """Compare capacitors over a range of inductance and recommend one, or two.

    Parameters
    ----------
    candidates
        One to twenty, in the order they are to be shown.
    lowest_h, highest_h
        The expected range in H.
    bench, plan
        The bench's limits; the coil and the readings expected.

    Raises
    ------
    InputError
        No capacitor, too many, or a range that is empty.

    Notes
    -----
    A capacitor is judged by the relative standard uncertainties of inductance and
    unloaded Q, their squares added, at the worse of the range's ends and its geometric
    middle. Two are recommended where no single one reaches the whole range, or where
    they halve the worst by a factor of 1.5 or more.
    """
    if not 1 <= len(candidates) <= MOST:
        raise InputError(
            f"say 1 to {MOST} capacitors that are at hand, not {len(candidates)}"
        )
    if not 0.0 < lowest_h <= highest_h < math.inf:
        raise InputError(
            f"a range of inductance from {_henries(lowest_h)} to "
            f"{_henries(highest_h)} is empty; give the lower one first"
        )
    at_h = (lowest_h, math.sqrt(lowest_h * highest_h), highest_h)
    outlooks = tuple(
        Outlook(
            name=one.name,
            uses=tuple(
                foresee(one, inductance_h=inductance_h, bench=bench, plan=plan)
                for inductance_h in at_h
            ),
        )
        for one in candidates
    )
    recommended, sentence = _recommend(outlooks)
    return Choice(
        lowest_h=lowest_h,
        highest_h=highest_h,
        plan=plan,
        outlooks=outlooks,
        recommended=recommended,
        sentence=sentence,
    )


def _recommend(outlooks: tuple[Outlook, ...]) -> tuple[tuple[str, ...], str]:
    single = min(outlooks, key=lambda one: _worst((one,)))
    pairs = list(combinations(outlooks, 2))
    pair = min(pairs, key=_worst, default=(single,))
    alone, together = _worst((single,)), _worst(pair)
    if math.isinf(together):
        return (), _why_not(outlooks)
    if alone <= TWO_ARE_BETTER * together:
        return (single.name,), _one(single, others=len(outlooks) > 1)
    return _two(pair, alone=alone, single=single)


def _worst(outlooks: tuple[Outlook, ...]) -> float:
    """Cost at the worst point, with the best of the capacitors at each."""
    return max(use.cost for use in _best(outlooks))


def _best(outlooks: tuple[Outlook, ...]) -> list[Use]:
    points = zip(*(one.uses for one in outlooks), strict=True)
    return [min(uses, key=lambda use: use.cost) for uses in points]


def _one(outlook: Outlook, *, others: bool) -> str:
    return (
        f"Use {outlook.name} over the whole range: "
        + _reached(list(outlook.uses))
        + (
            ", which none of the others betters enough to change over."
            if others
            else "."
        )
    )


def _reached(uses: list[Use]) -> str:
    inductance = max(uses, key=lambda use: use.u_inductance or 0.0)
    q = max(uses, key=lambda use: use.u_unloaded_q or 0.0)
    return (
        f"the inductance to {_per_cent(inductance.u_inductance)} (mostly the "
        f"{inductance.inductance_doubt}) and Q to {_per_cent(q.u_unloaded_q)} (mostly "
        f"the {q.q_doubt}) at worst, standard uncertainties"
    )


def _two(
    pair: tuple[Outlook, ...], *, alone: float, single: Outlook
) -> tuple[tuple[str, ...], str]:
    best = _best(pair)
    names = [
        next(one.name for one in pair if one.uses[index] is use)
        for index, use in enumerate(best)
    ]
    low, high = names[0], names[-1]
    if low == high:  # the other one is better in the middle alone
        other = names[1]
        parts = f"{other} about {_henries(best[1].inductance_h)} and {low} elsewhere"
        order = (low, other)
    else:
        first = 1 if names[1] == high else 2
        change_h = math.sqrt(best[first - 1].inductance_h * best[first].inductance_h)
        parts = f"{low} up to about {_henries(change_h, digits=2)} and {high} above"
        order = (low, high)
    why = (
        "no single one can be used over the whole range"
        if math.isinf(alone)
        else f"alone, {single.name} would be {alone / _worst(pair):.2g} times as "
        "uncertain at its worst"
    )
    return order, f"Use {parts}: {_reached(best)}; {why}."


def _why_not(outlooks: tuple[Outlook, ...]) -> str:
    reasons = []
    for one in outlooks:
        use = next(use for use in one.uses if use.obstacles)
        reasons.append(
            f"with {one.name} and {_henries(use.inductance_h)}, {use.obstacles[0]}"
        )
    return (
        "None of these capacitors, nor two of them, can be used over the whole range: "
        + "; ".join(reasons)
        + "."
    )


def _per_cent(share: float | None) -> str:
    return f"{(share or 0.0) * 100.0:.2g} %"


def _henries(inductance_h: float, *, digits: int = 4) -> str:
    rounded = float(f"{inductance_h:.{digits}g}")
    number, _, unit = format_quantity(rounded, u=0.0, unit="H")
    return f"{number} {unit}"
