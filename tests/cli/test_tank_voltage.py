"""No command drives a tank above its voltage limit: refused before, stopped while."""

import csv
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from halfpower.cli.at_bench import bundled_bench_file
from halfpower.sim.instruments.generator import Generator

Run = Callable[..., Any]
KNOWN = ("--capacitor", "150pF +- 1%", "--from", "4MHz", "--to", "10MHz")
TANK = ("--tank", "150pF +- 1%", "--from", "1.5MHz", "--to", "4MHz")
PLATES = ("--width", "60mm", "--length", "60mm", "--thickness", "1.6mm")
TWO = ("--capacitor", "68pF +- 1%", "--capacitor", "150pF +- 1%")
LOT = """\
[lot]
name = "invented"
procedure = "coil"
size = 2
[measure]
from = "700kHz"
to = "2.2MHz"
capacitor = "470pF +- 1%"
[limit.inductance]
nominal = "33uH"
tolerance = "10%"
"""
COMMANDS = [
    ("sweep", "kit-coil", "--from", "4MHz", "--to", "10MHz"),
    ("coil", "kit-coil", *KNOWN),
    ("coil", "coil-set", *TWO, "--from", "2MHz", "--to", "5MHz"),
    ("capacitor", "capacitor-drawer", *TANK, "--method", "parallel"),
    ("capacitor", "capacitor-drawer", *TANK, "--method", "series"),
    ("capacitor", "mica-capacitor", "--method", "dial", "--at", "2MHz"),
    ("sheet", "board-sheet", *TANK, *PLATES),
    ("fixture measure", "coil-set", *TWO, "--self-capacitance", "4pF +- 0.4pF",
     "--from", "1MHz", "--to", "9MHz"),
    ("fixture check", "kit-coil", *KNOWN, "--history", "history.csv"),
    ("bench linearise", "kit-coil", "--frequency", "6.7424MHz"),
    ("lot run", "choke-lot", "lot.toml", "--records", "base"),
]  # fmt: skip


@pytest.fixture
def switched(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """What the simulated generator's output was switched to, in order, by itself."""
    log: list[bool] = []
    switch = Generator._set_output  # noqa: SLF001 - the switch itself

    def logged(self: Generator, parameters: Sequence[str]) -> None:
        switch(self, parameters)
        log.append(self._is_on)

    monkeypatch.setattr(Generator, "_set_output", logged)
    return log


def bench_file(scene: str, **changed: str) -> str:
    """Write the scene's bench file with other values."""
    text = bundled_bench_file(scene).read_text(encoding="utf-8")
    for key, value in changed.items():
        text, times = re.subn(rf'(?m)^{key} = "[^"]*"', f'{key} = "{value}"', text)
        assert times == 1
    Path("bench.toml").write_text(text, encoding="utf-8")
    Path("lot.toml").write_text(LOT, encoding="utf-8")
    return "bench.toml"


def line(command: Sequence[str], *more: str) -> list[str]:
    """Put a command line together."""
    name, scene, *rest = command
    return [*name.split(), "--scene", scene, "--bench", "bench.toml", *rest, *more]


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
@pytest.mark.parametrize(
    ("level", "limit"), [("1V", "10mV"), ("20V", "1V"), ("10mV", "0.1mV")]
)
def test_a_prediction_above_the_limit_never_switches_the_output_on(
    halfpower: Run, switched: list[bool], command: Sequence[str], level: str, limit: str
) -> None:
    """Status 4 and one sentence with a safe level; the generator was told off alone."""
    bench_file(command[1], level=level, tank_voltage=limit)
    ended = halfpower(*line(command))
    assert ended.status == 4, ended.err
    assert "set the generator's level to" in ended.err
    assert True not in switched


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_a_reading_above_the_limit_stops_and_is_kept(
    halfpower: Run, switched: list[bool], command: Sequence[str]
) -> None:
    """The coupling is said to be a hundredth of what it is, so the prediction passes.

    E Cc Q/T = 0.01 pF * 400/15 pF = 0.27 V at the most, 0.03 V for the lot's 3.3 pF on
    470 pF; the tank stands at 1 pF/165 pF * 168 = 1 V and more, a choke at 0.1 V.
    """
    limit = 0.05 if command[1] == "choke-lot" else 0.5
    bench_file(command[1], coupling_capacitance="0.01pF", tank_voltage=f"{limit}V")
    keeps = command[0].split()[0] not in {"bench", "lot"}
    more = ("--readings", "kept.csv") if keeps else ()
    ended = halfpower(*line(command, *more))
    assert ended.status == 4, ended.err
    assert "the sweep was stopped" in ended.err
    assert True in switched
    assert switched[-1] is False
    if keeps:
        text = Path("kept.csv").read_text(encoding="utf-8")
        rows = csv.DictReader(one for one in text.splitlines() if one[:1] != "#")
        above = [float(row["amplitude_v"]) > limit for row in rows]
        assert above == [False] * (len(above) - 1) + [True]
        assert f"Kept {len(above)} readings" in ended.err


def test_the_bench_s_check_stops_at_a_reading_above_the_limit(
    halfpower: Run, switched: list[bool]
) -> None:
    """It drives at a level that the prediction allows, which may be wrong."""
    bench_file("kit-coil", coupling_capacitance="0.01pF", tank_voltage="0.5V")
    check = ("bench check", "kit-coil", "--frequency", "6.7424MHz")
    ended = halfpower(*line(check))
    assert ended.status == 3
    row = next(one for one in ended.out.splitlines() if "sees the generator" in one)
    assert "FAILED" in row
    assert "the tank stands at" in ended.out
    assert switched.count(True) == 1
    assert switched[-1] is False
