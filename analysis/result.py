"""A result: what was found of a part, how surely, and the evidence for it."""

from dataclasses import dataclass

from .propagate import Contribution
from .reading import Reading
from .resonance_fit import ResonanceFit

__all__ = ["Caution", "Evidence", "Quantity", "Result", "Swept"]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One doubt: a code for programs, a sentence for people."""

    code: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swept:
    """One resonance of a measurement: what was on the fixture, and what was read.

    Attributes
    ----------
    readings
        Every reading, in the order taken.
    used
        Indices into ``readings`` of those that the fit was given, in its order;
        it may have refused some of them.
    found
        The fit of the used readings, residuals and flags included. Of a sweep with a
        variable capacitor it is the fit over the dial's settings in F.
    step
        What this resonance is called in a measurement of several (``unknown``);
        empty where there is one.
    quantities
        What was deduced from this resonance by itself.
    """

    readings: tuple[Reading, ...]
    used: tuple[int, ...]
    found: ResonanceFit
    step: str = ""
    quantities: tuple[Quantity, ...] = ()

    @property
    def by_dial(self) -> bool:
        """Whether a capacitor was turned, rather than the frequency."""
        return self.found.response.abscissa_unit == "F"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What a result was made from, enough to work it out again.

    Attributes
    ----------
    sweeps
        Every resonance, in the order measured; at least one.
    settings
        The procedure's arguments and the fixture constants in force, as text.
    instruments
        Who the instruments said they are.
    software
        Name and version of what computed it.
    begun
        When the measurement began (ISO 8601, UTC); empty where nobody said.
    """

    sweeps: tuple[Swept, ...]
    settings: tuple[tuple[str, str], ...]
    instruments: tuple[tuple[str, str], ...]
    software: str
    begun: str = ""

    @property
    def readings(self) -> tuple[Reading, ...]:
        """Every reading of every sweep, in the order taken."""
        return tuple(one for swept in self.sweeps for one in swept.readings)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Result:
    """The outcome of one procedure on one part.

    Attributes
    ----------
    procedure
        ``sweep``, ``fit``, ``coil``, ``capacitor``, ``sheet`` or ``fixture``.
    label
        What the part is called; empty where nobody said.
    quantities
        What was found.
    warnings
        What must be known before it is believed.
    evidence
        What it was made from.
    remarks
        What belongs beside the numbers, a sentence each: how they compare with what
        was marked or calculated.
    """

    procedure: str
    label: str
    quantities: tuple[Quantity, ...]
    warnings: tuple[Caution, ...]
    evidence: Evidence
    remarks: tuple[str, ...] = ()

    def __getitem__(self, name: str) -> Quantity:
        """Return a quantity by its name; `KeyError` where there is none."""
        for quantity in self.quantities:
            if quantity.name == name:
                return quantity
        raise KeyError(name)
