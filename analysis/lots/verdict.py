"""What became of a part: the words that a lot, a record and a document share."""

from enum import StrEnum

__all__ = ["LONGEST_LABEL", "Verdict"]

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
