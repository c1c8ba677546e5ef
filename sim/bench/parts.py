"""From parts, as a scene describes them, to branches of the circuit."""

import math
from collections.abc import Callable, Mapping
from typing import Any

from ..circuit import Branch
from ..scene import Defect, ElementTable, Spread, Table, stream

__all__ = [
    "Draw",
    "Values",
    "capacitor_at",
    "draw_values",
    "element_branch",
    "part_branches",
    "with_defect",
]

Values = Mapping[str, float]
EPSILON_0 = 8.8541878188e-12  # F/m, CODATA 2022, from memory
SHORTED_TURN_Q = 30.0  # of the closed turn by itself at its coil's reference


class Draw:
    """Draws values from their streams and remembers them as the truth."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.truth: dict[str, float] = {}

    def __call__(self, name: str, spread: Spread, *, key: str | None = None) -> float:
        """Draw one value from the stream of its name; remember it under its key."""
        value = spread.draw(stream(self.seed, name))
        self.truth[key or name] = value
        return value

    def forget(self, prefix: str) -> None:
        """Leave out of the truth what has gone from the bench."""
        for name in [n for n in self.truth if n.startswith(prefix)]:
            del self.truth[name]


def draw_values(
    table: Table, name: str, draw: Draw, *, prefix: str = ""
) -> dict[str, float]:
    """Draw every value of a table that has a spread, by its key.

    Parameters
    ----------
    table
        A part, an element, an instrument.
    name
        Its dotted name in the truth.
    draw
        What draws and remembers.
    prefix
        Put before the stream's name where several tables share one name (a lot).
    """
    return {
        key: draw(f"{prefix}{name}.{key}", value, key=f"{name}.{key}")
        for key in type(table).model_fields
        if isinstance(value := getattr(table, key), Spread)
    }


def element_branch(table: ElementTable, values: Values) -> Branch | None:
    """Turn a fixture's element into a branch; None where it is not there (0 F)."""
    capacitance_f = values.get("capacitance_f", math.inf)
    if capacitance_f == 0.0:
        return None
    return Branch(
        name=f"fixture.{table.name}",
        nodes=table.nodes,
        resistance_ohm=values["resistance_ohm"],
        inductance_h=values["inductance_h"],
        capacitance_f=capacitance_f,
        dissipation_factor=values["dissipation_factor"],
        dissipation_exponent=values["dissipation_exponent"],
        reference_hz=values["reference_hz"],
    )


def _winding(slot: str, nodes: tuple[str, str], v: Values) -> list[Branch]:
    """Give the winding; a closed turn is a transformer with its secondary shorted.

    Seen from the winding, a turn of inductance L2 and resistance R2 coupled by k
    leaves L (1 - k^2) in series with k^2 L beside the resistance R2 k^2 L / L2.
    """
    taken = v.get("shorted_turn_coupling", 0.0)
    share = v["inductance_h"] * taken
    inner = f"{slot}.inner"
    winding = Branch(
        name=f"{slot}.winding",
        nodes=(nodes[0], inner) if taken else nodes,
        resistance_ohm=v["resistance_ohm"],
        rise_ohm=v["rise_ohm"],
        rise_exponent=v["rise_exponent"],
        inductance_h=v["inductance_h"] - share,
        magnetic_loss_tangent=v["core_loss_tangent"],
        reference_hz=v["reference_hz"],
        inductance_per_kelvin=v["temperature_coefficient_ppm_per_k"] * 1e-6,
        inductance_per_second=v["drift_ppm_per_s"] * 1e-6,
        saturation_current_a=v["saturation_current_a"] or math.inf,
    )
    if not taken:
        return [winding]
    turn_ohm = 2.0 * math.pi * v["reference_hz"] * share / SHORTED_TURN_Q
    ends = (inner, nodes[1])
    return [
        winding,
        Branch(name=f"{slot}.shared", nodes=ends, inductance_h=share),
        Branch(name=f"{slot}.turn", nodes=ends, resistance_ohm=turn_ohm),
    ]


def _coil(slot: str, nodes: tuple[str, str], v: Values) -> list[Branch]:
    branches = [] if v.get("is_open") else _winding(slot, nodes, v)
    if v["self_capacitance_f"] > 0.0:
        branches.append(
            Branch(
                name=f"{slot}.self_capacitance",
                nodes=nodes,
                capacitance_f=v["self_capacitance_f"],
                dissipation_factor=v["self_capacitance_dissipation"],
            )
        )
    if v["second_resonance_hz"] > 0.0 and not v.get("is_open"):
        omega = 2.0 * math.pi * v["second_resonance_hz"]
        inductance_h = v["second_inductance_h"]
        branches.append(
            Branch(
                name=f"{slot}.second_resonance",
                nodes=nodes,
                resistance_ohm=omega * inductance_h / v["second_resonance_q"],
                inductance_h=inductance_h,
                capacitance_f=1.0 / (omega**2 * inductance_h),
            )
        )
    return branches


