"""What became of a part: the words that a lot, a record and a document share."""

from enum import StrEnum

__all__ = ["Verdict"]


class Verdict(StrEnum):
    """What became of a part."""

    ACCEPTED = "accepted"
    REJECTED = "rejected"
    UNDECIDED = "undecided"
    UNMEASURED = "unmeasured"
    SKIPPED = "skipped"
    UNDONE = "undone"
