r"""A lot as two tables, parts and readings, in CSV or Parquet.

One row a part with its newest result: ``lot, position, attempt, label, procedure,
verdict, reasons, suspect, at, station, sequence, result``, then two columns a quantity,
named with its unit: ``inductance_H``, ``u_inductance_H`` (no unit for a pure number).
One row a reading: ``lot, position, attempt, sweep, sweep_name, reading, frequency_hz,
amplitude_v, range_v, time_s, used``.

A spreadsheet takes text in a CSV file that begins with ``=``, ``+``, ``-``, ``@``, a
tab or a line's end for a formula. Such text is written with an apostrophe before it,
and so is text that begins with an apostrophe, so that taking one off gives the text as
it is in the base. Numbers are numbers. Parquet needs none of this and has the text as
it is; half a surrogate pair, which no file of text can hold, is written as its escape
(``\udc80``) in both.
"""

import csv
import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.util import find_spec
from itertools import islice
from pathlib import Path
from typing import IO, Any

import numpy as np

from ..errors import RecordError
from ..whole import whole_file
from .record_base import RecordBase
from .rows import PartRow, PartSweep

__all__ = ["as_spreadsheet_text", "export_csv", "export_parquet"]

_PART = (
    "lot",
    "position",
    "attempt",
    "label",
    "procedure",
    "verdict",
    "reasons",
    "suspect",
    "at",
    "station",
    "sequence",
    "result",
)
_READING = (
    "lot",
    "position",
    "attempt",
    "sweep",
    "sweep_name",
    "reading",
    "frequency_hz",
    "amplitude_v",
    "range_v",
    "time_s",
    "used",
)
_TEXTS = {"lot", "label", "procedure", "verdict", "reasons", "at", "station"}
_INTEGERS = {"position", "attempt", "sequence", "result", "sweep", "reading"}
_ACTIVE = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
_ROWS_AT_ONCE = 5000
_SWEEPS_AT_ONCE = 500

Key = tuple[str, str]  # a quantity's name and unit


