"""The history of a reference part: its checks so far, a line each in a CSV file."""

import csv
import io
import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from ...analysis.errors import InputError
from ...analysis.given_text import shown
from ..whole import write_whole
from .text_file import file_text

__all__ = ["CHECKED", "CheckHistory"]

CHECKED = ("resonant_frequency", "loaded_q")
COLUMNS = ("begun", "part", *CHECKED)


class CheckHistory:
    """The checks of one reference part so far.

    Parameters
    ----------
    path
        Where they are kept; the file need not be there yet.
    part
        What is checked: the part, and what it is checked with.

    Raises
    ------
    InputError
        The file is something else, of another part, or damaged.
    """

    def __init__(self, path: Path, *, part: str) -> None:
        self._path, self._part = path, part
        self._values: dict[str, list[float]] = {name: [] for name in CHECKED}
        if path.exists():
            self._read()

    @property
    def values(self) -> Mapping[str, Sequence[float]]:
        """What the checks so far measured, by the names of `CHECKED`, in SI."""
        return self._values

    @property
    def count(self) -> int:
        """How many checks there are so far."""
        return len(self._values[CHECKED[0]])

    def _read(self) -> None:
        text = file_text(self._path, what="history of checks")
        try:
            rows = csv.DictReader(text.splitlines())
            if tuple(rows.fieldnames or ()) != COLUMNS:
                raise InputError(f"{self._path} is no history of checks")
            for line, row in enumerate(rows, start=2):
                self._take(row, line=line)
        except csv.Error as error:
            raise InputError(f"cannot read {self._path}: {error}") from error

    def _take(self, row: dict[str, str], *, line: int) -> None:
        if row["part"] != self._part:
            raise InputError(
                f"{self._path} is the history of {shown(row['part'])}, and this is a "
                f"check of {self._part!r}; name another file"
            )
        for name in CHECKED:
            try:
                value = float(row[name])
            except (TypeError, ValueError):
                value = math.nan
            if not 0.0 < value < math.inf:
                raise InputError(
                    f"{self._path}, line {line}: {name} is {shown(row[name])}, no "
                    "number above zero; take the line out"
                )
            self._values[name].append(value)

    def append(self, *, begun: str, values: Mapping[str, float]) -> None:
        """Add a check.

        Parameters
        ----------
        begun
            When it began (ISO 8601).
        values
            What was measured, by the names of `CHECKED`, in SI.

        Raises
        ------
        InputError
            The file cannot be written.
        """
        file = io.StringIO()
        rows = csv.writer(file, lineterminator="\n")
        try:
            before = self._path.read_text(encoding="utf-8")
        except FileNotFoundError:
            rows.writerow(COLUMNS)
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(f"cannot read {self._path}: {error}") from error
        else:
            file.write(before if before.endswith("\n") else f"{before}\n")
        rows.writerow((begun, self._part, *(repr(values[name]) for name in CHECKED)))
        write_whole(self._path, file.getvalue(), overwrite=True)
