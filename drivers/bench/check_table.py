"""The table that a check of a bench fills, row by row."""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from ...analysis.errors import HalfpowerError, InputError

__all__ = ["CheckRow", "CheckTable", "State"]

State = Literal["ok", "FAILED", "doubtful", "missing"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRow:
    """One line of the table.

    Attributes
    ----------
    what
        What was looked at.
    state
        ``ok``, ``FAILED``, ``doubtful`` (it works, and the result may suffer) or
        ``missing`` (nothing was said of it).
    found
        What was found.
    do
        What to do about it; empty: nothing.
    """

    what: str
    state: State
    found: str
    do: str = ""


class CheckTable:
    """The rows so far."""

    def __init__(self, told: Callable[[CheckRow], None]) -> None:
        self.rows: list[CheckRow] = []
        self._told = told

    def add(self, row: CheckRow) -> None:
        """Keep a row and tell it."""
        self.rows.append(row)
        self._told(row)

    @contextlib.contextmanager
    def row(self, what: str) -> Iterator[list[str]]:
        """Try one thing: what is put into the list was found, an error is a failure.

        A mistake in a file is no finding of the bench, and passes through.
        """
        found: list[str] = []
        try:
            yield found
        except InputError:
            raise
        except HalfpowerError as error:
            sentence, semicolon, advice = str(error).rpartition("; ")
            if not semicolon:
                sentence, advice = advice, "see its manual, and its dialect"
            self.add(CheckRow(what=what, state="FAILED", found=sentence, do=advice))
        else:
            self.add(CheckRow(what=what, state="ok", found="; ".join(found)))

    def is_ok(self, what: str) -> bool:
        """Whether that row is there and did not fail."""
        return any(row.what == what and row.state == "ok" for row in self.rows)

    @property
    def all_ok(self) -> bool:
        """Whether nothing has failed so far."""
        return all(row.state != "FAILED" for row in self.rows)
