"""The page on predictions: every command on it prints what stands below it."""

import os
import re
import shlex
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from halfpower.analysis.plates import (
    Sheet,
    edge_capacitance,
    kirchhoff_ratio,
    love_ratio,
    rectangle_ratio,
)
from halfpower.cli.commands import predict
from halfpower.cli.commands.marking import marking
from halfpower.cli.words import with_exit_status

PAGE = Path(__file__).parents[2] / "docs" / "predictions.md"
SHEETS: tuple[Sheet, ...] = ("air", "extends", "flush")
UPDATE = "HALFPOWER_UPDATE_PAGES"
BLOCK = re.compile(r"```console\n(.*?)```", re.DOTALL)


def printed(command: str) -> str:
    """Run one command of the page and return it with what it prints."""
    app = typer.Typer()
    app.add_typer(predict.app, name="predict")
    app.command("marking")(with_exit_status(marking))
    words = shlex.split(command)
    assert words[0] == "halfpower"
    ended = CliRunner(env={"COLUMNS": "110"}).invoke(app, words[1:])
    assert ended.exit_code == 0, ended.stderr
    lines = [line.rstrip() for line in ended.stdout.splitlines()]
    return "\n".join([f"$ {command}", *lines]) + "\n"


def commands(block: str) -> list[str]:
    """Give the commands of a block."""
    return [line[2:] for line in block.splitlines() if line.startswith("$ ")]


def test_every_command_prints_what_the_page_shows() -> None:
    """Golden text: set the variable to write it anew."""
    text = PAGE.read_text(encoding="utf-8")
    anew = BLOCK.sub(
        lambda block: (
            "```console\n" + "".join(map(printed, commands(block[1]))) + "```"
        ),
        text,
    )
    if os.environ.get(UPDATE):
        PAGE.write_text(anew, encoding="utf-8")
    assert len(BLOCK.findall(text)) == 6
    assert PAGE.read_text(encoding="utf-8") == anew


@pytest.mark.parametrize("shape", [0.01, 0.1, 0.5])
def test_the_table_of_hand_calculations_is_true(shape: float) -> None:
    """Edge shares and Kirchhoff's error as the solutions give them."""
    disc, square = (
        love_ratio(2.0 * shape),
        rectangle_ratio(width=1.0, length=1.0, gap=shape),
    )
    off = (kirchhoff_ratio(2.0 * shape) / disc - 1.0) * 100.0
    digits = 2 if shape < 0.1 else 1
    row = (
        f"| {shape:g} | {(1.0 - 1.0 / disc) * 100.0:.1f} % | {off:.{digits}f} % "
        f"| {(1.0 - 1.0 / square) * 100.0:.1f} % |"
    )
    assert row in PAGE.read_text(encoding="utf-8")


def test_what_is_said_of_sheets_is_true() -> None:
    """50 mm discs, 1 mm, permittivity 4.5: 1.8 times the air's edge; flush 1 to 5 %."""
    air, wide, flush = (
        edge_capacitance(
            gap_m=1e-3,
            diameter_m=50e-3,
            sheet=sheet,
            relative_permittivity=1.0 if sheet == "air" else 4.5,
        ).value_f
        for sheet in SHEETS
    )
    assert round(wide / air, 1) == 1.8
    assert 1.01 < flush / air < 1.05
