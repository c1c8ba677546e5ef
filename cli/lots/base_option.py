"""The record base of a command: its option, and how it is opened."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from ...records.base import RecordBase

__all__ = ["RecordsOption", "base_files", "lot_named", "opened_base"]

MOST_LISTED = 20  # lots in a sentence

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
    if not path.name:
        return {}  # it cannot be opened either, which says so
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


def lot_named(base: "RecordBase", text: str) -> str:
    """Find a lot by its name, by what stands before its brackets, or by a part of it.

    Raises
    ------
    RecordError
        None or several are meant; the base's lots are listed.
    """
    from ...records.errors import EntryError

    names = [one.name for one in base.lots()]
    wanted = text.casefold()
    found = (
        [one for one in names if one == text]
        or [one for one in names if one.partition(" (")[0].casefold() == wanted]
        or [one for one in names if wanted in one.casefold()]
    )
    if len(found) == 1:
        return found[0]
    what = f"{len(found)} lots that {text!r} may mean" if found else f"no lot {text!r}"
    listed = found or names
    said = ", ".join(map(repr, listed[:MOST_LISTED])) or "none"
    more = len(listed) - MOST_LISTED
    raise EntryError(
        f"{base.where} has {what}; its lots{' of such a name' if found else ''} are: "
        f"{said}{f' and {more} more' if more > 0 else ''}",
        lot=text,
    )
