"""Tables and sentences on a terminal of any width, and where there is none."""

import io

import pytest
from rich.console import Console
from rich.table import Table

from halfpower.cli.words import put, put_table

HEADS = ("quantity", "value", "± (95 %)", "unit")
ROWS = (
    ("self-capacitance", "12.3456789", "0.0000001", "pF"),
    ("parallel resistance", "24.67", "0.43", "kΩ"),
)


def shown(columns: int, *, terminal: bool = True) -> str:
    """Show a table and a sentence at this width."""
    screen = io.StringIO()
    console = Console(
        file=screen, width=columns, force_terminal=terminal, color_system=None
    )
    table = Table(box=None)
    for head in HEADS:
        table.add_column(head, justify="right" if head[0] in "v±" else "left")
    for row in ROWS:
        table.add_row(*row)
    put_table(console, table)
    put(console, "A sentence of [more] words than forty columns can ever hold. Then.")
    return screen.getvalue()


@pytest.mark.parametrize("columns", [20, 30, 40, 60, 80, 120])
def test_no_width_cuts_a_number_or_overruns(columns: int) -> None:
    """Every number whole on one line; brackets are text."""
    lines = shown(columns).splitlines()
    assert max(len(line) for line in lines) <= columns
    for _, value, doubt, unit in ROWS:
        for number in (value, doubt):
            assert any(number in line for line in lines)
        assert any(unit in line for line in lines)
    assert "[more]" in " ".join(lines)


def test_a_table_that_does_not_fit_is_a_block_for_each_row() -> None:
    """16 + 10 + 9 + 4 columns and the gaps of 5 are more than 40."""
    lines = [line.rstrip() for line in shown(40).splitlines()]
    assert lines[:4] == [
        "quantity: self-capacitance",
        "  value: 12.3456789",
        "  ± (95 %): 0.0000001",
        "  unit: pF",
    ]
    assert shown(60).splitlines()[0].split() == [
        "quantity",
        "value",
        "±",
        "(95",
        "%)",
        "unit",
    ]


def test_where_no_terminal_is_nothing_is_wrapped() -> None:
    """However narrow it claims to be: a row is a line, a sentence is a line."""
    lines = shown(20, terminal=False).splitlines()
    assert len(lines) == 1 + len(ROWS) + 1
    assert lines[1].split() == list(ROWS[0])
    assert lines[-1].endswith("Then.")
