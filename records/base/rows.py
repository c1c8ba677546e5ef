"""What comes out of a record base: lots, parts, readings in batches, findings."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...analysis.lots import Verdict
from ...analysis.quantity import Caution
from .entries import Circumstances, FloatArray, LotState, StoredQuantity, SweepColumns

__all__ = [
    "Adopted",
    "CheckRow",
    "Finding",
    "LotHead",
    "LotRow",
    "LotSummary",
    "PartRecord",
    "PartRow",
    "PartSweep",
    "QuantitySummary",
    "ReadingBatch",
    "Stored",
    "Verification",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotHead:
    """The end of a lot's chain: keep it elsewhere, and `verify` with its hash."""

    lot: str
    entries: int
    hash: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LotRow:
    """A lot; `positions` counts its parts, `entries` all that was stored in it."""

    name: str
    file_text: str
    begun: str
    station: str
    state: LotState
    positions: int
    entries: int
    head: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """Where an entry is; `already` where it had been stored before.

    `position` and `attempt` are 0 for what is no part.
    """

    lot: str
    sequence: int
    position: int
    attempt: int
    hash: str
    already: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRow:
    """A part with its newest result.

    Attributes
    ----------
    sequence
        Its entry in the lot's chain.
    result
        The entry its verdict and quantities come from: `sequence`, or a rework's.
    current
        No later attempt was made at its position.
    suspect
        A check standard was out of control after it, and not good in between.
    """

    lot: str
    sequence: int
    position: int
    attempt: int
    label: str
    procedure: str
    at: str
    station: str
    verdict: Verdict
    reasons: tuple[Caution, ...]
    quantities: tuple[StoredQuantity, ...]
    result: int
    current: bool
    suspect: bool

    @property
    def sound(self) -> bool:
        """Whether it is accepted, and not suspect."""
        return self.verdict is Verdict.ACCEPTED and not self.suspect


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRecord:
    """All there is about one part.

    `first` is the result as measured; `newest` the one that counts, the same where
    nothing was worked out again, with `rework_reason` where something was.
    `circumstances` are those of the measurement, `rework_circumstances` those of the
    rework; `document` belongs to the newest result that has one.
    """

    first: PartRow
    newest: PartRow
    circumstances: Circumstances
    rework_circumstances: Circumstances | None
    rework_reason: str | None
    document: str | None
    sweeps: tuple[SweepColumns, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRow:
    """A check standard's reading; bad, it makes parts suspect from `suspect_from` on.

    `suspect_from` is the first entry after the standard's last good reading.
    """

    lot: str
    sequence: int
    standard: str
    at: str
    station: str
    in_control: bool
    suspect_from: int
    reasons: tuple[Caution, ...]
    quantities: tuple[StoredQuantity, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantitySummary:
    """One quantity over a lot's parts, by their newest results, undone ones apart."""

    name: str
    unit: str
    n: int
    mean: float
    least: float
    greatest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What stands at a position, as it was measured."""

    sequence: int
    position: int
    label: str
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class LotSummary:
    """A lot in figures: parts by verdict (newest attempt, newest result)."""

    lot: LotRow
    verdicts: Mapping[Verdict, int]
    suspect: int
    quantities: tuple[QuantitySummary, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadingBatch:
    """Stored readings of B parts of one lot with N readings each.

    Attributes
    ----------
    sequences
        The parts' entries, shape (B,), rising.
    sweep
        Number of the sweep within each part's entry, shape (B,).
    frequency_hz, amplitude_v, range_v
        Shape (B, N); `range_v` is NaN where a detector has no range.
    used
        Which readings the stored results rest on, shape (B, N).
    """

    lot: str
    sequences: NDArray[np.int64]
    sweep: NDArray[np.int64]
    frequency_hz: FloatArray
    amplitude_v: FloatArray
    range_v: FloatArray
    used: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartSweep:
    """One stored sweep of a part; `number` is its place among the part's sweeps."""

    lot: str
    sequence: int
    position: int
    attempt: int
    number: int
    readings: SweepColumns


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """The first thing that does not fit; sequence 0 stands for the lot itself."""

    lot: str
    sequence: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What a walk along the chains found; all is well where `finding` is None."""

    lots: int
    entries: int
    finding: Finding | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Adopted:
    """What became of a side file's lines.

    Attributes
    ----------
    path
        The file.
    stored, already
        How many were stored, and how many were there.
    refused
        Line number and why.
    left
        How many were left alone, by where the base is that they are for.
    """

    path: Path
    stored: int
    already: int
    refused: tuple[tuple[int, str], ...]
    left: Mapping[str, int]
