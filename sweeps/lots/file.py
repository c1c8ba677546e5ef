"""The lot file: what is measured on every part of a lot, and against what.

Quantities are text with a unit, as in a bench file. The tables ``[limit.NAME]`` and
``[bin.NAME]`` come as often as needed; a limit's name is the quantity it limits unless
it says otherwise.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import Field, PrivateAttr, field_validator

from ...analysis.errors import InputError
from ...analysis.quantity import Stated
from ...drivers.toml_file import TomlTable, line_of, parse_toml, toml_text
from .models import (
    QUANTITIES,
    CheckTable,
    ContactTable,
    DecisionTable,
    LabelsTable,
    LotTable,
    MatchingTable,
    MeasureTable,
    RangeTable,
)

__all__ = ["LotFile", "load_lot_file", "parse_lot_text"]


class LotFile(TomlTable):
    """A whole lot file.

    Attributes
    ----------
    lot, measure, limit, decision, check, contact, bin, matching, labels
        The tables; limits and bins by their names, in the file's order.
    """

    lot: LotTable
    measure: MeasureTable
    limit: dict[str, RangeTable] = Field(default_factory=dict)
    decision: DecisionTable = DecisionTable()
    check: CheckTable | None = None
    contact: ContactTable = ContactTable()
    bin: dict[str, RangeTable] = Field(default_factory=dict)
    matching: MatchingTable | None = None
    labels: LabelsTable | None = None
    _text: str = PrivateAttr(default="")

    @field_validator("limit", mode="before")
    @classmethod
    def _named_by_quantity(cls, given: Any) -> Any:
        if not isinstance(given, dict):
            return given
        return {
            name: {"quantity": name} | table if isinstance(table, dict) else table
            for name, table in given.items()
        }

    @property
    def text(self) -> str:
        """The file as it was read; records keep it."""
        return self._text

    @property
    def capacitor(self) -> tuple[Stated, Stated | None] | None:
        """The known capacitor across the coil and its loss, if there is one."""
        one = self.measure
        return None if one.capacitor is None else (one.capacitor, one.capacitor_loss)


def load_lot_file(path: Path) -> LotFile:
    """Read and check a lot file.

    Raises
    ------
    InputError
        Every mistake with its line.
    """
    return parse_lot_text(toml_text(path, what="lot file"), str(path))


def parse_lot_text(text: str, name: str) -> LotFile:
    """Check the text of a lot file, as a record base keeps it.

    Parameters
    ----------
    text
        The file's content.
    name
        What it is called in an error's sentence.

    Raises
    ------
    InputError
        Every mistake with its line.
    """
    lot = parse_toml(text, record=LotFile, name=f"lot file {name}")
    mistakes = [
        f"line {line_of(where, text)}: {said}" for where, said in _mismatches(lot)
    ]
    if mistakes:
        raise InputError(f"lot file {name}: {'; '.join(mistakes)}", mistakes=mistakes)
    lot._text = text  # noqa: SLF001 - this module's own record
    return lot


def _mismatches(lot: LotFile) -> Iterator[tuple[tuple[str, ...], str]]:
    """Find what is right in itself, but not with the rest; tell where."""
    known = QUANTITIES[lot.lot.procedure]
    for where, quantity in _quantities_named(lot):
        if quantity not in known:
            yield (
                where,
                f"{'.'.join(where)}: a {lot.lot.procedure} has no {quantity}; it has "
                + ", ".join(known),
            )
    if len({one.quantity for one in lot.bin.values()}) > 1:
        yield ("bin", list(lot.bin)[-1]), "bins are ranges of one quantity, not two"
    if lot.lot.procedure == "coil" and lot.measure.expected is not None:
        yield ("measure", "expected"), "measure.expected is for capacitors alone"


def _quantities_named(lot: LotFile) -> Iterator[tuple[tuple[str, ...], str]]:
    for table, ranges in (("limit", lot.limit), ("bin", lot.bin)):
        for name, one in ranges.items():
            yield (table, name), one.quantity
    if lot.check is not None:
        yield ("check", "quantity"), lot.check.quantity
    for name in lot.matching.within if lot.matching else ():
        yield ("matching", "within", name), name
