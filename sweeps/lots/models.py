"""The tables of a lot file (see `halfpower.sweeps.lots.file`)."""

import random
import re
import string
from collections.abc import Iterator, Mapping
from itertools import count
from typing import Annotated, Any, Literal, Self, cast

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from ...analysis.errors import InputError
from ...analysis.given_text import label_trouble
from ...analysis.lots import GuardBand, Limits, Rule
from ...analysis.quantity import Unit, parse_quantity
from ...drivers.toml_file import TomlTable
from ...drivers.toml_quantities import Farads, Fraction, Hertz, Loss, read_quantity

__all__ = [
    "ASK",
    "EXPANDED",
    "QUANTITIES",
    "QUANTITY_UNITS",
    "CheckTable",
    "ContactTable",
    "DecisionTable",
    "LabelsTable",
    "LotTable",
    "MatchingTable",
    "MeasureTable",
    "Procedure",
    "RangeTable",
]

Procedure = Literal["coil", "capacitor"]
ASK = "ask"  # a label that is typed or scanned before each part

QUANTITY_UNITS: Mapping[str, str] = {
    "inductance": "H",
    "unloaded_q": "1",
    "loaded_q": "1",
    "resonant_frequency": "Hz",
    "bandwidth": "Hz",
    "series_resistance": "ohm",
    "parallel_resistance": "ohm",
    "capacitance": "F",
    "dissipation_factor": "1",
}
QUANTITIES: Mapping[Procedure, tuple[str, ...]] = {
    "coil": (
        "inductance",
        "unloaded_q",
        "loaded_q",
        "resonant_frequency",
        "bandwidth",
        "series_resistance",
        "parallel_resistance",
    ),
    "capacitor": ("capacitance", "dissipation_factor", "series_resistance"),
}
_NUMBER = r"\{number(:0?[0-9]{0,2}d?)?\}"
_LABEL = re.compile(
    rf"([^{{}}]|{{{{|}}}}|{_NUMBER})*{_NUMBER}([^{{}}]|{{{{|}}}}|{_NUMBER})*"
)
_LOPSIDED = re.compile(r"-\s*(?P<below>[^+\s]+)\s*\+\s*(?P<above>\S+)")
EXPANDED = 2.0  # coverage factor of the expanded uncertainty: about 95 %


def _number(given: Any, quantity: str) -> float:
    """Read a value of a quantity; a pure number may stand without quotes."""
    unit = QUANTITY_UNITS[quantity]
    if unit == "1" and isinstance(given, int | float) and not isinstance(given, bool):
        return float(given)
    return read_quantity(given, _unit_of(quantity))


def _unit_of(quantity: str) -> Unit:
    unit = QUANTITY_UNITS[quantity]
    return "fraction" if unit == "1" else cast("Unit", unit)


def _known(quantity: str) -> str:
    if not isinstance(quantity, str) or quantity not in QUANTITY_UNITS:
        raise ValueError(
            f"{quantity!r} is no quantity; it is one of {', '.join(QUANTITY_UNITS)}"
        )
    return quantity


def _label(text: str) -> str:
    trouble = label_trouble(text)
    if trouble:
        raise ValueError(trouble)
    return text


Label = Annotated[str, Field(min_length=1), AfterValidator(_label)]


