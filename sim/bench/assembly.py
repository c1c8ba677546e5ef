"""The drawn parts of a bench, and the circuit they make in the fixture."""

from dataclasses import dataclass, field
from typing import Any

from ..circuit import GROUND, Branch, Circuit
from ..scene import (
    FixtureTable,
    Part,
    SceneTable,
    SheetPart,
    Spread,
    VariableCapacitorPart,
    stream,
)
from .parts import (
    Draw,
    capacitor_at,
    draw_values,
    element_branch,
    part_branches,
    with_defect,
)

__all__ = ["Assembly"]

SHEET_STATES = ("in", "air", "out")


@dataclass(slots=True)
class _Fitted:
    """A part in a slot: its kind, its nodes, its true values."""

    kind: str
    nodes: tuple[str, str]
    values: dict[str, Any]
    table: Part | None = field(default=None)


class Assembly:
    """Everything between the generator's e.m.f. and the detector's input.

    Parameters
    ----------
    table
        What is on the bench.
    fixture
        What the parts are fitted into.
    draw
        Draws the true values and keeps them.
    """

    def __init__(self, table: SceneTable, *, fixture: FixtureTable, draw: Draw) -> None:
        self._table, self._fixture, self._draw = table, fixture, draw
        self.generator_values = draw_values(table.generator, "generator", draw)
        self.detector_values = draw_values(table.detector, "detector", draw)
        self._fixture_branches = self._draw_fixture()
        self._nodes = {slot.name: slot.nodes for slot in fixture.slot}
        self._fitted: dict[str, _Fitted] = {}
        for slot, part in table.parts.items():
            values: dict[str, Any] = draw_values(part, slot, draw)
            self._fitted[slot] = _Fitted(part.kind, self._nodes[slot], values, part)
        self.part_number = 0
        self.defect: str | None = None
        self.setting_f: float | None = None
        self.sheet_state = "in"
        self._disconnected: set[str] = set()
        self._turn_dial_to_start()
        if table.lot is not None:
            self.insert_part(1)

    def _draw_fixture(self) -> list[Branch]:
        choice = self._table.fixture
        branches: list[Branch] = []
        for table in self._fixture.element:
            element = table
            override = choice.elements.get(table.name)
            if override is not None:
                changed = {k: getattr(override, k) for k in override.model_fields_set}
                element = table.model_copy(update=changed)
            values = draw_values(element, f"fixture.{element.name}", self._draw)
            branch = element_branch(element, values)
            if branch is not None:
                branches.append(branch)
        return branches

    # What can be changed -----------------------------------------------------------

    @property
    def part_count(self) -> int:
        """How many parts the lot has; 0 without a lot."""
        lot = self._table.lot
        return 0 if lot is None else lot.count

    @property
    def slots(self) -> tuple[str, ...]:
        """The slots that have a part, in or out."""
        return tuple(self._fitted)

    def insert_part(self, number: int) -> None:
        """Put a part of the lot into its slot.

        Parameters
        ----------
        number
            From 1. The same number is the same part, whatever came before.

        Raises
        ------
        LookupError
            The scene has no lot.
        ValueError
            The lot has no such part.
        """
        lot = self._table.lot
        if lot is None:
            raise LookupError("the scene has no lot of parts")
        if not 1 <= number <= lot.count:
            raise ValueError(f"the lot has parts 1 to {lot.count}, not {number}")
        prefix = f"lot.{number}."
        self._draw.forget(f"{lot.slot}.")
        values: dict[str, Any] = draw_values(
            lot.part, lot.slot, self._draw, prefix=prefix
        )
        rng = stream(self._draw.seed, f"{prefix}defect")
        chance, self.defect = float(rng.random()), None
        for defect in lot.defect:
            if 0.0 <= chance < defect.probability:
                self.defect = defect.kind

                def spoil(key: str, spread: Spread) -> float:
                    name = f"{lot.slot}.defect.{key}"
                    return self._draw(f"{prefix}{name}", spread, key=name)

                values = with_defect(defect, values, spoil)
                self._draw.truth.update(
                    {f"{lot.slot}.{k}": float(v) for k, v in values.items()}
                )
            chance -= defect.probability
        self.part_number = number
        self._fitted[lot.slot] = _Fitted("coil", self._nodes[lot.slot], values)

    def _of_kind(self, kind: str, what: str) -> tuple[str, _Fitted]:
        for slot, fitted in self._fitted.items():
            if fitted.kind == kind:
                return slot, fitted
        raise LookupError(f"the scene has no {what}")

    def _turn_dial_to_start(self) -> None:
        for fitted in self._fitted.values():
            if isinstance(fitted.table, VariableCapacitorPart):
                self.set_capacitor(fitted.table.setting_f)
            elif isinstance(fitted.table, SheetPart):
                self.set_sheet("in")

    def set_capacitor(self, setting_f: float) -> None:
        """Turn the dial of the variable capacitor.

        Raises
        ------
        LookupError
            The scene has none.
        ValueError
            The setting is outside its dial.
        """
        slot, fitted = self._of_kind("variable-capacitor", "variable capacitor")
        table = fitted.table
        if not isinstance(table, VariableCapacitorPart):  # the lot's part has none
            raise LookupError("the scene has no variable capacitor")  # noqa: TRY004 # one error for both
        if not table.minimum_f <= setting_f <= table.maximum_f:
            raise ValueError(
                f"the dial goes from {table.minimum_f:g} F to {table.maximum_f:g} F, "
                f"not to {setting_f:g} F"
            )
        self.setting_f = setting_f
        true_f = capacitor_at(fitted.values, setting_f)
        fitted.values["capacitance_f"] = true_f
        self._draw.truth[f"{slot}.capacitance_f"] = true_f

    def capacitor_setting_f(self) -> float:
        """Read the dial of the variable capacitor."""
        self._of_kind("variable-capacitor", "variable capacitor")
        return self.setting_f or 0.0

    def set_sheet(self, state: str) -> None:
        """Put the sheet in, leave air of its thickness, or take the plates away.

        Raises
        ------
        LookupError
            The scene has no sheet.
        ValueError
            The state is none of ``in``, ``air`` and ``out``.
        """
        _, fitted = self._of_kind("sheet", "sheet")
        if state not in SHEET_STATES:
            raise ValueError(f"a sheet is in, air or out, not {state}")
        self.sheet_state = state
        fitted.values["in_air"] = state == "air"

    def connect(self, slot: str, *, connected: bool, place: str | None = None) -> None:
        """Put a slot's part in, or take it out; it keeps its true values.

        Parameters
        ----------
        slot
            The slot that the part is for.
        connected
            Whether it is to be in.
        place
            Another slot to put it into; None: its own.

        Raises
        ------
        LookupError
            The slot has no part, or there is no such slot.
        """
        if slot not in self._fitted:
            raise LookupError(f"there is no part for a slot {slot}")
        if (place or slot) not in self._nodes:
            raise LookupError(f"the fixture has no slot {place}")
        self._fitted[slot].nodes = self._nodes[place or slot]
        if connected:
            self._disconnected.discard(slot)
        else:
            self._disconnected.add(slot)

    def is_connected(self, slot: str) -> bool:
        """Tell whether a slot has a part that is in."""
        return slot in self._fitted and slot not in self._disconnected

    def sheet_now(self) -> str:
        """Tell whether the sheet is in, air, or out."""
        self._of_kind("sheet", "sheet")
        return self.sheet_state

    # The circuit -------------------------------------------------------------------

    def circuit(self) -> Circuit:
        """Build the circuit of what is on the bench now."""
        fixture = self._fixture
        branches = list(self._fixture_branches)
        for slot, fitted in self._fitted.items():
            is_out = fitted.kind == "sheet" and self.sheet_state == "out"
            if is_out or slot in self._disconnected:
                continue
            branches += part_branches(fitted.kind, slot, fitted.nodes, fitted.values)
        branches += self._detector_input(fixture.detector_node)
        return Circuit(
            branches,
            source_node=fixture.source_node,
            source_resistance_ohm=self.generator_values["source_resistance_ohm"],
            detector_node=fixture.detector_node,
        )

    def _detector_input(self, node: str) -> list[Branch]:
        values, ends = self.detector_values, (node, GROUND)
        branches = [
            Branch(
                name="detector.resistance",
                nodes=ends,
                resistance_ohm=values["input_resistance_ohm"],
            )
        ]
        if values["input_capacitance_f"] > 0.0:
            branches.append(
                Branch(
                    name="detector.capacitance",
                    nodes=ends,
                    capacitance_f=values["input_capacitance_f"],
                    dissipation_factor=values["input_dissipation"],
                )
            )
        return branches
