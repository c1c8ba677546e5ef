"""What goes into a record base: lots, parts, check standards, reworked results.

All are checked when they are made, so that what reaches the base can be stored. Times
are ISO 8601 with their offset from UTC, which is zero; nobody here looks at a clock.
"""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from uuid import UUID

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ...analysis.given_text import LONGEST_LABEL
from ...analysis.lots import Verdict
from ...analysis.quantity import Caution
from ..errors import EntryError

__all__ = [
    "CheckEntry",
    "Circumstances",
    "LotEntry",
    "LotState",
    "PartEntry",
    "ReworkEntry",
    "StoredQuantity",
    "SweepColumns",
]

FloatArray = NDArray[np.float64]


class LotState(StrEnum):
    """Where a lot stands."""

    OPEN = "open"
    FINISHED = "finished"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredQuantity:
    """One quantity in SI units.

    Attributes
    ----------
    name, unit
        As result documents name them (``inductance``, ``H``).
    value
        Finite.
    standard_uncertainty
        k = 1, same unit; None where none was worked out.

    Raises
    ------
    EntryError
        A number that is not finite, or a negative uncertainty.
    """

    name: str
    value: float
    unit: str
    standard_uncertainty: float | None = None

    def __post_init__(self) -> None:
        u = self.standard_uncertainty
        if not math.isfinite(self.value) or not (
            u is None or (math.isfinite(u) and u >= 0.0)
        ):
            raise EntryError(
                f"{self.name} = {self.value} +/- {u} {self.unit} is no number to keep; "
                "leave the quantity out",
                name=self.name,
            )
        # SQLite keeps no negative zero, and the chain is over what is kept.
        object.__setattr__(self, "value", float(self.value) + 0.0)
        if u is not None:
            object.__setattr__(self, "standard_uncertainty", float(u) + 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SweepColumns:
    """The raw readings of one sweep.

    Attributes
    ----------
    name
        What the sweep was for (``peak``, ``with 100 pF``).
    frequency_hz, amplitude_v, time_s
        Shape (N,), finite: generator frequency, detector amplitude, time since the
        sweep began.
    range_v
        Detector's full scale, shape (N,); NaN where it has none.
    used
        Indices of the readings the result rests on; None: all of them.

    Raises
    ------
    EntryError
        Columns of different lengths, numbers that are not finite, an index beyond.
    """

    name: str
    frequency_hz: FloatArray
    amplitude_v: FloatArray
    time_s: FloatArray
    range_v: FloatArray | None = None
    used: NDArray[np.int32] | None = None

    def __post_init__(self) -> None:
        n = np.size(self.frequency_hz)
        for name in ("frequency_hz", "amplitude_v", "time_s"):
            column = _read_only(getattr(self, name))
            if column.shape != (n,) or not np.isfinite(column).all():
                raise EntryError(f"{name} of sweep {self.name!r} needs {n} numbers")
            object.__setattr__(self, name, column)
        if self.range_v is not None:
            column = _read_only(self.range_v)
            if column.shape != (n,):
                raise EntryError(f"range_v of sweep {self.name!r} needs {n} numbers")
            object.__setattr__(
                self, "range_v", None if np.isnan(column).all() else column
            )
        if self.used is not None:
            object.__setattr__(self, "used", self._indices(self.used, n=n))

    def _indices(self, used: ArrayLike, *, n: int) -> NDArray[np.int32] | None:
        indices = np.array(used, dtype=np.int32)
        if indices.ndim != 1 or (
            indices.size and not (0 <= indices.min() <= indices.max() < n)
        ):
            raise EntryError(f"sweep {self.name!r} has no reading that `used` names")
        indices.setflags(write=False)
        return None if np.array_equal(indices, np.arange(n)) else indices


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What was in force when a part was measured.

    Attributes
    ----------
    bench, fixture
        Their constants, as JSON text.
    instruments, software
        Identities and versions by name.
    """

    bench: str = "{}"
    fixture: str = "{}"
    instruments: Mapping[str, str] = field(default_factory=dict)
    software: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class LotEntry:
    """A lot to be opened.

    Attributes
    ----------
    name
        The base holds one lot of a name.
    file_text
        The lot file, as it was read.
    begun
        ISO 8601, UTC.
    station
        The bench that opened it.
    """

    name: str
    file_text: str
    begun: str
    station: str

    def __post_init__(self) -> None:
        _check_length(self.name)
        check_time(self.begun)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartEntry:
    """One part as measured.

    Attributes
    ----------
    uuid
        Made by whoever measures, once an entry: a repeated store is the same entry.
    lot
        The name of a lot of the base.
    at
        When it was measured, ISO 8601, UTC.
    station
        The bench that measured it.
    document
        The result document's JSON text; None where nothing was measured.
    again
        The position of a part measured again; its earlier attempts are kept.
    position
        The position that a new part was taken for; None takes the lot's next. Where
        its label stands in the lot already, it is that part again; where another label
        has come to stand there, it gets the next position.

    Raises
    ------
    EntryError
        A UUID or time that is none, a quantity named twice, or a label of more than
        500 characters.
    """

    uuid: str
    lot: str
    label: str
    at: str
    station: str
    procedure: str
    verdict: Verdict
    circumstances: Circumstances
    reasons: tuple[Caution, ...] = ()
    quantities: tuple[StoredQuantity, ...] = ()
    sweeps: tuple[SweepColumns, ...] = ()
    document: str | None = None
    again: int | None = None
    position: int | None = None

    def __post_init__(self) -> None:
        _check_entry(self)
        _check_length(self.label)
        object.__setattr__(self, "verdict", Verdict(self.verdict))
        check_names([one.name for one in self.quantities])


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckEntry:
    """One reading of a check standard; attributes as in `PartEntry`.

    Out of control, it makes every part suspect that was stored in its lot since the
    last good reading of the same standard (since the lot began, if there is none).
    """

    uuid: str
    lot: str
    standard: str
    at: str
    station: str
    procedure: str
    in_control: bool
    circumstances: Circumstances
    reasons: tuple[Caution, ...] = ()
    quantities: tuple[StoredQuantity, ...] = ()
    sweeps: tuple[SweepColumns, ...] = ()
    document: str | None = None

    def __post_init__(self) -> None:
        _check_entry(self)
        object.__setattr__(self, "in_control", bool(self.in_control))
        check_names([one.name for one in self.quantities])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReworkEntry:
    """New results for B stored parts of one lot, in Q quantities.

    Attributes
    ----------
    reason
        Why they were worked out again.
    circumstances
        The constants used now.
    names
        Q pairs of a quantity's name and unit.
    sequences
        The parts, by their entries' sequence in the lot: shape (B,), rising.
    values, uncertainties
        Shape (B, Q), SI; NaN where a part has no such quantity or uncertainty.
    verdicts
        B verdicts; None keeps those the parts had.
    reasons
        Of the new verdicts, by sequence; parts without any may be left out.
    document
        One JSON text for them all (a single part's new result document).
    """

    uuid: str
    lot: str
    at: str
    station: str
    procedure: str
    reason: str
    circumstances: Circumstances
    names: tuple[tuple[str, str], ...]
    sequences: NDArray[np.int64]
    values: FloatArray
    uncertainties: FloatArray
    verdicts: Sequence[Verdict] | None = None
    reasons: Mapping[int, tuple[Caution, ...]] = field(default_factory=dict)
    document: str | None = None

    def __post_init__(self) -> None:
        _check_entry(self)
        check_names([name for name, _ in self.names])
        sequences = np.array(self.sequences, dtype=np.int64)
        sequences.setflags(write=False)
        if sequences.ndim != 1 or not sequences.size or (np.diff(sequences) <= 0).any():
            raise EntryError("a rework needs its parts' sequences, one or more, rising")
        object.__setattr__(self, "sequences", sequences)
        for name in ("values", "uncertainties"):
            column = _read_only(getattr(self, name))
            if column.shape != (sequences.size, len(self.names)):
                raise EntryError(f"{name} of a rework: a row a part, a column a name")
            if np.isinf(column).any():
                raise EntryError(f"{name} of a rework hold an infinity; NaN means none")
            object.__setattr__(self, name, column)
        if self.verdicts is not None and len(self.verdicts) != sequences.size:
            raise EntryError("a rework needs a verdict a part, or none at all")


def check_time(text: str) -> None:
    """Refuse a time that is not ISO 8601 in UTC."""
    try:
        offset = datetime.fromisoformat(text).utcoffset()
    except ValueError:
        offset = None
    if offset != timedelta(0) or not (text.isascii() and text[10:11] == "T"):
        example = datetime(2001, 2, 3, 4, 5, 6, tzinfo=UTC).isoformat()
        raise EntryError(f"{text!r} is no time in UTC; write it like {example}")


def _check_length(label: str) -> None:
    if len(label) > LONGEST_LABEL:
        raise EntryError(
            f"{label[:20]!r}... has {len(label)} characters; a label or a lot's name "
            f"has {LONGEST_LABEL} at most",
            label=label,
        )


def check_names(names: Sequence[str]) -> None:
    """Refuse a quantity that is named twice."""
    if len(set(names)) != len(names):
        raise EntryError(f"a quantity is named twice among {json.dumps(list(names))}")


def _check_entry(entry: PartEntry | CheckEntry | ReworkEntry) -> None:
    try:
        object.__setattr__(entry, "uuid", str(UUID(entry.uuid)))
    except ValueError:
        raise EntryError(f"{entry.uuid!r} is no UUID", uuid=entry.uuid) from None
    check_time(entry.at)


def _read_only(column: ArrayLike) -> FloatArray:
    array = np.array(column, dtype=np.float64)
    array.setflags(write=False)
    return array