class LotTable(TomlTable):
    """``[lot]``: which parts.

    Attributes
    ----------
    name
        What the lot is called; a record base holds one lot of a name.
    procedure
        ``coil``; or ``capacitor``: the part goes across the tank.
    size
        How many parts the lot has; None: as many as come.
    sample
        Measure only so many of them, drawn at random with ``sample_seed``.
    every
        Measure only every so many-th.
    label
        A pattern with ``{number}``, or ``ask``: typed or scanned before each part.
    """

    name: Label
    procedure: Procedure
    size: int | None = Field(default=None, ge=1)
    sample: int | None = Field(default=None, ge=1)
    sample_seed: int = Field(default=0, ge=0)
    every: int | None = Field(default=None, ge=1)
    label: Label = "{number:03}"

    @field_validator("label")
    @classmethod
    def _pattern(cls, label: str) -> str:
        if label == ASK:
            return label
        # `format` would give any width, and any attribute of a number.
        if not _LABEL.fullmatch(label) or label_trouble(label.format(number=1)):
            raise ValueError(
                f"{label!r} is neither {ASK!r} nor a pattern with {{number}} in it, "
                "like 'L{number:03}'"
            )
        return label

    @model_validator(mode="after")
    def _sampled_once(self) -> Self:
        if self.sample is not None and self.every is not None:
            raise ValueError("a sample is drawn by 'sample' or by 'every', not by both")
        if self.sample is not None and self.sample > (self.size or 0):
            raise ValueError(
                f"a sample of {self.sample} cannot be drawn from {self.size or 'an'} "
                f"{'parts' if self.size else 'unknown number of parts'}; give 'size'"
            )
        return self

    @property
    def count(self) -> int | None:
        """How many parts are measured; None: as many as come."""
        if self.sample is not None or self.size is None:
            return self.sample
        return self.size // (self.every or 1)

    def numbers(self) -> Iterator[int]:
        """Give the numbers of the parts to measure, from 1, in order."""
        if self.sample is not None and self.size is not None:
            draw = random.Random(self.sample_seed)  # noqa: S311 - a sample, no secret
            keys = {number: draw.random() for number in range(1, self.size + 1)}
            yield from sorted(sorted(keys, key=keys.__getitem__)[: self.sample])
            return
        for position in count(1):
            number = self.number_at(position)
            if number is None:
                return
            yield number

    def number_at(self, position: int) -> int | None:
        """Give the number of the part at a position, from 1; None beyond the last."""
        if position < 1 or (self.count is not None and position > self.count):
            return None
        if self.sample is not None:
            return list(self.numbers())[position - 1]
        return position * (self.every or 1)

    def label_of(self, number: int) -> str:
        """Make a part's label; empty where it is asked for."""
        return "" if self.label == ASK else self.label.format(number=number)


class MeasureTable(TomlTable):
    """``[measure]``: where to look and how closely.

    Attributes
    ----------
    lowest_hz, highest_hz
        (keys ``from``, ``to``) the span in Hz: of the parts' resonances, or, for
        capacitors, of the tank's without one.
    target, most_readings
        As the options of the same names.
    capacitor, capacitor_loss
        The known capacitor across the coil, in F, and its dissipation factor.
    self_capacitance
        The coil's, in F.
    expected
        For capacitors: what they are marked, in F, where nothing else tells the span.
    """

    lowest_hz: Hertz = Field(alias="from")
    highest_hz: Hertz = Field(alias="to")
    target: Fraction = 0.002
    most_readings: int = Field(default=200, ge=1)
    capacitor: Farads | None = None
    capacitor_loss: Loss | None = None
    self_capacitance: Farads | None = None
    expected: Farads | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.lowest_hz >= self.highest_hz:
            raise ValueError("'from' is not below 'to'")
        if self.target <= 0.0:
            raise ValueError("'target' is not above zero")
        return self


class RangeTable(TomlTable):
    """``[limit.NAME]`` or ``[bin.NAME]``: what a value of one quantity lies within.

    Attributes
    ----------
    quantity
        As result documents name it; a limit's is its name unless it is said.
    nominal, tolerance
        The marked value and what it may be off by: ``"10%"``, ``"-20% +80%"``, or in
        the quantity's unit.
    lower, upper
        Instead: one of them, or both.
    """

    quantity: Annotated[str, BeforeValidator(_known)]
    nominal: float | None = None
    tolerance: str | None = None
    lower: float | None = None
    upper: float | None = None

    @field_validator("nominal", "lower", "upper", mode="before")
    @classmethod
    def _with_unit(cls, given: Any, info: ValidationInfo) -> Any:
        quantity = info.data.get("quantity")  # missing where it was refused itself
        return None if given is None or quantity is None else _number(given, quantity)

    @model_validator(mode="after")
    def _makes_limits(self) -> Self:
        about = self.nominal is not None or self.tolerance is not None
        if about and (self.nominal is None or self.tolerance is None):
            raise ValueError("'nominal' and 'tolerance' go together")
        if about == (self.lower is not None or self.upper is not None):
            raise ValueError(
                "give 'nominal' and 'tolerance', or 'lower', 'upper' or both"
            )
        try:
            self.limits  # noqa: B018 - it raises
        except InputError as error:
            raise ValueError(str(error)) from error
        return self

    @property
    def unit(self) -> str:
        """The quantity's unit, ``1`` for a pure number."""
        return QUANTITY_UNITS[self.quantity]

    @property
    def limits(self) -> Limits:
        """The limits in the quantity's unit."""
        if self.nominal is None or self.tolerance is None:
            return Limits(lower=self.lower, upper=self.upper)
        sides = _LOPSIDED.fullmatch(self.tolerance.strip())
        texts = sides.group("below", "above") if sides else (self.tolerance,) * 2
        below, above = (self._width(text) for text in texts)
        return Limits(lower=self.nominal - below, upper=self.nominal + above)

    def _width(self, text: str) -> float:
        share = text.rstrip().endswith(("%", "ppm"))
        if share:
            width = parse_quantity(text, "fraction") * abs(self.nominal or 0.0)
        else:
            width = parse_quantity(text, _unit_of(self.quantity))
        if width < 0.0:
            raise InputError(f"a tolerance of {text!r} is below zero")
        return width