def _capacitor(slot: str, nodes: tuple[str, str], v: Values) -> list[Branch]:
    return [
        Branch(
            name=f"{slot}.capacitance",
            nodes=nodes,
            resistance_ohm=v.get("resistance_ohm", 0.0),
            inductance_h=v["inductance_h"],
            capacitance_f=v["capacitance_f"],
            dissipation_factor=v["dissipation_factor"],
            dissipation_exponent=v.get("dissipation_exponent", 0.0),
            reference_hz=v.get("reference_hz", 1e6),
            capacitance_per_kelvin=v["temperature_coefficient_ppm_per_k"] * 1e-6,
            capacitance_per_second=v.get("drift_ppm_per_s", 0.0) * 1e-6,
        )
    ]


def capacitor_at(v: Values, setting_f: float) -> float:
    """Give a variable capacitor's true capacitance at a setting of its dial."""
    return setting_f * (1.0 + v["dial_error_relative"]) + v["dial_offset_f"]


def _sheet(slot: str, nodes: tuple[str, str], v: Values) -> list[Branch]:
    """Build plates with the sheet, or air of its thickness, and the edge field."""
    in_air = v.get("in_air")
    has_bond = v["bond_thickness_m"] > 0.0 and not in_air
    middle = f"{slot}.bond"
    plates_f = EPSILON_0 * v["area_m2"] / v["thickness_m"]
    branches = [
        Branch(
            name=f"{slot}.sheet",
            nodes=(nodes[0], middle) if has_bond else nodes,
            capacitance_f=plates_f * (1.0 if in_air else v["relative_permittivity"]),
            dissipation_factor=0.0 if in_air else v["loss_tangent"],
            dissipation_exponent=v["loss_exponent"],
            reference_hz=v["reference_hz"],
            capacitance_per_kelvin=v["temperature_coefficient_ppm_per_k"] * 1e-6,
        )
    ]
    if has_bond:
        bond_f = EPSILON_0 * v["area_m2"] * v["bond_permittivity"]
        branches.append(
            Branch(
                name=f"{slot}.bond",
                nodes=(middle, nodes[1]),
                capacitance_f=bond_f / v["bond_thickness_m"],
                dissipation_factor=v["bond_loss_tangent"],
            )
        )
    edge_f = v["edge_capacitance_f"]
    if in_air:
        edge_f = v.get("edge_capacitance_in_air_f", edge_f)
    if edge_f > 0.0:
        branches.append(Branch(name=f"{slot}.edge", nodes=nodes, capacitance_f=edge_f))
    return branches


_BUILDERS: Mapping[str, Callable[[str, tuple[str, str], Values], list[Branch]]] = {
    "coil": _coil,
    "capacitor": _capacitor,
    "variable-capacitor": _capacitor,
    "sheet": _sheet,
}


def part_branches(
    kind: str, slot: str, nodes: tuple[str, str], values: Values
) -> list[Branch]:
    """Build the branches of a part.

    Parameters
    ----------
    kind
        ``coil``, ``capacitor``, ``variable-capacitor`` or ``sheet``.
    slot, nodes
        The slot's name, which names the branches, and its nodes.
    values
        The part's true values by key; for a variable capacitor with its
        ``capacitance_f`` at the present setting, for a sheet with ``in_air``.
    """
    return _BUILDERS[kind](slot, nodes, values)


def with_defect(
    defect: Defect, values: Values, draw: Callable[[str, Spread], float]
) -> dict[str, Any]:
    """Give a coil's values once a defect has happened to it."""
    changed: dict[str, Any] = dict(values)
    if defect.kind == "open":
        changed["is_open"] = 1.0
    elif defect.kind == "shorted-turn":
        changed["shorted_turn_coupling"] = draw("coupling", defect.coupling)
    else:
        factor = draw("inductance_factor", defect.inductance_factor)
        changed["inductance_h"] = values["inductance_h"] * factor
    if defect.kind == "cracked-core":
        loss = draw("core_loss_tangent", defect.core_loss_tangent)
        changed["core_loss_tangent"] = values["core_loss_tangent"] + loss
    return changed
