"""A side file: what could not be stored, one JSON line an entry, flushed to disk.

Blobs are base64 of the bytes that the base would hold. A base adopts a side file later
(`RecordBase.adopt`), each entry once by its UUID, however often it is adopted; the file
stays as it is. Every line names the base it is for, and no other base takes it.
"""

import base64
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from typing import Any

import numpy as np

from ...analysis.errors import HalfpowerError
from ...analysis.lots import Verdict
from ...analysis.quantity import Caution
from ..errors import RecordError
from .columns import quantity_of, quantity_rows, reasons_text, sweep_of, sweep_rows
from .entries import CheckEntry, Circumstances, LotEntry, PartEntry, ReworkEntry

__all__ = ["SCHEMA", "SideFile", "SideLine"]

SCHEMA = "halfpower.side/2"  # 1 did not say for which base
AnyGiven = LotEntry | PartEntry | CheckEntry | ReworkEntry
_KINDS: dict[str, type[AnyGiven]] = {
    "lot": LotEntry,
    "part": PartEntry,
    "check": CheckEntry,
    "rework": ReworkEntry,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SideLine:
    """One line: what it holds, or why it cannot be read, or whose it is instead."""

    number: int
    given: AnyGiven | None
    problem: str = ""
    belongs_to: str = ""


@dataclass(frozen=True, slots=True)
class SideFile:
    """What is kept beside a base while it cannot be reached.

    Attributes
    ----------
    path
        Made when the first line comes; its folder too.
    base
        The base's identity.
    where
        Where that base is.
    """

    path: Path
    base: str
    where: str

    def append(self, given: AnyGiven) -> None:
        """Append one line; it is on disk when this returns.

        Raises
        ------
        RecordError
            The file cannot be written either.
        """
        owner = {"base": self.base, "where": self.where}
        data = (json.dumps(owner | _to_json(given)) + "\n").encode()
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("ab", buffering=0) as file:
                # A line that was cut off by a crash stays a line of its own.
                self._append(file, (b"" if self._ends_well() else b"\n") + data)
        except OSError as error:
            raise RecordError(
                f"cannot keep an entry in {self.path}: {error.strerror}; write the "
                "result down and give this user room there",
                path=self.path,
            ) from error

    def _append(self, file: FileIO, data: bytes) -> None:
        start = file.seek(0, os.SEEK_END)
        try:
            while data:  # what has no room is refused at the second try
                data = data[file.write(data) :]
            os.fsync(file.fileno())
        except OSError:
            file.truncate(start)  # no half a line on a full disk
            raise

    def lines(self) -> Iterator[SideLine]:
        """Read the lines; one that cannot be read says why, another base's says whose.

        Raises
        ------
        RecordError
            The file cannot be read.
        """
        try:
            rows = self.path.read_bytes().split(b"\n")
        except OSError as error:
            raise RecordError(
                f"cannot read {self.path}: {error.strerror}; name the side file that "
                "the message named",
                path=self.path,
            ) from error
        for number, row in enumerate(rows, start=1):
            if not row.strip():
                continue
            try:
                yield self._line(number, json.loads(row))
            except (ValueError, LookupError, TypeError, HalfpowerError) as error:
                problem = f"is no entry ({error})"
                yield SideLine(number=number, given=None, problem=problem)

    def _line(self, number: int, document: dict[str, Any]) -> SideLine:
        if document.pop("schema") != SCHEMA:
            raise ValueError(f"its schema is not {SCHEMA}")
        base, where = document.pop("base"), document.pop("where")
        if base != self.base:
            return SideLine(number=number, given=None, belongs_to=where)
        return SideLine(number=number, given=_from_json(document))

    def _ends_well(self) -> bool:
        with self.path.open("rb") as file:
            if file.seek(0, os.SEEK_END) == 0:
                return True
            file.seek(-1, os.SEEK_END)
            return file.read(1) == b"\n"


def _to_json(given: AnyGiven) -> dict[str, Any]:
    kind = next(name for name, one in _KINDS.items() if isinstance(given, one))
    document: dict[str, Any] = {"schema": SCHEMA, "kind": kind}
    for name in given.__dataclass_fields__:
        document[name] = _plain(name, getattr(given, name))
    return document


def _plain(name: str, value: Any) -> Any:
    plain: Any = value
    if isinstance(value, np.ndarray):
        kind = "<i8" if name == "sequences" else "<f8"
        plain = _blob(value.astype(kind).tobytes())
    elif isinstance(value, Circumstances):
        plain = {one: getattr(value, one) for one in value.__dataclass_fields__}
        plain |= {one: dict(plain[one]) for one in ("instruments", "software")}
    elif name == "sweeps":
        plain = [{k: _blob(v) for k, v in row.items()} for row in sweep_rows(value)]
    elif name == "quantities":
        plain = quantity_rows(value)
    elif name == "reasons":
        plain = json.loads(reasons_text(value))
    return plain


def _blob(value: Any) -> Any:
    return base64.b64encode(value).decode() if isinstance(value, bytes) else value


def _bytes(value: str | None) -> bytes | None:
    return None if value is None else base64.b64decode(value, validate=True)


def _from_json(document: dict[str, Any]) -> AnyGiven:
    kind = _KINDS[document.pop("kind")]
    if kind is LotEntry:
        return LotEntry(**document)
    document["circumstances"] = Circumstances(**document["circumstances"])
    if kind is ReworkEntry:
        return _rework(document)
    document["reasons"] = _reasons(document["reasons"])
    document["quantities"] = tuple(map(quantity_of, document["quantities"]))
    document["sweeps"] = tuple(
        sweep_of({k: _column(k, v) for k, v in row.items()})
        for row in document["sweeps"]
    )
    return kind(**document)


def _column(name: str, value: Any) -> Any:
    return value if name in {"name", "number", "n"} else _bytes(value)


def _reasons(pairs: list[list[str]]) -> tuple[Caution, ...]:
    return tuple(Caution(code=code, text=said) for code, said in pairs)


def _rework(document: dict[str, Any]) -> ReworkEntry:
    sequences = np.frombuffer(_bytes(document["sequences"]) or b"", dtype="<i8")
    names = tuple((name, unit) for name, unit in document["names"])
    verdicts = document["verdicts"]
    columns = {
        name: np.frombuffer(_bytes(document[name]) or b"", dtype="<f8").reshape(
            sequences.size, len(names)
        )
        for name in ("values", "uncertainties")
    }
    given = document | columns
    given["names"], given["sequences"] = names, sequences
    given["verdicts"] = None if verdicts is None else [Verdict(v) for v in verdicts]
    given["reasons"] = {int(k): _reasons(v) for k, v in document["reasons"].items()}
    return ReworkEntry(**given)