class DecisionTable(TomlTable):
    """``[decision]``: how sure a verdict must be.

    Attributes
    ----------
    guard_band
        Its width in expanded uncertainties (k = 2); 0 is simple acceptance.
    undecided_zone
        Whether what lies within the band is left undecided; else it is rejected.
    """

    guard_band: float = Field(default=1.0, ge=0.0, le=100.0)
    undecided_zone: bool = True

    @property
    def rule(self) -> GuardBand:
        """The guard band as `halfpower.analysis.lots.conformity` takes it."""
        return GuardBand(
            multiple=self.guard_band * EXPANDED, undecided_zone=self.undecided_zone
        )


class CheckTable(TomlTable):
    """``[check]``: a check standard, measured before the first part and after every n.

    Attributes
    ----------
    every
        After so many parts.
    standard
        What it is called.
    quantity
        Which of its quantities is watched.
    mean, sd
        What it reads when all is well and the standard deviation of one reading, in
        the quantity's unit; without ``mean`` the record base's history says.
    rules
        Codes of `halfpower.analysis.lots.Rule`.
    when_out
        ``go_on``: parts since its last good reading are marked; ``stop``: and the lot
        stops.
    simulated_part
        Which part of a simulated lot is the standard.
    """

    every: int = Field(ge=1)
    standard: Label
    quantity: Annotated[str, BeforeValidator(_known)]
    mean: float | None = None
    sd: float | None = None
    rules: tuple[Rule, ...] = (Rule.BEYOND_LIMITS,)
    when_out: Literal["go_on", "stop"] = "go_on"
    simulated_part: int = Field(default=1, ge=1)

    @field_validator("mean", "sd", mode="before")
    @classmethod
    def _with_unit(cls, given: Any, info: ValidationInfo) -> Any:
        quantity = info.data.get("quantity")
        return None if given is None or quantity is None else _number(given, quantity)

    @model_validator(mode="after")
    def _known_spread(self) -> Self:
        if self.mean is not None and self.sd is None:
            raise ValueError("a known mean needs its 'sd'")
        if self.sd is not None and self.sd <= 0.0:
            raise ValueError("'sd' is not above zero")
        return self


class ContactTable(TomlTable):
    """``[contact]``: when the fixture's contact is doubted.

    Attributes
    ----------
    after
        So many parts without a resonance, one after the other.
    unattended
        What to do where nobody can be asked.
    """

    after: int = Field(default=3, ge=1)
    unattended: Literal["go_on", "stop"] = "go_on"


class MatchingTable(TomlTable):
    """``[matching]``: sets of parts that are alike.

    Attributes
    ----------
    set_size
        2 for pairs.
    within
        Largest relative difference in a set, by quantity (``inductance = "1%"``).
    """

    set_size: int = Field(default=2, ge=2)
    within: dict[Annotated[str, BeforeValidator(_known)], Fraction] = Field(
        min_length=1
    )


class LabelsTable(TomlTable):
    """``[labels]``: a sheet of labels.

    Attributes
    ----------
    code
        The kind of code; ``none``: text alone.
    text
        Pattern of the text beside it; ``{label}``, ``{verdict}``, ``{bin}`` and the
        quantities' names stand for the part's own.
    page
        The sheet's size.
    columns, rows
        Labels on a sheet.
    """

    code: Literal["qr", "micro-qr", "none"] = "qr"
    text: str = "{label}"
    page: Literal["A4", "letter"] = "A4"
    columns: int = Field(default=4, ge=1, le=20)
    rows: int = Field(default=10, ge=1, le=50)

    @field_validator("text")
    @classmethod
    def _known_words(cls, text: str) -> str:
        known = {"label", "verdict", "bin", *QUANTITY_UNITS}
        fields = {name for _, name, _, _ in string.Formatter().parse(text) if name}
        if fields - known:
            raise ValueError(
                f"{{{min(fields - known)}}} stands for nothing; known are "
                f"{', '.join(sorted(known))}"
            )
        return text
