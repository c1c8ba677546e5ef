"""A result: what was found of a part, how surely, and the evidence for it."""

from dataclasses import dataclass

import numpy as np

from .fitting import ResonanceFit
from .quantity import (
    Caution,
    FloatArray,
    Judged,
    Judgement,
    Quantity,
    Stated,
    Unit,
    describe,
)
from .reading import Reading

__all__ = ["Condition", "Evidence", "Result", "Swept", "cautions_of"]


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
        The fit of the used readings, residuals and flags included; its abscissa says
        whether the frequency was swept or a capacitor turned.
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
    def settings(self) -> FloatArray:
        """What was swept, at the used readings: in Hz, or in F on a dial."""
        column = self.found.abscissa.column
        return np.array([getattr(self.readings[index], column) for index in self.used])


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """One argument or constant that a result rests on.

    Attributes
    ----------
    name
        As a budget shows it (``fixture's stray``).
    value
        A number with its doubt, in `unit`; a word where there is no number.
    unit
        ``fraction`` for a pure number; of a word it says nothing.
    """

    name: str
    value: Stated | str
    unit: Unit = "fraction"

    @property
    def text(self) -> str:
        """What a person reads."""
        if isinstance(self.value, str):
            return self.value
        return describe(self.value, unit=self.unit)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What a result was made from, enough to work it out again.

    Attributes
    ----------
    sweeps
        Every resonance, in the order measured; at least one.
    settings
        The procedure's arguments and the constants in force, each name once.
    instruments
        Who the instruments said they are.
    software
        Name and version of what computed it.
    begun
        When the measurement began (ISO 8601, UTC); empty where nobody said.
    """

    sweeps: tuple[Swept, ...]
    settings: tuple[Condition, ...]
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
        was calculated or stated.
    judged
        What was said of the part beforehand, each held against what was measured.
    """

    procedure: str
    label: str
    quantities: tuple[Quantity, ...]
    warnings: tuple[Caution, ...]
    evidence: Evidence
    remarks: tuple[str, ...] = ()
    judged: tuple[Judgement, ...] = ()

    @property
    def verdict(self) -> Judged | None:
        """The worst of what was judged; None where nothing was to be."""
        outcomes = {one.outcome for one in self.judged}
        worst_first = (Judged.DOES_NOT_FIT, Judged.UNDECIDED, Judged.FITS)
        return next((one for one in worst_first if one in outcomes), None)

    def __getitem__(self, name: str) -> Quantity:
        """Return a quantity by its name; `KeyError` where there is none."""
        for quantity in self.quantities:
            if quantity.name == name:
                return quantity
        raise KeyError(name)


def cautions_of(found: ResonanceFit) -> tuple[Caution, ...]:
    """Turn a fit's flags into the warnings of a result."""
    return tuple(Caution(code=flag.code, text=flag.text) for flag in found.flags)
