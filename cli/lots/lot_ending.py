"""A lot as a document (JSON), in a few words, and as an exit status."""

import json
from collections import Counter
from collections.abc import Sequence

from ...analysis.lots import Verdict, nothing_wanting
from ...records.base import CheckRow, LotRow, PartRow
from ...reports.lot import Held, HeldAgainst, lot_document, lot_result
from ...sweeps.lots import LotFile, RangeTable
from ..words import FOUND_WANTING

__all__ = ["held_against", "lot_counts", "lot_json", "status_of"]

MEASURED = {Verdict.ACCEPTED, Verdict.REJECTED, Verdict.UNDECIDED}
NOTHING_MEASURABLE = 4


def held_against(lot: LotFile) -> Held:
    """Hand a lot file's limits, rule and bins to the reports."""
    return Held(
        limits=tuple(_ranged(name, one) for name, one in lot.limit.items()),
        guard_band=lot.decision.rule,
        bins=tuple(_ranged(name, one) for name, one in lot.bin.items()),
    )


def _ranged(name: str, one: RangeTable) -> HeldAgainst:
    return HeldAgainst(
        name=name, quantity=one.quantity, limits=one.limits, nominal=one.nominal
    )


def lot_json(
    lot: LotFile,
    row: LotRow,
    *,
    parts: Sequence[PartRow],
    checks: Sequence[CheckRow],
) -> str:
    """Write a lot's document (``halfpower.lot/1``) as JSON, ending in a line feed.

    Parameters
    ----------
    lot
        The lot file.
    row, parts, checks
        From a record base; parts as they count now.
    """
    result = lot_result(row, parts=parts, checks=checks, held=held_against(lot))
    document = lot_document(result)
    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def status_of(parts: Sequence[PartRow], *, complete: bool) -> int:
    """Give the exit status: 0 is for a whole lot, all of it accepted and no doubt.

    Parameters
    ----------
    parts
        As they count now.
    complete
        Whether the lot was gone through to its end.
    """
    verdicts = {one.verdict for one in parts}
    if Verdict.UNMEASURED in verdicts and not verdicts & MEASURED:
        return NOTHING_MEASURABLE
    suspect = sum(one.suspect for one in parts)
    is_well = complete and nothing_wanting(verdicts, suspect=suspect)
    return 0 if is_well else FOUND_WANTING


def lot_counts(parts: Sequence[PartRow]) -> str:
    """Say in a few words what became of a lot's parts."""
    counted = Counter(one.verdict for one in parts)
    words = [f"{counted[one]} {one.value}" for one in Verdict if counted[one]]
    suspect = sum(one.suspect for one in parts)
    if suspect:
        words.append(f"{suspect} of these suspect")
    return f"{len(parts)} parts: {', '.join(words) or 'none measured'}"
