"""The record base of a command: its option, and how it is opened."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from ...records.base import RecordBase

__all__ = ["RecordsOption", "base_files", "opened_base"]

RecordsOption = Annotated[
    str | None,
    typer.Option(
        "--records",
        metavar="WHERE",
        help="Record base: a file (SQLite), or postgresql+psycopg://user@host/base; "
        "by default this user's own.",
    ),
]


def base_files(where: str | None) -> dict[str, Path]:
    """Name a base's own files, by what each is; a server's are none of ours."""
    from ...records.base import default_path

    path = default_path() if where is None else Path(where.removeprefix("sqlite:///"))
    return {
        "the record base": path,
        "the record base's log": path.with_name(f"{path.name}-wal"),
        "the record base's index": path.with_name(f"{path.name}-shm"),
        "the record base's side file": path.with_name(f"{path.name}.side.jsonl"),
    }


@contextmanager
def opened_base(where: str | None) -> Iterator["RecordBase"]:
    """Open a record base that is there already; looking makes none.

    Raises
    ------
    RecordError
        It is not there, or cannot be opened.
    """
    from ...records.base import open_base

    with open_base(where, make=False) as base:
        yield base
