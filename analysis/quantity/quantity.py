"""A quantity as it is handed on: a value with its unit, its doubt and its budget."""

from dataclasses import dataclass

__all__ = ["Caution", "Contribution", "Quantity"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """What one input brings to a result's standard uncertainty, in its unit."""

    source: str
    u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One quantity of a result, in SI.

    Attributes
    ----------
    name
        As result documents name it (``inductance``).
    value, unit
        The value and its unit (``1`` for a pure number).
    standard_uncertainty
        k = 1, same unit.
    interval
        95 % coverage interval, same unit; None where none was worked out.
    budget
        What the standard uncertainty is made of, the largest first.
    at_most
        What it is below with 95 % probability, where it is too small to be resolved;
        then the value is not to be quoted. None: it is resolved.
    """

    name: str
    value: float
    unit: str
    standard_uncertainty: float
    interval: tuple[float, float] | None = None
    budget: tuple[Contribution, ...] = ()
    at_most: float | None = None

    @property
    def limits(self) -> tuple[float, float]:
        """Where its interval ends; the value itself where none was worked out."""
        return self.interval or (self.value, self.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One doubt: a code for programs, a sentence for people."""

    code: str
    text: str
