"""Entries as rows and columns of the tables, and back.

Columns of numbers are little-endian bytes: float64 for readings and values, int32 for
indices, int64 for sequences, one byte for a verdict (its place in `VERDICT_CODES`).
"""

import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...analysis.lots import Verdict
from ...analysis.quantity import Caution
from . import schema as t
from .chain import circumstances_hash, mapping_text
from .entries import (
    CheckEntry,
    Circumstances,
    FloatArray,
    PartEntry,
    ReworkEntry,
    StoredQuantity,
    SweepColumns,
)

__all__ = [
    "VERDICT_CODES",
    "circumstances_of",
    "circumstances_row",
    "detail_of",
    "floats",
    "quantity_of",
    "quantity_rows",
    "reasons_of",
    "reasons_text",
    "rework_columns",
    "rework_reasons",
    "sweep_of",
    "sweep_rows",
]

Row = dict[str, Any]
# What a byte of `reworks.verdicts` means; only ever added to at the end.
VERDICT_CODES = (
    Verdict.ACCEPTED,
    Verdict.REJECTED,
    Verdict.UNDECIDED,
    Verdict.UNMEASURED,
    Verdict.SKIPPED,
    Verdict.UNDONE,
)


def reasons_text(
    reasons: Sequence[Caution] | Mapping[int, Sequence[Caution]],
) -> str:
    """Write reasons as JSON: pairs of code and text, for a rework by sequence."""
    if isinstance(reasons, Mapping):
        by_sequence = {
            str(key): [[one.code, one.text] for one in reasons[key]]
            for key in sorted(reasons)
        }
        return json.dumps(by_sequence)
    return json.dumps([[one.code, one.text] for one in reasons])


def reasons_of(text: str) -> tuple[Caution, ...]:
    """Read the reasons of a part or a check standard's reading."""
    return tuple(Caution(code=code, text=said) for code, said in json.loads(text))


def rework_reasons(text: str) -> dict[int, tuple[Caution, ...]]:
    """Read the reasons of a rework, by its parts' sequences."""
    return {
        int(key): tuple(Caution(code=code, text=said) for code, said in pairs)
        for key, pairs in json.loads(text).items()
    }


def circumstances_row(given: Circumstances) -> Row:
    """Write circumstances as the row they are kept in, with its hash."""
    row = {
        "bench": given.bench,
        "fixture": given.fixture,
        "instruments": mapping_text(given.instruments),
        "software": mapping_text(given.software),
    }
    return row | {"hash": circumstances_hash(row)}


def circumstances_of(row: t.Row) -> Circumstances:
    """Read circumstances from their row."""
    return Circumstances(
        bench=row["bench"],
        fixture=row["fixture"],
        instruments=json.loads(row["instruments"]),
        software=json.loads(row["software"]),
    )


def quantity_rows(quantities: Sequence[StoredQuantity]) -> list[Row]:
    """Write quantities as rows, numbered in their order."""
    return [
        {
            "number": number,
            "name": one.name,
            "unit": one.unit,
            "value": one.value,
            "standard_uncertainty": one.standard_uncertainty,
        }
        for number, one in enumerate(quantities)
    ]


def quantity_of(row: t.Row) -> StoredQuantity:
    """Read a quantity from its row."""
    return StoredQuantity(
        name=row["name"],
        unit=row["unit"],
        value=row["value"],
        standard_uncertainty=row["standard_uncertainty"],
    )


def floats(data: bytes) -> FloatArray:
    """Read a column of numbers."""
    return np.frombuffer(data, dtype="<f8").astype(np.float64, copy=False)


def sweep_rows(sweeps: Sequence[SweepColumns]) -> list[Row]:
    """Write sweeps as rows of columns, numbered in their order."""
    return [
        {
            "number": number,
            "name": one.name,
            "n": int(one.frequency_hz.size),
            "frequency_hz": _bytes(one.frequency_hz),
            "amplitude_v": _bytes(one.amplitude_v),
            "range_v": None if one.range_v is None else _bytes(one.range_v),
            "time_s": _bytes(one.time_s),
            "used": None if one.used is None else one.used.astype("<i4").tobytes(),
        }
        for number, one in enumerate(sweeps)
    ]


def sweep_of(row: t.Row) -> SweepColumns:
    """Read a sweep from its row."""
    used, range_v = row["used"], row["range_v"]
    return SweepColumns(
        name=row["name"],
        frequency_hz=floats(row["frequency_hz"]),
        amplitude_v=floats(row["amplitude_v"]),
        time_s=floats(row["time_s"]),
        range_v=None if range_v is None else floats(range_v),
        used=None if used is None else np.frombuffer(used, dtype="<i4"),
    )


def detail_of(entry: PartEntry | CheckEntry | ReworkEntry) -> tuple[str, Row]:
    """Give an entry's kind and what is particular to it."""
    if isinstance(entry, PartEntry):
        return "part", {"label": entry.label, "verdict": entry.verdict.value}
    if isinstance(entry, CheckEntry):
        return "check", {"standard": entry.standard, "in_control": entry.in_control}
    codes = [] if entry.verdicts is None else map(VERDICT_CODES.index, entry.verdicts)
    return "rework", {
        "reason": entry.reason,
        "names": json.dumps([list(pair) for pair in entry.names]),
        "sequences": entry.sequences.astype("<i8").tobytes(),
        "verdicts": bytes(codes),
        "values": _bytes(entry.values),
        "uncertainties": _bytes(entry.uncertainties),
    }


def rework_columns(
    row: t.Row,
) -> tuple[NDArray[np.int64], NDArray[np.uint8] | None, FloatArray, FloatArray]:
    """Read a rework's sequences, verdict codes, values and uncertainties."""
    sequences = np.frombuffer(row["sequences"], dtype="<i8").astype(
        np.int64, copy=False
    )
    codes = np.frombuffer(row["verdicts"], dtype=np.uint8)
    shape = (sequences.size, len(json.loads(row["names"])))
    return (
        sequences,
        codes if codes.size else None,
        floats(row["values"]).reshape(shape),
        floats(row["uncertainties"]).reshape(shape),
    )


def _bytes(column: FloatArray) -> bytes:
    return column.astype("<f8", copy=False).tobytes()
