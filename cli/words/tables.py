"""Tables of text on a terminal; what is in them is never taken for markup."""

import json
from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal

from ..streams import as_shown

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from ...reports.lot import TextTable

__all__ = ["plain", "print_lines", "print_tables", "put", "put_table", "write_json"]

WIDEST = 1000  # columns that a table may take where nobody's screen ends


def plain(text: str) -> str:
    """Replace what would steer a terminal (controls, halves of surrogate pairs)."""
    return "".join(
        c if c.isprintable() or c == "\n" else c.encode("unicode_escape").decode()
        for c in text
    )


def put(console: "Console", text: "str | Text") -> None:
    """Print a sentence: wrapped at a terminal's width, elsewhere on one line."""
    console.print(text, markup=False, soft_wrap=not console.is_terminal)


def put_table(console: "Console", table: "Table") -> None:
    """Print a table; on a terminal too narrow for it, a block of lines for each row.

    Elsewhere than on a terminal it is as wide as it likes. What stands to the right,
    the numbers, is not broken.
    """
    from rich.measure import Measurement
    from rich.text import Text

    for column in table.columns:
        column.overflow = "fold"  # nothing is cut off
        column.header = Text(as_shown(str(column.header), encoding=console.encoding))
        if column.justify == "right":
            cells = [column.header, *column.cells]
            column.min_width = max(console.measure(one).maximum for one in cells)
    widths = Measurement.get(console, console.options.update(width=WIDEST), table)
    if not console.is_terminal:
        console.width = max(console.width, widths.maximum)
    if widths.minimum <= console.width:
        console.print(table)
    else:
        _put_blocks(console, table)


def _put_blocks(console: "Console", table: "Table") -> None:
    from rich.padding import Padding
    from rich.text import Text

    if table.title is not None:
        console.print(table.title, style="table.title")
    heads = [str(column.header) for column in table.columns]
    for row in zip(*(column.cells for column in table.columns), strict=True):
        for number, (head, cell) in enumerate(zip(heads, row, strict=True)):
            text = cell if isinstance(cell, Text) else Text.from_markup(str(cell))
            if text:
                said = Text(f"{head}: " if head else "").append_text(text)
                console.print(Padding(said, (0, 0, 0, 2 if number else 0)))


def print_lines(lines: Iterable[str]) -> None:
    """Print sentences on standard output."""
    from rich.console import Console

    console = Console(highlight=False)
    for line in lines:
        put(console, plain(line))


def print_tables(tables: Iterable["TextTable"]) -> None:
    """Print tables on standard output."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(highlight=False)
    for one in tables:
        if one.title:
            put(console, Text(plain(one.title), style="italic"))
        shown = Table(box=None)
        for number, head in enumerate(one.heads):
            justify: Literal["right", "left"]
            justify = "right" if number in one.numeric else "left"
            shown.add_column(Text(plain(head)), justify=justify)
        for row in one.rows:
            shown.add_row(*(Text(plain(cell)) for cell in row))
        put_table(console, shown)


def write_json(document: object, target: str, *, overwrite: bool) -> None:
    """Write a document to a file, or to standard output for ``-``.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    from .output import write_document

    text = json.dumps(document, indent=1, allow_nan=False) + "\n"
    write_document(text, target, overwrite=overwrite)
