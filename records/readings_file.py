"""Readings files: CSV with a header, written reading by reading, read with care.

Columns are ``frequency_hz`` and one of ``amplitude_v`` or ``power_dbm``; with volts,
``u_amplitude_v`` may state each reading's standard uncertainty. Others are ignored, and
lines that begin with ``#`` are comments. A sweep's own file has the columns
``range_v`` (the detector's full scale, which weighs the readings), ``time_s`` and
``phase`` besides, and `halfpower fit` reads it.
"""

import contextlib
import csv
import math
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..analysis.errors import InputError
from ..analysis.reading import Reading
from ..analysis.trace import Trace
from .errors import RecordError

__all__ = ["ReadingsFile", "free_path", "free_stem", "read_readings"]

COLUMNS = ("frequency_hz", "amplitude_v", "range_v", "time_s", "phase")
AMPLITUDES = ("amplitude_v", "power_dbm")
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
        try:
            self._write_head(comments)
        except OSError as error:
            self._close()
            raise RecordError(f"cannot write {path}: {error.strerror}") from error

    def _write_head(self, comments: Mapping[str, str]) -> None:
        for name, text in comments.items():
            self._file.write(f"# {name}: {' '.join(text.split())}\n")
        self._rows.writerow(COLUMNS)
        self._secure()

    def add(self, reading: Reading, *, phase: str) -> None:
        """Write one reading; it is on disk when this returns.

        Raises
        ------
        RecordError
            It could not be written (the disk is full, the folder is gone).
        """
        range_v = "" if reading.range_v is None else repr(float(reading.range_v))
        try:
            start = self._file.tell()
            self._rows.writerow(
                (
                    repr(float(reading.frequency_hz)),
                    repr(float(reading.amplitude_v)),
                    range_v,
                    f"{reading.time_s:.6f}",
                    phase,
                )
            )
            self._secure()
            self._starts.append(start)
        except OSError as error:
            raise RecordError(
                f"cannot write {self.path}: {error.strerror}; the readings before "
                "this one are in it",
                path=self.path,
            ) from error

    def take_back(self) -> None:
        """Make a comment of the last reading, which was a slip.

        It stays readable, and `read_readings` passes it over.

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
            raise RecordError(f"cannot write {self.path}: {error.strerror}") from error
        self._starts.pop()

    @property
    def count(self) -> int:
        """How many readings are in the file.

        Counted there: an interrupt may come between a reading's writing and any
        note of it here.
        """
        self._file.flush()
        with self.path.open(encoding="utf-8") as written:
            return sum(line[:1].isdigit() for line in written)

    def discard(self) -> None:
        """Take the file away again, if no reading has come."""
        if self.count == 0:
            self._file.close()
            self.path.unlink(missing_ok=True)

    def _secure(self) -> None:
        self._file.flush()
        os.fsync(self._file.fileno())

    def __enter__(self) -> Self:
        """Use it for the length of a block."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file."""
        self._close()

    def _close(self) -> None:
        with contextlib.suppress(OSError):
            self._file.close()


def free_path(path: Path) -> Path:
    """Return the path, or the first of ``name-2``, ``name-3``... that is free."""
    stem = free_stem(path.with_suffix(""), suffixes=(path.suffix,))
    return stem.with_suffix(path.suffix)


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
    while any(candidate.with_suffix(suffix).exists() for suffix in suffixes):
        number += 1
        candidate = stem.with_name(f"{stem.name}-{number}")
    return candidate


def read_readings(path: Path) -> Trace:
    """Read a readings file as a trace.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    InputError
        Missing or unreadable, no header, a needed column missing or named twice, a
        row longer than the header (a decimal comma makes one), or a value that is
        not a number in its range; the sentence says which line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise InputError(f"cannot read readings file {path}: {reason}") from error
    try:
        rows = list(_rows(text))
    except csv.Error as error:
        raise InputError(f"readings file {path} is not CSV: {error}") from error
    header = rows[0] if rows else None
    if header is None:
        raise InputError(f"readings file {path} is empty", path=path)
    names = [name.strip() for name in header[1]]
    kind = _amplitude_column(names, path=path)
    table = _Table(path=path, names=names, rows=rows[1:])
    if not table.rows:
        raise InputError(f"readings file {path} holds no readings", path=path)
    frequency = table.column("frequency_hz")
    amplitude = table.column(kind)
    try:
        if kind == "power_dbm":
            return Trace.from_power_dbm(frequency_hz=frequency, power_dbm=amplitude)
        stated = "u_amplitude_v" in names
        return Trace(
            frequency_hz=np.array(frequency),
            amplitude_v=np.array(amplitude),
            u_amplitude_v=table.weights(),
            u_scale_known=stated,
        )
    except InputError as error:
        raise InputError(f"readings file {path}: {error}", path=path) from error


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """The lines below a header, with their numbers."""

    path: Path
    names: list[str]
    rows: list[tuple[int, list[str]]]

    def column(self, name: str) -> list[float]:
        """Read a column's numbers, or refuse the first that is none."""
        numbers = []
        for line, row in self.rows:
            where = f"readings file {self.path}, line {line}"
            _refuse_longer(row, self.names, where=where)
            numbers.append(_number(row, self.names, name, where=where))
        return numbers

    def weights(self) -> NDArray[np.float64] | None:
        """Read the stated uncertainties, else the ranges where every line has one."""
        if "u_amplitude_v" in self.names:
            return np.array(self.column("u_amplitude_v"))
        if "range_v" not in self.names:
            return None
        index = self.names.index("range_v")
        if not all(len(row) > index and row[index].strip() for _, row in self.rows):
            return None
        return np.array(self.column("range_v"))


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """Yield the lines that are neither comments nor empty, with their numbers."""
    for line, content in enumerate(text.splitlines(), start=1):
        if content.strip() and not content.lstrip().startswith("#"):
            yield line, next(csv.reader([content]))


def _amplitude_column(names: list[str], *, path: Path) -> str:
    present = [name for name in AMPLITUDES if name in names]
    if "frequency_hz" not in names or len(present) != 1:
        raise InputError(
            f"readings file {path}: the header must name frequency_hz and just one "
            f"of {' or '.join(AMPLITUDES)}, and reads {','.join(names)[:80]!r}",
            path=path,
        )
    for name in ("frequency_hz", present[0]):
        if names.count(name) > 1:
            raise InputError(
                f"readings file {path}: the header names {name} more than once",
                path=path,
            )
    return present[0]


def _refuse_longer(row: list[str], names: list[str], *, where: str) -> None:
    """Refuse a row that a decimal comma has made longer than the header."""
    if any(text.strip() for text in row[len(names) :]):
        raise InputError(
            f"{where}: {len(row)} values under a header of {len(names)}; write "
            "decimals with a point"
        )


def _number(row: list[str], names: list[str], name: str, *, where: str) -> float:
    index = names.index(name)
    text = row[index].strip() if index < len(row) else ""
    try:
        number = math.nan if "_" in text else float(text)  # 1_000 is Python's alone
    except ValueError:
        number = math.nan
    positive = name in {"frequency_hz", "u_amplitude_v", "range_v"}
    if not math.isfinite(number) or (positive and number <= 0.0):
        raise InputError(
            f"{where}: {name} is {text!r}, which is not a "
            f"{'number above zero' if positive else 'number'}"
        )
    if name == "amplitude_v" and number < 0.0:
        raise InputError(f"{where}: amplitude_v is {text!r}, below zero")
    return number
