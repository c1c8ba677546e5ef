"""Scenes in words, for a person who wants to know what is on a bench."""

from typing import Any

from .scene import Slot, Spread, Table
from .scene_files import Scene, bundled_scenes, load_scene

__all__ = ["describe_scene", "scene_titles"]

_UNITS = {
    "h": "H",
    "f": "F",
    "ohm": "ohm",
    "hz": "Hz",
    "v": "V",
    "vpp": "V p-p",
    "s": "s",
    "a": "A",
    "m": "m",
    "m2": "m2",
    "w": "W",
    "db": "dB",
    "dbm": "dBm",
    "dbc": "dBc",
    "ppm": "ppm",
    "c": "degC",
}
_PER = {"ppm_per_k": "ppm/K", "ppm_per_s": "ppm/s", "k_per_s": "K/s"}
_PREFIXES = {
    -15: "f",
    -12: "p",
    -9: "n",
    -6: "u",
    -3: "m",
    0: "",
    3: "k",
    6: "M",
    9: "G",
}
KILO = 1000.0
_PREFIXED = {"H", "F", "ohm", "Hz", "V", "V p-p", "s", "A", "W", "m"}


def _unit(key: str) -> tuple[str, str]:
    """Split a key into its words and its unit."""
    for suffix, unit in _PER.items():
        if key.endswith("_" + suffix):
            return key.removesuffix("_" + suffix).replace("_", " "), unit
    words, _, last = key.rpartition("_")
    if words and last in _UNITS:
        return words.replace("_", " "), _UNITS[last]
    return key.replace("_", " "), ""


def _number(value: float, unit: str) -> str:
    """Write a value with an SI prefix where the unit takes one."""
    if value == 0.0 or unit not in _PREFIXED:
        return f"{value:.6g} {unit}".rstrip()
    exponent = 0
    while abs(value) / 10.0**exponent < 1.0 and exponent > min(_PREFIXES):
        exponent -= 3
    while abs(value) / 10.0**exponent >= KILO and exponent < max(_PREFIXES):
        exponent += 3
    return f"{value / 10.0**exponent:.6g} {_PREFIXES[exponent]}{unit}"


def _quantity(value: Spread, unit: str) -> str:
    text = _number(value.nominal, unit)
    if value.half_width is not None:
        return f"{text} +- {_number(value.half_width, unit)}"
    if value.half_width_relative is not None:
        return f"{text} +- {value.half_width_relative * 100:.4g} %"
    if value.sd is not None:
        return f"{text}, sd {_number(value.sd, unit)}"
    if value.sd_relative is not None:
        return f"{text}, sd {value.sd_relative * 100:.4g} %"
    return text


def _value(key: str, value: Any) -> str:
    words, unit = _unit(key)
    if isinstance(value, Spread):
        return f"{words} {_quantity(value, unit)}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        if isinstance(value, tuple):
            return f"{words} {', '.join(f'{v:g}' for v in value)} {unit}".rstrip()
        return f"{words} {value}"
    return f"{words} {_number(float(value), unit)}"


def _given(table: Table, *without: str) -> list[str]:
    """Write what a file says of a table, in the file's order."""
    return [
        _value(key, getattr(table, key))
        for key in type(table).model_fields
        if key in table.model_fields_set
        and key not in without
        and _is_plain(getattr(table, key))
    ]


def _is_plain(value: Any) -> bool:
    """Tell a value from a table, or from several."""
    if isinstance(value, tuple):
        return not any(isinstance(v, Table) for v in value)
    return isinstance(value, Spread) or not isinstance(value, Table)


def _section(title: str, lines: list[str]) -> list[str]:
    return [title, *(f"  {line}" for line in lines)]


def _fixture_lines(scene: Scene) -> list[str]:
    overrides = scene.table.fixture.elements
    lines = []
    for element in scene.fixture.element:
        values = _given(element, "name", "nodes")
        override = overrides.get(element.name)
        if override is not None:
            changed = {k: getattr(override, k) for k in override.model_fields_set}
            values = _given(element.model_copy(update=changed), "name", "nodes")
        lines.append(
            f"{element.name} ({' - '.join(element.nodes)}): " + ", ".join(values)
        )
    return lines


def _part_lines(scene: Scene, slot: Slot) -> list[str]:
    lot = scene.table.lot
    if lot is not None and lot.slot == slot.name:
        lines = [f"one of {lot.count} coils", *_given(lot.part, "kind")]
        lines += [f"{d.kind}: probability {d.probability:g}" for d in lot.defect]
        return lines
    part = scene.table.parts.get(slot.name)
    return ["nothing"] if part is None else [part.kind, *_given(part, "kind")]


def describe_scene(scene: Scene) -> str:
    """Describe a bench: instruments, fixture, parts, what drifts and what fails.

    Parameters
    ----------
    scene
        A loaded scene.

    Returns
    -------
    str
        Plain text of several lines, without a final line feed. It gives what the
        scene's user may know: nominal values and tolerances, nothing that is drawn.
    """
    table = scene.table
    lines = [f"{scene.name}: {table.title}", ""]
    lines += table.setting.strip().splitlines()
    lines += ["", *_section("generator", _given(table.generator))]
    lines += _section(
        f"detector: {table.detector.kind}", _given(table.detector, "kind")
    )
    lines += _section(
        f"fixture: {scene.fixture.title.lower()} ({table.fixture.table})",
        _fixture_lines(scene),
    )
    for slot in scene.fixture.slot:
        where = f"{slot.name} ({' - '.join(slot.nodes)})"
        lines += _section(where, _part_lines(scene, slot))
    if table.environment.model_fields_set:
        lines += _section("environment", _given(table.environment))
    if table.fault:
        lines += _section("faults", [", ".join(_given(f)) for f in table.fault])
    return "\n".join(lines)


def scene_titles() -> dict[str, str]:
    """Give the title of every bundled scene, by its name."""
    return {name: load_scene(name).table.title for name in bundled_scenes()}
