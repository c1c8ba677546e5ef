"""What became of a part: the words that a lot, a record and a document share."""

from collections.abc import Iterable
from enum import StrEnum

__all__ = ["Verdict", "nothing_wanting"]


class Verdict(StrEnum):
    """What became of a part."""

    ACCEPTED = "accepted"
    REJECTED = "rejected"
    UNDECIDED = "undecided"
    UNMEASURED = "unmeasured"
    SKIPPED = "skipped"
    UNDONE = "undone"


def nothing_wanting(verdicts: Iterable[Verdict], *, suspect: int) -> bool:
    """Tell whether all parts are accepted and none of them is suspect.

    Parameters
    ----------
    verdicts
        Of all parts, as they count now.
    suspect
        How many parts a check standard out of control makes doubtful.
    """
    return not suspect and set(verdicts) <= {Verdict.ACCEPTED}
