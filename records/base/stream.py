"""Stream stored readings as arrays, many parts at once, for working results out again.

Sweeps of the same number of readings are gathered into batches, so that a batch fit
takes them as they come. A batch is a copy: the base may change meanwhile.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, select

from . import schema as t
from .columns import floats, sweep_of
from .entries import FloatArray
from .rows import PartSweep, ReadingBatch

__all__ = ["part_sweeps", "reading_batches"]

_ROWS_AT_ONCE = 2000


def reading_batches(
    connection: Connection,
    *,
    lot: str,
    lot_id: int,
    sweep: str | None,
    batch: int,
    all_attempts: bool,
) -> Iterator[ReadingBatch]:
    """Give a lot's readings in batches of equally many (`RecordBase.readings`)."""
    s = t.sweeps.c
    columns = (
        s.sequence,
        s.number,
        s.n,
        s.frequency_hz,
        s.amplitude_v,
        s.range_v,
        s.used,
    )
    statement = _sweeps_of(lot_id, columns=columns, all_attempts=all_attempts)
    if sweep is not None:
        statement = statement.where(s.name == sweep)
    waiting: dict[int, list[Any]] = {}
    for rows in connection.execute(statement).partitions():
        for row in rows:
            waiting.setdefault(row[2], []).append(row)
        for some in waiting.values():
            while len(some) >= batch:
                yield _batch(lot, some[:batch])
                del some[:batch]
    yield from (_batch(lot, some) for some in waiting.values() if some)


def part_sweeps(
    connection: Connection, *, lot: str, lot_id: int, all_attempts: bool
) -> Iterator[PartSweep]:
    """Give the sweeps of a lot's parts, one by one, in the order they were stored."""
    p = t.parts.c
    columns = (*t.sweeps.c, p.position, p.attempt)
    statement = _sweeps_of(lot_id, columns=columns, all_attempts=all_attempts)
    for row in connection.execute(statement).mappings():
        yield PartSweep(
            lot=lot,
            sequence=row["sequence"],
            position=row["position"],
            attempt=row["attempt"],
            number=row["number"],
            readings=sweep_of(row),
        )


def _sweeps_of(
    lot_id: int, *, columns: tuple[Any, ...], all_attempts: bool
) -> Select[Any]:
    s, p = t.sweeps.c, t.parts.c
    statement = (
        select(*columns)
        .join_from(
            t.sweeps, t.parts, (p.lot_id == s.lot_id) & (p.sequence == s.sequence)
        )
        .where(s.lot_id == lot_id)
        .order_by(s.sequence, s.number)
        .execution_options(yield_per=_ROWS_AT_ONCE)
    )
    return statement if all_attempts else statement.where(p.current)


def _batch(lot: str, rows: list[Any]) -> ReadingBatch:
    sequences, numbers, ns, frequency, amplitude, range_v, used = zip(
        *rows, strict=True
    )
    shape = (len(rows), ns[0])
    return ReadingBatch(
        lot=lot,
        sequences=np.array(sequences, dtype=np.int64),
        sweep=np.array(numbers, dtype=np.int64),
        frequency_hz=floats(b"".join(frequency)).reshape(shape),
        amplitude_v=floats(b"".join(amplitude)).reshape(shape),
        range_v=_ranges(range_v, shape=shape),
        used=_used(used, shape=shape),
    )


def _ranges(columns: tuple[bytes | None, ...], *, shape: tuple[int, int]) -> FloatArray:
    nothing = np.full(shape[1], np.nan).astype("<f8").tobytes()
    joined = b"".join(nothing if one is None else one for one in columns)
    return floats(joined).reshape(shape)


def _used(
    columns: tuple[bytes | None, ...], *, shape: tuple[int, int]
) -> NDArray[np.bool_]:
    mask = np.ones(shape, dtype=np.bool_)
    some = [(row, data) for row, data in enumerate(columns) if data is not None]
    if some:
        rows, data = zip(*some, strict=True)
        mask[list(rows)] = False
        # All parts' indices at once: one by one they take as long as reading them.
        indices = np.frombuffer(b"".join(data), dtype="<i4")
        counts = [len(one) // indices.itemsize for one in data]
        mask[np.repeat(rows, counts), indices] = True
    return mask
