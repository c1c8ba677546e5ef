"""What became of a part: the words that a lot, a record and a document share."""

from collections.abc import Iterable
from enum import StrEnum

__all__ = ["LONGEST_LABEL", "Verdict", "nothing_wanting"]

# Characters of a part's label or a lot's name: PostgreSQL's indices take 2700 bytes.
LONGEST_LABEL = 500


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
