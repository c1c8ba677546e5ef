"""The table of what a hand calculation forgets, worked out again."""

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from halfpower.sim import load_scene

PAGE = Path(__file__).parents[2] / "docs" / "procedures.md"
EPS0 = 8.8541878128e-12  # CODATA 2018
SELF = ("--self-capacitance", "4pF +- 0.4pF")
TANK = ("--tank", "150pF +- 1%", "--from", "1.5MHz", "--to", "4MHz", *SELF)
COIL = (
    "coil", "--scene", "kit-coil", "--capacitor", "150pF +- 1%", "--from", "4MHz",
    "--to", "10MHz", "--self-capacitance", "2pF +- 0.3pF",
)  # fmt: skip
BOARD = (
    "sheet", "--scene", "board-sheet", *TANK, "--width", "60mm +- 0.06mm", "--length",
    "60mm +- 0.06mm", "--thickness", "1.6mm +- 0.02mm", "--bond", "15um +- 5um",
)  # fmt: skip

Run = Callable[..., Any]


def row(start: str) -> str:
    """Find the page's line that begins so."""
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    return next(line for line in lines if line.startswith(f"| {start}"))


@pytest.fixture
def measured(halfpower: Run) -> Callable[..., tuple[dict[str, Any], list[float]]]:
    """Run a command; return its quantities and its sweeps' frequencies in Hz."""

    def run(*arguments: str) -> tuple[dict[str, Any], list[float]]:
        ended = halfpower(*arguments, "--seed", "1", "--json", "-")
        assert ended.status == 0, ended.err
        document = json.loads(ended.out)
        frequencies = [
            one["quantities"]["resonant_frequency"]["value"]
            for one in document["evidence"]["sweeps"]
        ]
        return document["quantities"], frequencies

    return run


def half_width(quantity: dict[str, Any]) -> float:
    """Give the farther end of the 95 % interval."""
    low, high = quantity["coverage_interval_95"]
    return float(max(high - quantity["value"], quantity["value"] - low))


def test_the_coil_s_line(measured: Run) -> None:
    """1/(w^2 C) with C = 150 pF alone, against the program and the scene."""
    found, (f0, *_) = measured(*COIL)
    line = row("coil on 150 pF")
    assert f"{1e6 / ((2.0 * math.pi * f0) ** 2 * 150e-12):.3f} µH" in line
    inductance = found["inductance"]
    assert (
        f"{inductance['value'] * 1e6:.3f} ± {half_width(inductance) * 1e6:.3f}" in line
    )
    truth = load_scene("kit-coil").build(seed=1).truth["coil.inductance_h"]
    assert f"{truth * 1e6:.3f} µH |" in line
    assert f"{found['unloaded_q']['value']:.0f} ±" in row("the same coil's Q")


def test_the_capacitor_s_line(measured: Run) -> None:
    """150 pF ((f1/f2)^2 - 1), the strays forgotten."""
    found, (f1, f2) = measured("capacitor", "--scene", "capacitor-drawer", *TANK)
    line = row("capacitor: C(")
    assert f"{150.0 * ((f1 / f2) ** 2 - 1.0):.2f} pF" in line
    value = found["capacitance"]
    assert f"{value['value'] * 1e12:.1f} ± {half_width(value) * 1e12:.1f}" in line
    truth = load_scene("capacitor-drawer").build(seed=1).truth["unknown.capacitance_f"]
    assert f"{truth * 1e12:.1f} pF |" in line


def test_the_board_s_lines(measured: Run) -> None:
    """Three ways to forget something, against the program and the scene."""
    found, (f1, _, f3) = measured(*BOARD)
    ideal = EPS0 * 3.6e-3 / 1.6e-3
    with_sheet, in_air = (
        found[name]["value"] for name in ("capacitance", "capacitance_in_air")
    )
    assert f"| {with_sheet / ideal:.2f} |" in row("board: C/(")
    assert f"| {with_sheet / in_air:.2f} |" in row("board: C with")
    forgotten = 150e-12 * ((f1 / f3) ** 2 - 1.0) / ideal
    assert f"| {forgotten:.2f} |" in row("board: strays")
    value = found["relative_permittivity"]
    assert f"{value['value']:.2f} ± {half_width(value):.2f}" in row("board: C/(")
    truth = load_scene("board-sheet").build(seed=1).truth
    assert f"{truth['unknown.relative_permittivity']:.2f} |" in row("board: C/(")
