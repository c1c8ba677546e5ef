"""The record base of a command: its option, and how it is opened."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from ...records.base import RecordBase

__all__ = ["RecordsOption", "opened_base"]

RecordsOption = Annotated[
    str | None,
    typer.Option(
        "--records",
        metavar="WHERE",
        help="Record base: a file (SQLite), or postgresql+psycopg://user@host/base; "
        "by default this user's own.",
    ),
]


@contextmanager
def opened_base(where: str | None) -> Iterator["RecordBase"]:
    """Open a record base that is there already.

    Raises
    ------
    RecordError
        It is not there, or cannot be opened.
    """
    from ...records.base import default_path, open_base
    from ...records.errors import RecordError

    if where is None or "://" not in where:
        path = default_path() if where is None else Path(where)
        if not path.is_file():
            raise RecordError(
                f"there is no record base {path}; `halfpower lot run` makes one, and "
                "--records says where another is",
                path=path,
            )
    with open_base(where) as base:
        yield base
