"""What became of a lot: yield, verdicts, figures, defects, bins, suspect parts."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...analysis.errors import InputError
from ...analysis.lots import (
    Column,
    GuardBand,
    LikelyDefect,
    Limits,
    QuantityFigures,
    Verdict,
    Yield,
    column_figures,
    defects_of,
    nothing_wanting,
    yield_of,
)
from ...analysis.quantity import format_quantity
from ...records.base import CheckRow, LotRow, PartRow, StoredQuantity

__all__ = [
    "Bin",
    "Defect",
    "Held",
    "HeldAgainst",
    "LotResult",
    "ReasonCount",
    "bin_of",
    "lot_result",
    "quantity_of",
]

TESTED = (
    Verdict.ACCEPTED,
    Verdict.REJECTED,
    Verdict.UNDECIDED,
    Verdict.UNMEASURED,
)
SIMPLE = GuardBand()
# The columns first, whatever order a base gives them in.
LEADING = ("inductance", "capacitance", "unloaded_q", "dissipation_factor")
Q_NAMES = ("unloaded_q", "loaded_q")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldAgainst:
    """A range that a quantity of a part is to lie in: a limit, or a bin.

    Attributes
    ----------
    name
        What the range is called.
    quantity
        As result documents name it.
    limits
        SI.
    nominal
        The marked value, SI; None where there is none.
    """

    name: str
    quantity: str
    limits: Limits
    nominal: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """All that a lot is held against.

    Attributes
    ----------
    limits
        What parts must keep.
    guard_band
        How sure a verdict must be.
    bins
        Where accepted parts go, the first that fits; none: they are not sorted.
    """

    limits: tuple[HeldAgainst, ...] = ()
    guard_band: GuardBand = SIMPLE
    bins: tuple[HeldAgainst, ...] = ()

    def limit_on(self, quantity: str) -> HeldAgainst | None:
        """Return the first limit on a quantity."""
        return next((one for one in self.limits if one.quantity == quantity), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReasonCount:
    """How many parts have a verdict for a reason; the text is the first one's."""

    verdict: Verdict
    code: str
    text: str
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """Accepted parts of one bin."""

    name: str
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Defect:
    """What is likely the matter with one part, its label in the sentence."""

    index: int
    position: int
    label: str
    likely: LikelyDefect

    @property
    def said(self) -> str:
        """What is said for the cause, another value with its unit."""
        _, _, said = self.likely.text.partition(": ")
        other = self.likely.other_value
        if other is None:
            return said
        value, _, unit = format_quantity(other, u=math.nan, unit="H")
        return said.replace(f"({other:.4g})", f"({value} {unit})")

    @property
    def text(self) -> str:
        """The sentence, about the part by its label."""
        return f"{self.label or f'position {self.position}'}: {self.said}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LotResult:
    """A lot's results.

    Attributes
    ----------
    lot, parts, checks
        As the record base gives them: parts as they count now, in order.
    held
        What they were held against.
    verdicts
        How many parts of each; those without any left out.
    suspect
        Parts measured while the check standard was out, or not known to be in.
    sound
        Accepted and not suspect.
    yield_
        Sound parts of those tested, with its interval; None where none was tested.
    reasons
        Most frequent first.
    figures
        A quantity each.
    defects, bins
        Of the parts that stand apart; of the accepted parts.
    """

    lot: LotRow
    parts: tuple[PartRow, ...]
    checks: tuple[CheckRow, ...]
    held: Held
    verdicts: Mapping[Verdict, int]
    suspect: tuple[PartRow, ...]
    sound: int
    yield_: Yield | None
    reasons: tuple[ReasonCount, ...]
    figures: tuple[QuantityFigures, ...]
    defects: tuple[Defect, ...]
    bins: tuple[Bin, ...]

    @property
    def all_accepted(self) -> bool:
        """Whether every part is accepted, and none is suspect."""
        return nothing_wanting(self.verdicts, suspect=len(self.suspect))

    @property
    def tested_positions(self) -> tuple[int, ...]:
        """Positions of the tested parts; the figures' indices are into these."""
        return tuple(one.position for one in self.parts if one.verdict in TESTED)

    def figures_of(self, quantity: str) -> QuantityFigures | None:
        """Return a quantity's figures; None where no part has it."""
        return next((f for f in self.figures if f.column.quantity == quantity), None)


def quantity_of(row: PartRow | CheckRow, name: str) -> StoredQuantity | None:
    """Return a part's quantity by its name; None where it has none."""
    return next((one for one in row.quantities if one.name == name), None)