def as_spreadsheet_text(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet would not take for text."""
    return f"'{text}" if text.startswith(_ACTIVE) else text


def export_csv(
    base: RecordBase,
    lot: str,
    *,
    folder: Path,
    all_attempts: bool = False,
    overwrite: bool = False,
) -> tuple[Path, Path]:
    """Write a lot as ``parts.csv`` and ``readings.csv`` in a folder.

    Parameters
    ----------
    folder
        Made where needed; both files appear in it, or neither.
    all_attempts
        Earlier attempts at a position too.
    overwrite
        Whether files that are there already may be replaced.

    Raises
    ------
    InputError
        A file exists or cannot be written.
    RecordError
        The base cannot be read.
    """
    paths = (folder / "parts.csv", folder / "readings.csv")
    _export(base, lot, paths, _CsvTable, every=all_attempts, overwrite=overwrite)
    return paths


def export_parquet(
    base: RecordBase,
    lot: str,
    *,
    folder: Path,
    all_attempts: bool = False,
    overwrite: bool = False,
) -> tuple[Path, Path]:
    """Write a lot as ``parts.parquet`` and ``readings.parquet``; as `export_csv`.

    Raises
    ------
    RecordError
        As `export_csv`; or pyarrow is not installed.
    """
    if find_spec("pyarrow") is None:
        raise RecordError(
            "Parquet needs pyarrow; pip install 'halfpower[parquet]', or export CSV"
        )
    paths = (folder / "parts.parquet", folder / "readings.parquet")
    _export(base, lot, paths, _ParquetTable, every=all_attempts, overwrite=overwrite)
    return paths


def _export(
    base: RecordBase,
    lot: str,
    paths: tuple[Path, Path],
    table: type["_CsvTable | _ParquetTable"],
    *,
    every: bool,
    overwrite: bool,
) -> None:
    keys = _keys(base.parts(lot, all_attempts=every))
    with (
        whole_file(paths[0], overwrite=overwrite) as parts,
        whole_file(paths[1], overwrite=overwrite) as readings,
    ):
        with table.opened(parts, (*_PART, *_heads(keys))) as one:
            rows = base.parts(lot, all_attempts=every)
            while some := list(islice(rows, _ROWS_AT_ONCE)):
                one.write(_part_columns(some, keys))
        with table.opened(readings, _READING) as one:
            sweeps = base.sweeps(lot, all_attempts=every)
            while batch := list(islice(sweeps, _SWEEPS_AT_ONCE)):
                one.write(_reading_columns(batch))


def _keys(parts: Iterator[PartRow]) -> tuple[Key, ...]:
    found = {(one.name, one.unit): None for part in parts for one in part.quantities}
    return tuple(found)


def _heads(keys: Sequence[Key]) -> list[str]:
    names = [name if unit == "1" else f"{name}_{unit}" for name, unit in keys]
    return [head for name in names for head in (name, f"u_{name}")]


def _part_columns(
    parts: Sequence[PartRow], keys: Sequence[Key]
) -> dict[str, list[Any]]:
    columns: dict[str, list[Any]] = {
        name: [getattr(part, name) for part in parts] for name in _PART
    }
    columns["verdict"] = [part.verdict.value for part in parts]
    columns["reasons"] = [
        "; ".join(f"{one.code}: {one.text}" for one in part.reasons) for part in parts
    ]
    found = [{(q.name, q.unit): q for q in part.quantities} for part in parts]
    heads = iter(_heads(keys))
    for key in keys:
        held = [one.get(key) for one in found]
        for name in ("value", "standard_uncertainty"):
            columns[next(heads)] = [getattr(one, name, None) for one in held]
    return columns


def _reading_columns(sweeps: Sequence[PartSweep]) -> dict[str, list[Any]]:
    columns: dict[str, list[Any]] = {name: [] for name in _READING}
    for one in sweeps:
        readings, n = one.readings, one.readings.frequency_hz.size
        used = np.ones(n, dtype=np.bool_)
        if readings.used is not None:
            used = np.isin(np.arange(n), readings.used)
        ranges = readings.range_v
        same = (one.lot, one.position, one.attempt, one.number, readings.name)
        for name, value in zip(_READING, same, strict=False):
            columns[name] += [value] * n
        columns["reading"] += range(n)
        columns["frequency_hz"] += readings.frequency_hz.tolist()
        columns["amplitude_v"] += readings.amplitude_v.tolist()
        columns["range_v"] += (
            [None] * n
            if ranges is None
            else [None if np.isnan(v) else v for v in ranges.tolist()]
        )
        columns["time_s"] += readings.time_s.tolist()
        columns["used"] += used.tolist()
    return columns


class _CsvTable:
    """A CSV file that is written rows by rows."""

    def __init__(self, file: Any) -> None:
        self._rows = csv.writer(file, lineterminator="\r\n")  # RFC 4180

    @classmethod
    @contextmanager
    def opened(cls, file: IO[bytes], heads: Sequence[str]) -> Iterator["_CsvTable"]:
        """Begin the file with its header."""
        text = io.TextIOWrapper(
            file, encoding="utf-8", errors="backslashreplace", newline=""
        )
        table = cls(text)
        table._rows.writerow([_cell(head) for head in heads])
        yield table
        text.detach()  # the file is closed by whoever opened it

    def write(self, columns: dict[str, list[Any]]) -> None:
        """Append rows, given as columns of one length."""
        self._rows.writerows(
            [_cell(value) for value in row]
            for row in zip(*columns.values(), strict=True)
        )


def _cell(value: Any) -> Any:
    return as_spreadsheet_text(value) if isinstance(value, str) else value


class _ParquetTable:
    """A Parquet file that is written row group by row group."""

    def __init__(self, writer: Any) -> None:
        self._writer = writer

    @classmethod
    @contextmanager
    def opened(cls, file: IO[bytes], heads: Sequence[str]) -> Iterator["_ParquetTable"]:
        """Begin the file with its schema."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        schema = pa.schema([(_utf8(head), _arrow_type(head, pa)) for head in heads])
        with pq.ParquetWriter(file, schema) as writer:
            yield cls(writer)

    def write(self, columns: dict[str, list[Any]]) -> None:
        """Append rows, given as columns of one length."""
        import pyarrow as pa

        schema = self._writer.schema
        arrays = [
            pa.array(
                [_utf8(v) if isinstance(v, str) else v for v in column],
                type=schema.field(number).type,
            )
            for number, column in enumerate(columns.values())
        ]
        self._writer.write_table(pa.Table.from_arrays(arrays, schema=schema))


def _arrow_type(head: str, pa: Any) -> Any:
    if head in _TEXTS or head == "sweep_name":
        return pa.string()
    if head in _INTEGERS:
        return pa.int64()
    return pa.bool_() if head in {"suspect", "used"} else pa.float64()


def _utf8(text: str) -> str:
    return text.encode("utf-8", "backslashreplace").decode("utf-8")
