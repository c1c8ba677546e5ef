"""What becomes of one part of a lot: measured, decided, and on what grounds."""

from collections.abc import Mapping
from dataclasses import dataclass

from ...analysis.lots import Conformity, Decision, Verdict, decide
from ...analysis.quantity import Caution, Quantity, format_quantity
from ...analysis.reading import Reading
from ...analysis.result import Result
from ..run import NOT_SETTLED
from .file import LotFile
from .models import EXPANDED, RangeTable

__all__ = [
    "NOT_MEASURED",
    "CheckOutcome",
    "LimitDecision",
    "Outcome",
    "Part",
    "decided",
    "shown",
]

NOT_MEASURED = "not_measured"  # a limit on what the result does not have


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part to be measured.

    Attributes
    ----------
    position
        Its place among those measured, from 1.
    number
        Its place in the lot, from 1; the same where all are measured.
    label
        What it is called; empty until somebody says.
    again
        Whether it was measured before, and that very part is to be measured anew.
    """

    position: int
    number: int
    label: str
    again: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitDecision:
    """One limit of a part.

    Attributes
    ----------
    name
        The limit's.
    limit
        What was held against it.
    found
        The quantity as measured; None: the result has none.
    conformity
        What was decided; None where nothing could be.
    """

    name: str
    limit: RangeTable
    found: Quantity | None
    conformity: Conformity | None

    @property
    def decision(self) -> Decision:
        """Accepted, rejected or undecided; what was not measured is undecided."""
        return self.conformity.decision if self.conformity else Decision.UNDECIDED

    @property
    def reason(self) -> Caution | None:
        """Why the part is not accepted by this limit; None where it is."""
        if self.decision is Decision.ACCEPTED:
            return None
        what = self.limit.quantity
        if self.found is None:
            return Caution(
                code=f"{what}_{NOT_MEASURED}",
                text=f"{_words(what)} was not measured, so its limit decides nothing",
            )
        limits = self.limit.limits
        low = self.found.value - limits.low < limits.high - self.found.value
        edge = limits.low if low else limits.high
        bound, _, unit = format_quantity(edge, u=0.0, unit=self.limit.unit)
        sure = self.decision is Decision.REJECTED
        side = ("below" if low else "above") if sure else "too_close"
        said = f"{'below' if low else 'above'}" if sure else "too close to"
        return Caution(
            code=f"{what}_{side}",
            text=f"{shown(self.found)} is {said} the limit of {bound} {unit}".rstrip(),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """One part, done.

    Attributes
    ----------
    part
        Which.
    again
        It takes the place of what was found at that position before.
    begun
        When (ISO 8601, UTC).
    verdict
        What became of it.
    reasons
        Why it is not accepted; empty where it is.
    decisions
        Limit by limit.
    result
        What was measured; None where nothing could be.
    readings
        Every reading by step, also of a measurement that came to nothing.
    bin
        The bin that the part goes to; empty where there is none.
    """

    part: Part
    again: bool
    begun: str
    verdict: Verdict
    reasons: tuple[Caution, ...] = ()
    decisions: tuple[LimitDecision, ...] = ()
    result: Result | None = None
    readings: Mapping[str, tuple[Reading, ...]]
    bin: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CheckOutcome:
    """A reading of the check standard.

    Attributes
    ----------
    standard, begun
        Which and when.
    in_control
        Whether it reads as it does when all is well.
    value
        The quantity that is watched; None where nothing could be measured.
    reasons
        What is out, or how little is known of the standard yet.
    result, readings
        As of a part.
    """

    standard: str
    begun: str
    in_control: bool
    value: Quantity | None
    reasons: tuple[Caution, ...]
    result: Result | None
    readings: Mapping[str, tuple[Reading, ...]]


def decided(
    result: Result, lot: LotFile
) -> tuple[Verdict, tuple[Caution, ...], tuple[LimitDecision, ...]]:
    """Hold a result against a lot's limits.

    Returns
    -------
    tuple
        The verdict, the reasons for not accepting, and the decisions limit by limit.
        Accepted if all limits accept, rejected if any rejects, else undecided; what was
        read before the instruments had settled is not accepted.
    """
    found = {one.name: one for one in result.quantities}
    decisions = tuple(
        _against(name, limit, found.get(limit.quantity), lot)
        for name, limit in lot.limit.items()
    )
    each = {one.decision for one in decisions}
    unsettled = tuple(one for one in result.warnings if one.code == NOT_SETTLED)
    verdict = Verdict.ACCEPTED
    if Decision.REJECTED in each:
        verdict = Verdict.REJECTED
    elif Decision.UNDECIDED in each or unsettled:
        verdict = Verdict.UNDECIDED
    reasons = tuple(one.reason for one in decisions if one.reason is not None)
    return verdict, (*reasons, *unsettled), decisions


def _against(
    name: str, limit: RangeTable, found: Quantity | None, lot: LotFile
) -> LimitDecision:
    conformity = None
    if found is not None:
        conformity = decide(
            found.value,
            u=found.standard_uncertainty,
            limits=limit.limits,
            guard_band=lot.decision.rule,
        )
    return LimitDecision(name=name, limit=limit, found=found, conformity=conformity)


def shown(quantity: Quantity) -> str:
    """Write a quantity with its expanded uncertainty (k = 2), for people."""
    doubt_si = EXPANDED * quantity.standard_uncertainty
    value, doubt, unit = format_quantity(quantity.value, u=doubt_si, unit=quantity.unit)
    name = {"unloaded_q": "Q", "loaded_q": "loaded Q", "inductance": "L"}.get(
        quantity.name,
        {"capacitance": "C", "dissipation_factor": "D"}.get(
            quantity.name, _words(quantity.name)
        ),
    )
    return f"{name} = {value} ± {doubt} {unit}".rstrip()


def _words(name: str) -> str:
    return name.replace("_", " ")