def bin_of(part: PartRow, held: Held) -> str:
    """Name the bin of an accepted part: the first it fits; empty where none does."""
    if part.verdict is not Verdict.ACCEPTED:
        return ""
    for one in held.bins:
        found = quantity_of(part, one.quantity)
        if found is not None and one.limits.contain(found.value):
            return one.name
    return ""


def lot_result(
    lot: LotRow,
    *,
    parts: Sequence[PartRow],
    checks: Sequence[CheckRow] = (),
    held: Held,
    level: float = 0.95,
) -> LotResult:
    """Put a lot's results together.

    Parameters
    ----------
    lot, parts, checks
        From a record base; parts as they count now. Those undone or skipped are
        counted by verdict and are in no other figure.
    held
        What they are held against.
    level
        Confidence level of all intervals, between 0 and 1.

    Raises
    ------
    InputError
        A level that is none.
    """
    if not 0.0 < level < 1.0:
        raise InputError(f"a confidence level is between 0 and 1, not {level:g}")
    tested = [one for one in parts if one.verdict in TESTED]
    sound = sum(one.sound for one in tested)
    counted = Counter(one.verdict for one in parts)
    columns = _columns(tested, held)
    return LotResult(
        lot=lot,
        parts=tuple(parts),
        checks=tuple(checks),
        held=held,
        verdicts={one: counted[one] for one in Verdict if counted[one]},
        suspect=tuple(one for one in tested if one.suspect),
        sound=sound,
        yield_=yield_of(sound, tested=len(tested), level=level) if tested else None,
        reasons=_reasons(parts),
        figures=_figures(columns, level=level),
        defects=_defects(tested, columns),
        bins=_bins(tested, held),
    )


def _reasons(parts: Sequence[PartRow]) -> tuple[ReasonCount, ...]:
    counted: Counter[tuple[Verdict, str]] = Counter()
    texts: dict[tuple[Verdict, str], str] = {}
    for part in parts:
        for reason in {one.code: one for one in part.reasons}.values():
            key = (part.verdict, reason.code)
            counted[key] += 1
            texts.setdefault(key, reason.text)
    return tuple(
        ReasonCount(verdict=key[0], code=key[1], text=texts[key], count=n)
        for key, n in sorted(counted.items(), key=lambda one: (-one[1], one[0]))
    )


def _columns(tested: Sequence[PartRow], held: Held) -> list[Column]:
    """Turn the parts' quantities into columns."""
    units = _units_in_order(tested, held)
    where = {name: place for place, name in enumerate(units)}
    values = np.full((len(units), len(tested)), math.nan)
    u = values.copy()
    for number, part in enumerate(tested):
        for one in part.quantities:
            place = where[one.name]
            values[place, number] = one.value
            doubt = one.standard_uncertainty
            u[place, number] = math.nan if doubt is None else doubt
    return [
        Column(
            quantity=name,
            unit=units[name],
            values=values[place],
            u=u[place],
            limits=None if (held_to := held.limit_on(name)) is None else held_to.limits,
            nominal=None if held_to is None else held_to.nominal,
        )
        for name, place in where.items()
    ]


def _units_in_order(tested: Sequence[PartRow], held: Held) -> dict[str, str]:
    """List the parts' quantities and their units, those with limits first."""
    units: dict[str, str] = {}
    for part in tested:
        for one in part.quantities:
            units.setdefault(one.name, one.unit)
    first = (*(one.quantity for one in held.limits), *LEADING)
    return {name: units[name] for name in (*first, *units) if name in units}


def _figures(columns: Sequence[Column], *, level: float) -> tuple[QuantityFigures, ...]:
    found = (column_figures(one, level=level) for one in columns)
    return tuple(one for one in found if one is not None)


def _defects(
    tested: Sequence[PartRow], columns: Sequence[Column]
) -> tuple[Defect, ...]:
    by_name = {one.quantity: one for one in columns}
    if "inductance" not in by_name:
        return ()
    figure = next((by_name[name] for name in Q_NAMES if name in by_name), None)
    return tuple(
        Defect(
            index=one.part,
            position=tested[one.part].position,
            label=tested[one.part].label,
            likely=one,
        )
        for one in defects_of(by_name["inductance"], q=figure)
    )


def _bins(tested: Sequence[PartRow], held: Held) -> tuple[Bin, ...]:
    if not held.bins:
        return ()
    counted = Counter(
        bin_of(one, held) for one in tested if one.verdict is Verdict.ACCEPTED
    )
    named = [Bin(name=one.name, count=counted[one.name]) for one in held.bins]
    none = counted[""]
    return (*named, *((Bin(name="", count=none),) if none else ()))
