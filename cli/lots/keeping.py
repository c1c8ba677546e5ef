"""Join a lot's run with the record base: every part kept at once, and found again."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version

import numpy as np

from ...analysis.errors import InputError
from ...analysis.lots import Verdict
from ...analysis.quantity import Quantity
from ...analysis.reading import Reading
from ...analysis.result import Result
from ...drivers import Bench
from ...records.base import (
    Adopted,
    CheckEntry,
    Circumstances,
    LotEntry,
    LotState,
    PartEntry,
    PartRow,
    RecordBase,
    StoredQuantity,
    SweepColumns,
)
from ...records.files import to_json
from ...sweeps.lots import (
    PEAK,
    CheckBook,
    CheckOutcome,
    LotFile,
    Outcome,
    PriorBook,
    Standing,
)

__all__ = ["BaseKeeper", "Kept", "circumstances_of", "resumed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What the base has of a lot already.

    Attributes
    ----------
    standing
        Where the lot stands.
    book
        Where its parts' peaks are.
    checks
        The check standard's judge; None where the lot has none.
    adopted
        What became of the side file, where there is one.
    """

    standing: Standing
    book: PriorBook
    checks: CheckBook | None
    adopted: Adopted | None = None


def resumed(base: RecordBase, lot: LotFile, *, station: str, begun: str) -> Kept:
    """Open a lot in the base, or find where it stands.

    What an earlier run could only keep in the side file is brought in first.

    Raises
    ------
    InputError
        The base has a lot of this name with another lot file.
    RecordError
        The base cannot be used.
    """
    name, adopted = lot.lot.name, None
    if base.side_file.path.exists():
        adopted = base.adopt(base.side_file.path)
    known = {row.name: row for row in base.lots()}.get(name)
    if known is not None and known.file_text != lot.text:
        raise InputError(
            f"lot {name!r} was begun on {known.begun} with another lot file; go on "
            "with that file, or give the lot another name"
        )
    if known is None:
        base.open_lot(
            LotEntry(name=name, file_text=lot.text, begun=begun, station=station)
        )
    elif known.state is not LotState.OPEN:
        base.set_state(name, LotState.OPEN, at=begun)
    parts = list(base.parts(name))
    return Kept(
        standing=_standing(base, lot, parts),
        book=_book(parts),
        checks=_checks(base, lot),
        adopted=adopted,
    )


def _standing(base: RecordBase, lot: LotFile, parts: Sequence[PartRow]) -> Standing:
    since = None
    if lot.check is not None:
        checks = [
            one.sequence
            for one in base.checks(lot.lot.name)
            if one.standard == lot.check.standard
        ]
        if checks:
            out = {Verdict.SKIPPED, Verdict.UNDONE}
            since = sum(p.sequence > checks[-1] and p.verdict not in out for p in parts)
    return Standing(
        known={one.position: one.verdict for one in parts},
        labels={one.position: one.label for one in parts},
        since_check=since,
    )


def _book(parts: Iterable[PartRow]) -> PriorBook:
    book = PriorBook()
    for part in parts:
        found = {one.name: one.value for one in part.quantities}
        if {"resonant_frequency", "loaded_q"} <= found.keys():
            book.add(found["resonant_frequency"], found["loaded_q"])
    return book


def _checks(base: RecordBase, lot: LotFile) -> CheckBook | None:
    table = lot.check
    if table is None:
        return None
    own: list[float] = []
    others: list[float] = []
    for row in base.lots():
        here = row.name == lot.lot.name
        for check in base.checks(row.name):
            if check.standard != table.standard:
                continue
            some = [q.value for q in check.quantities if q.name == table.quantity]
            if here:
                own += some
            elif check.in_control:
                others += some
    return CheckBook(table, history=others, before=own)


