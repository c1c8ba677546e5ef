"""Tables of text on a terminal; what is in them is never taken for markup."""

import json
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ...reports.lot import TextTable

__all__ = ["plain", "print_lines", "print_tables", "write_json"]


def plain(text: str) -> str:
    """Replace what would steer a terminal (controls, halves of surrogate pairs)."""
    return "".join(
        c if c.isprintable() or c == "\n" else c.encode("unicode_escape").decode()
        for c in text
    )


def print_lines(lines: Iterable[str]) -> None:
    """Print sentences on standard output."""
    from rich.console import Console

    console = Console(highlight=False)
    for line in lines:
        console.print(plain(line), markup=False, soft_wrap=True)


def print_tables(tables: Iterable["TextTable"]) -> None:
    """Print tables on standard output."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(highlight=False)
    for one in tables:
        if one.title:
            console.print(Text(plain(one.title), style="italic"), soft_wrap=True)
        shown = Table(box=None)
        for number, head in enumerate(one.heads):
            right = number in one.numeric
            shown.add_column(
                Text(plain(head)),
                justify="right" if right else "left",
                overflow="fold",  # nothing is cut off
            )
        for row in one.rows:
            shown.add_row(*(Text(plain(cell)) for cell in row))
        console.print(shown)


def write_json(document: object, target: str) -> None:
    """Write a document to a file, or to standard output for ``-``.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    from .output import write_document

    write_document(json.dumps(document, indent=1, allow_nan=False) + "\n", target)
