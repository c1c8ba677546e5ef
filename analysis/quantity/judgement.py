"""How what was said of a part came out when it was held against a measurement."""

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["Judged", "Judgement"]


class Judged(StrEnum):
    """How it came out."""

    FITS = "fits"
    UNDECIDED = "undecided"
    DOES_NOT_FIT = "does not fit"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """One thing that was said of a part, held against what was measured.

    Attributes
    ----------
    about
        What was held against it: ``expected``, ``marked``, or of a check the quantity.
    outcome
        How it came out.
    text
        The whole of it, a sentence for people.
    """

    about: str
    outcome: Judged
    text: str
