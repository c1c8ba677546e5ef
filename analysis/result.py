"""A result: what was found of a part, how surely, and the evidence for it."""

from dataclasses import dataclass

from .propagate import Contribution
from .reading import Reading
from .resonance_fit import ResonanceFit

__all__ = ["Caution", "Evidence", "Quantity", "Result"]


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
    """

    name: str
    value: float
    unit: str
    standard_uncertainty: float
    interval: tuple[float, float] | None = None
    budget: tuple[Contribution, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One doubt: a code for programs, a sentence for people."""

    code: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What a result was made from, enough to work it out again.

    Attributes
    ----------
    readings
        Every reading, in the order taken.
    used
        Indices into ``readings`` of those that the fit was given, in its order;
        it may have refused some of them.
    settings
        The procedure's arguments and the fixture constants in force, as text.
    instruments
        Who the instruments said they are.
    found
        The fit of the used readings, residuals and flags included.
    software
        Name and version of what computed it.
    begun
        When the measurement began (ISO 8601, UTC); empty where nobody said.
    """

    readings: tuple[Reading, ...]
    used: tuple[int, ...]
    settings: tuple[tuple[str, str], ...]
    instruments: tuple[tuple[str, str], ...]
    found: ResonanceFit
    software: str
    begun: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Result:
    """The outcome of one procedure on one part.

    Attributes
    ----------
    procedure
        ``sweep``, ``fit`` or ``coil``.
    label
        What the part is called; empty where nobody said.
    quantities
        What was found.
    warnings
        What must be known before it is believed.
    evidence
        What it was made from.
    """

    procedure: str
    label: str
    quantities: tuple[Quantity, ...]
    warnings: tuple[Caution, ...]
    evidence: Evidence

    def __getitem__(self, name: str) -> Quantity:
        """Return a quantity by its name; `KeyError` where there is none."""
        for quantity in self.quantities:
            if quantity.name == name:
                return quantity
        raise KeyError(name)