class BaseKeeper:
    """Keeps every part and check in the base; it is on disk when `keep` returns.

    Parameters
    ----------
    base
        An open record base.
    lot
        The lot file.
    station
        What this bench is called.
    circumstances
        What is in force on it.
    uuid
        Makes a new UUID.
    take
        Takes a position that no other bench has in hand (`RecordBase.hold_lot`).
    """

    def __init__(
        self,
        base: RecordBase,
        lot: LotFile,
        *,
        station: str,
        circumstances: Circumstances,
        uuid: Callable[[], str],
        take: Callable[[Iterable[int]], int],
    ) -> None:
        self.base, self.station, self._lot = base, station, lot
        self._circumstances, self._uuid, self._take = circumstances, uuid, take
        self._seen = 0
        self.kept = 0

    def claim(self, standing: Standing) -> int:
        """Take the next position that is neither filled nor in another bench's hand.

        Raises
        ------
        BaseError
            The base cannot be read.
        """
        while True:
            self._note_places(standing)
            position = self._take(standing.open_positions())
            # Another bench may have stored it, and let it go, since that was read.
            self._note_places(standing)
            if standing.is_open(position):
                return position

    def _note_places(self, standing: Standing) -> None:
        for one in self.base.places(self._lot.lot.name, after=self._seen):
            standing.known[one.position] = one.verdict
            standing.labels[one.position] = one.label
            self._seen = one.sequence

    def keep(self, outcome: Outcome) -> int:
        """Keep a part; return the position it got.

        Raises
        ------
        BaseError
            The base cannot be written; the part is in the side file then, which the
            next run brings in.
        """
        part, result = outcome.part, outcome.result
        stored = self.base.store(
            PartEntry(
                uuid=self._uuid(),
                lot=self._lot.lot.name,
                label=part.label,
                at=outcome.begun,
                station=self.station,
                procedure=self._lot.lot.procedure,
                verdict=outcome.verdict,
                circumstances=self._circumstances,
                reasons=outcome.reasons,
                quantities=_quantities(result),
                sweeps=_sweeps(result, outcome.readings),
                document=None if result is None else to_json(result),
                again=part.position if outcome.again else None,
                position=part.position,
            )
        )
        self.kept += 1
        return stored.position

    def keep_check(self, outcome: CheckOutcome) -> int:
        """Keep a check standard's reading; return how many parts it makes suspect.

        Raises
        ------
        BaseError
            See `keep`.
        """
        name, result = self._lot.lot.name, outcome.result
        stored = self.base.store(
            CheckEntry(
                uuid=self._uuid(),
                lot=name,
                standard=outcome.standard,
                at=outcome.begun,
                station=self.station,
                procedure=self._lot.lot.procedure,
                in_control=outcome.in_control,
                circumstances=self._circumstances,
                reasons=outcome.reasons,
                quantities=_quantities(result),
                sweeps=_sweeps(result, outcome.readings),
                document=None if result is None else to_json(result),
            )
        )
        if outcome.in_control:
            return 0
        row = next(c for c in self.base.checks(name) if c.sequence == stored.sequence)
        return sum(
            row.suspect_from <= part.sequence < row.sequence
            for part in self.base.parts(name)
        )


def circumstances_of(bench: Bench) -> Circumstances:
    """Put what is in force on a bench into words, for its parts to be worked out again.

    The bench file's constants are JSON by the file's own keys.
    """
    constants = bench.file.model_dump(mode="json", by_alias=True)
    fixture = constants.pop("fixture")
    return Circumstances(
        bench=json.dumps(constants, sort_keys=True),
        fixture=json.dumps(fixture, sort_keys=True),
        instruments=bench.identities,
        software={"halfpower": version("halfpower"), "numpy": np.__version__},
    )


def _quantities(result: Result | None) -> tuple[StoredQuantity, ...]:
    if result is None:
        return ()
    return tuple(_stored(one) for one in result.quantities)


def _stored(one: Quantity) -> StoredQuantity:
    return StoredQuantity(
        name=one.name,
        value=one.value,
        unit=one.unit,
        standard_uncertainty=one.standard_uncertainty,
    )


def _sweeps(
    result: Result | None, readings: Mapping[str, tuple[Reading, ...]]
) -> tuple[SweepColumns, ...]:
    """Put the readings into columns; a sweep that came to nothing used none."""
    if result is not None:
        return tuple(
            _columns(swept.step, swept.readings, used=swept.used)
            for swept in result.evidence.sweeps
        )
    return tuple(_columns(step, some, used=()) for step, some in readings.items())


def _columns(
    step: str, readings: Sequence[Reading], *, used: Sequence[int]
) -> SweepColumns:
    begun_s = readings[0].time_s
    return SweepColumns(
        name=step or PEAK,
        frequency_hz=np.array([one.frequency_hz for one in readings]),
        amplitude_v=np.array([one.amplitude_v for one in readings]),
        time_s=np.array([one.time_s - begun_s for one in readings]),
        range_v=np.array(
            [np.nan if one.range_v is None else one.range_v for one in readings]
        ),
        used=np.array(used, dtype=np.int32),
    )
