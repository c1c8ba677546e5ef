"""Readings files, written reading by reading (``readings.py`` reads them).

A measurement's own file is CSV with a header, safe on disk after every reading; lines
that begin with ``#`` are comments: what it is of, and readings that were taken back.
"""

import contextlib
import csv
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Self

from ...analysis.reading import Reading
from ..errors import RecordError

__all__ = ["ReadingsFile", "free_path", "free_stem"]

COLUMNS = (
    "frequency_hz",
    "amplitude_v",
    "range_v",
    "time_s",
    "phase",
    "capacitance_f",
    "step",
)
TAKEN_BACK = "# taken back: "


class ReadingsFile:
    """A readings file that is safe on disk after every reading.

    Parameters
    ----------
    path
        A file that does not exist yet; its folder is made where needed.
    comments
        What stands at its head, one ``# name: text`` line each.

    Raises
    ------
    RecordError
        The file exists, or cannot be written.
    """

    def __init__(self, path: Path, *, comments: Mapping[str, str]) -> None:
        self.path = path
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RecordError(f"cannot make {path.parent}: {error.strerror}") from error
        try:
            # A label from a terminal may hold bytes that are not text.
            self._file = path.open(
                "x+", encoding="utf-8", errors="backslashreplace", newline=""
            )
        except FileExistsError as error:
            raise RecordError(
                f"{path} exists already and readings are never overwritten; name "
                "another file",
                path=path,
            ) from error
        except OSError as error:
            raise RecordError(f"cannot write {path}: {error.strerror}") from error
        self._rows = csv.writer(self._file, lineterminator="\n")
        self._starts: list[int] = []  # where each reading's row begins
        self._end = 0  # of what is safe on disk, in bytes
        try:
            self._write_head(comments)
        except OSError as error:
            self._cut_off(at=0)
            path.unlink(missing_ok=True)
            raise RecordError(f"cannot write {path}: {error.strerror}") from error

    def _write_head(self, comments: Mapping[str, str]) -> None:
        for name, text in comments.items():
            self._file.write(f"# {name}: {' '.join(text.splitlines())}\n")
        self._rows.writerow(COLUMNS)
        self._secure()

    def add(self, reading: Reading, *, phase: str, step: str = "") -> None:
        """Write one reading; it is on disk when this returns.

        Raises
        ------
        RecordError
            It could not be written (the disk is full, the folder is gone).
        """
        range_v, capacitance_f = (
            "" if one is None else repr(float(one))
            for one in (reading.range_v, reading.capacitance_f)
        )
        start = self._end
        try:
            self._rows.writerow(
                (
                    repr(float(reading.frequency_hz)),
                    repr(float(reading.amplitude_v)),
                    range_v,
                    f"{reading.time_s:.6f}",
                    phase,
                    capacitance_f,
                    step,
                )
            )
            self._secure()
            self._starts.append(start)
        except OSError as error:
            self._cut_off(at=start)
            raise RecordError(
                f"cannot write {self.path}: {error.strerror}; the readings before "
                "this one are in it",
                path=self.path,
            ) from error

    def take_back(self) -> None:
        """Make a comment of the last reading, which was a slip.

        It stays readable, and `read_sweep` passes it over.

        Raises
        ------
        RecordError
            There is none, or the file cannot be written.
        """
        if not self._starts:
            raise RecordError(f"{self.path} holds no reading to take back")
        try:
            self._file.seek(self._starts[-1])
            rest = self._file.read()
            self._file.seek(self._starts[-1])
            self._file.write(f"{TAKEN_BACK}{rest}")
            self._secure()
        except OSError as error:
            self._cut_off(at=self._starts[-1])
            raise RecordError(f"cannot write {self.path}: {error.strerror}") from error
        self._starts.pop()

    @property
    def count(self) -> int:
        """How many readings are in the file.

        Counted there: an interrupt may come between a reading's writing and any
        note of it here.

        Raises
        ------
        RecordError
            The file is not there any more, or cannot be read.
        """
        try:
            if not self._file.closed:
                self._file.flush()
            with self.path.open(encoding="utf-8") as written:
                return sum(line[:1].isdigit() for line in written)
        except OSError as error:
            raise RecordError(
                f"cannot read {self.path}: {error.strerror}; it was there when the "
                "measurement began: leave it in its place until the end"
            ) from error

    def discard(self) -> None:
        """Take the file away again, if no reading has come."""
        if self.count == 0:
            self._file.close()
            self.path.unlink(missing_ok=True)

    def _secure(self) -> None:
        self._file.flush()
        os.fsync(self._file.fileno())
        self._end = self._file.tell()

    def _cut_off(self, *, at: int) -> None:
        """End the file with its last whole row, and close it."""
        with contextlib.suppress(OSError):
            file = os.dup(self._file.fileno())
            self._close()  # first: what waits to be written must not come after it
            os.ftruncate(file, at)
            os.close(file)

    def __enter__(self) -> Self:
        """Use it for the length of a block."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the file."""
        self._close()

    def _close(self) -> None:
        with contextlib.suppress(OSError):
            self._file.close()


def free_path(path: Path) -> Path:
    """Return the path, or the first of ``name-2``, ``name-3``... that is free."""
    stem = free_stem(path.with_suffix(""), suffixes=(path.suffix,))
    return _with_ending(stem, path.suffix)


def free_stem(stem: Path, *, suffixes: Sequence[str]) -> Path:
    """Return the stem, or the first of ``stem-2``, ``stem-3``... that is all free.

    Parameters
    ----------
    stem
        A path without its ending.
    suffixes
        The endings of the files that belong together.
    """
    candidate, number = stem, 1
    # os.path's own also takes what can be no file's name; whoever writes it refuses it.
    while any(os.path.exists(_with_ending(candidate, one)) for one in suffixes):  # noqa: PTH110
        number += 1
        candidate = stem.with_name(f"{stem.name}-{number}")
    return candidate


def _with_ending(stem: Path, suffix: str) -> Path:
    """Add an ending; `with_suffix` would take ``5mm`` off ``coil-1.5mm``."""
    return stem.with_name(stem.name + suffix)
