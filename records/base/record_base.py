"""A record base: every part of every lot with its readings, kept and found again.

SQLite in a file by default, PostgreSQL by a URL for several benches at once. What
`RecordBase.store` has returned for is on disk. What could not be stored is kept in a
side file beside the base, and `RecordBase.adopt` brings it in later.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Self, TypeVar

from sqlalchemy import Connection
from sqlalchemy.exc import SQLAlchemyError

from ...analysis.quantity import Caution
from ..errors import BaseError, EntryError, RecordError
from . import links, queries
from .engine import Database, database_at, default_path
from .entries import CheckEntry, LotEntry, LotState, PartEntry, ReworkEntry, check_time
from .failures import is_lost, speaking, unreadable
from .holding import Take, held_lot
from .in_force import PartsInForce, parts_in_force
from .rows import (
    Adopted,
    CheckRow,
    LotHead,
    LotRow,
    LotSummary,
    PartRecord,
    PartRow,
    PartSweep,
    Place,
    ReadingBatch,
    Stored,
    Verification,
)
from .side_file import SideFile
from .stream import part_sweeps, reading_batches
from .summary import summary_of
from .verify import verification_of
from .writing import AnyEntry, store

__all__ = ["RecordBase", "open_base"]

T = TypeVar("T")
_TIMEOUT_S = 30.0


def open_base(
    where: str | Path | None = None,
    *,
    timeout_s: float = _TIMEOUT_S,
    side_folder: Path | None = None,
    make: bool = True,
) -> "RecordBase":
    """Open a record base; one that does not exist yet is made.

    Parameters
    ----------
    where
        A path for SQLite, or ``postgresql+psycopg://user@host/base``; None for the
        user's own base, in the folder where this system keeps user data.
    timeout_s
        How long to wait for a lock, or for a server to answer.
    side_folder
        Where the side file goes; None: beside the base, and for a server where the
        user's own base would be.
    make
        False: one that does not exist is an error, for whoever only looks.

    Raises
    ------
    BaseVersionError
        It was made by a newer release, or is a database of something else, or (where
        none is made) empty.
    BaseBusyError
        It is locked.
    BaseLinkError
        Its server cannot be reached, or does not let this user in.
    BaseError
        It cannot be opened or made, and why.
    """
    database = database_at(where, timeout_s=timeout_s, make=make)
    path = database.path or default_path()
    side = (side_folder or path.parent) / f"{path.name}.side.jsonl"
    return RecordBase(
        database, side_file=SideFile(side, database.identity, database.where)
    )


class RecordBase:
    """An open record base; use it in a ``with`` statement.

    Attributes
    ----------
    where
        The path, or the URL without its password.
    side_file
        Where `store` keeps what it could not store.
    """

    def __init__(self, database: Database, *, side_file: SideFile) -> None:
        self._database = database
        self.where = database.where
        self.side_file = side_file
        self._circumstances: dict[str, int] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let the database go."""
        self._database.engine.dispose()

    # -- storing ------------------------------------------------------------------

    def open_lot(self, lot: LotEntry) -> LotRow:
        """Open a lot, or go on with it where it was opened the same.

        Raises
        ------
        EntryError
            The base holds another lot of that name.
        BaseError
            It cannot be stored; it is in the side file then.
        """
        self._kept(
            lot, lambda connection: links.open_lot(connection, lot), f"lot {lot.name!r}"
        )
        return self.lot(lot.name)

    def set_state(self, lot: str, state: LotState, *, at: str) -> None:
        """Say that a lot is finished, stopped or open again; `at` is ISO 8601, UTC.

        Raises
        ------
        EntryError
            The base has no such lot, or `at` is no time.
        BaseError
            It cannot be stored.
        """
        check_time(at)
        self._write(
            lambda connection: links.set_state(connection, lot, state=state, at=at),
            doing=f"set the state of lot {lot!r} in",
        )

    def hold_lot(
        self, lot: str, *, station: str, who: str
    ) -> AbstractContextManager[Take]:
        """Hold a lot for one program, by a lock that goes with it (see `held_lot`)."""
        return held_lot(self._database, lot, station=station, who=who)

    def store(self, entry: PartEntry | CheckEntry) -> Stored:
        """Store a part or a check standard's reading; it is on disk when this returns.

        The same entry may be stored again, after an answer was lost: it is kept once.

        Raises
        ------
        EntryError
            Its lot or position is not there, or its UUID is another entry's.
        BaseError
            It cannot be stored; `values["side_file"]` names where it was kept instead.
        """
        name = entry.label if isinstance(entry, PartEntry) else entry.standard
        return self._kept(entry, lambda one: self._store(one, entry), repr(name))

    def rework(self, entry: ReworkEntry) -> Stored:
        """Store new results beside the old for many parts of one lot, as one entry.

        A few thousand parts at once are quickest. From now on they are what queries
        give; the old stay.

        Raises
        ------
        EntryError
            Some sequences are no parts of that lot, or the UUID is another entry's.
        BaseError
            It cannot be stored; nothing of it is, then.
        """
        return self._write(
            lambda connection: self._store(connection, entry),
            doing=f"store {entry.sequences.size} new results in",
        )

    def adopt(self, side_file: Path) -> Adopted:
        """Bring in what a side file holds; what is in the base already stays single.

        The file is left as it is. Lines that cannot be read or do not fit are named in
        what this returns, those of another base are counted, the others are stored.

        Raises
        ------
        RecordError
            The file cannot be read.
        BaseError
            The base cannot be written; what came before is stored, and adopting the
            file again goes on from there.
        """
        stored, already = 0, 0
        refused: list[tuple[int, str]] = []
        left: Counter[str] = Counter()
        for line in replace(self.side_file, path=side_file).lines():
            if line.belongs_to:
                left[line.belongs_to] += 1
                continue
            if line.given is None:
                refused.append((line.number, line.problem))
                continue
            try:
                new = self._adopt_one(line.given)
            except EntryError as error:
                refused.append((line.number, str(error)))
            else:
                stored += new
                already += not new
        return Adopted(
            path=side_file,
            stored=stored,
            already=already,
            refused=tuple(refused),
            left=left,
        )

    def seal(self, *, at: str) -> str:
        """Chain the heads of all lots together and give the hash that covers them all.

        Print it or keep it elsewhere: `verify` with it finds what was cut off since.

        Raises
        ------
        EntryError
            `at` is no time.
        BaseError
            It cannot be stored.
        """
        check_time(at)
        return self._write(
            lambda connection: links.seal(connection, at=at), doing="seal"
        )

    # -- asking -------------------------------------------------------------------

    def lots(self) -> tuple[LotRow, ...]:
        """List the lots in the order they were opened."""
        with self._reading("list the lots of") as connection:
            return queries.lots_of(connection)

    def lot(self, name: str) -> LotRow:
        """Give one lot.

        Raises
        ------
        EntryError
            The base has none of that name.
        """
        with self._reading(f"look up lot {name!r} in") as connection:
            return queries.lot_of(connection, name)

    def head(self, lot: str) -> LotHead:
        """Give the end of a lot's chain, to be kept elsewhere."""
        row = self.lot(lot)
        return LotHead(lot=row.name, entries=row.entries, hash=row.head)

    def summary(self, lot: str) -> LotSummary:
        """Give a lot in figures, by the newest attempts and results."""
        with self._reading(f"sum up lot {lot!r} in") as connection:
            return summary_of(connection, lot)

    def parts(
        self, lot: str, *, all_attempts: bool = False, as_measured: bool = False
    ) -> Iterator[PartRow]:
        """Give a lot's parts in the order they were stored, as they count now.

        Parameters
        ----------
        all_attempts
            Earlier attempts at a position too.
        as_measured
            The first results, whatever was worked out again.
        """
        with self._reading(f"read the parts of lot {lot!r} in") as connection:
            yield from queries.part_rows(
                connection,
                queries.lot_id_of(connection, lot),
                all_attempts=all_attempts,
                as_measured=as_measured,
            )

    def places(self, lot: str, *, after: int) -> tuple[Place, ...]:
        """Give which parts stand where, of those stored after an entry; quickly."""
        with self._reading(f"read the parts of lot {lot!r} in") as connection:
            return queries.places_of(connection, lot, after=after)

    def part(
        self, lot: str, position: int, *, attempt: int | None = None
    ) -> PartRecord:
        """Give all there is about one part; the newest attempt unless one is named.

        Raises
        ------
        EntryError
            There is no such part.
        """
        with self._reading(f"read part {position} of lot {lot!r} in") as connection:
            return queries.record_of(
                connection, lot, position=position, attempt=attempt
            )

    def find(self, label: str) -> tuple[PartRow, ...]:
        """Find the parts of a label, in every lot, as they count now."""
        with self._reading(f"look for {label!r} in") as connection:
            return tuple(
                part
                for lot, position in queries.positions_labelled(connection, label)
                for part in queries.part_rows(
                    connection, queries.lot_id_of(connection, lot), position=position
                )
                if part.label == label
            )

    def checks(self, lot: str) -> tuple[CheckRow, ...]:
        """Give the readings of check standards in a lot."""
        with self._reading(f"read the checks of lot {lot!r} in") as connection:
            return queries.checks_of(connection, lot)

    def readings(
        self,
        lot: str,
        *,
        sweep: str | None = None,
        batch: int = 5000,
        all_attempts: bool = False,
    ) -> Iterator[ReadingBatch]:
        """Stream the stored readings of a lot's parts, as arrays.

        Parameters
        ----------
        sweep
            Sweeps of that name alone; None for all.
        batch
            How many sweeps at once, at most.
        all_attempts
            Earlier attempts at a position too.
        """
        with self._reading(f"read the readings of lot {lot!r} in") as connection:
            yield from reading_batches(
                connection,
                lot=lot,
                lot_id=queries.lot_id_of(connection, lot),
                sweep=sweep,
                batch=batch,
                all_attempts=all_attempts,
            )

    def reasons_with(self, lot: str, code: str) -> dict[int, Caution]:
        """Give the reasons of one code that parts were stored with, by entry."""
        with self._reading(f"read the reasons of lot {lot!r} in") as connection:
            lot_id = queries.lot_id_of(connection, lot)
            return queries.reasons_with(connection, lot_id, code)

    def in_force(
        self, lot: str, *, as_measured: bool = False
    ) -> tuple[PartsInForce, ...]:
        """Group a lot's measured parts by what was in force (see `parts_in_force`)."""
        with self._reading(f"read the constants of lot {lot!r} in") as connection:
            return parts_in_force(connection, lot, as_measured=as_measured)

    def sweeps(self, lot: str, *, all_attempts: bool = False) -> Iterator[PartSweep]:
        """Give the sweeps of a lot's parts one by one, with their times."""
        with self._reading(f"read the sweeps of lot {lot!r} in") as connection:
            yield from part_sweeps(
                connection,
                lot=lot,
                lot_id=queries.lot_id_of(connection, lot),
                all_attempts=all_attempts,
            )

    def verify(self, *, expected_head: str | None = None) -> Verification:
        """Walk the chains, work out every hash again, and name what does not fit.

        Parameters
        ----------
        expected_head
            A lot's head or a seal, kept elsewhere since whenever.
        """
        with self._reading("verify") as connection:
            return verification_of(connection, expected_head=expected_head)

    # -- within -------------------------------------------------------------------

    @contextmanager
    def _reading(self, doing: str) -> Iterator[Connection]:
        with (
            speaking(self.where, doing=doing),
            self._database.reading() as connection,
        ):
            try:
                yield connection
            except Exception as error:
                if (said := unreadable(error)) is None:
                    raise
                raise BaseError(
                    f"cannot {doing} {self.where}: what is stored there was changed "
                    f"({said}); `halfpower records verify` says where",
                    where=self.where,
                ) from error

    def _write(self, work: Callable[[Connection], T], *, doing: str) -> T:
        with speaking(self.where, doing=doing):
            try:
                with self._database.writing() as connection:
                    return work(connection)
            except SQLAlchemyError as error:
                if not is_lost(error):
                    raise
            # Whether it held is unknown; by its UUID or name it is stored once.
            with self._database.writing() as connection:
                return work(connection)

    def _store(self, connection: Connection, entry: AnyEntry) -> Stored:
        return store(connection, entry, known=self._circumstances)

    def _kept(
        self,
        given: LotEntry | PartEntry | CheckEntry,
        work: Callable[[Connection], T],
        name: str,
    ) -> T:
        """Store, or keep it in the side file and say so."""
        try:
            return self._write(work, doing=f"store {name} in")
        except EntryError:
            raise
        except BaseError as error:
            try:
                self.side_file.append(given)
            except RecordError as second:
                raise type(error)(f"{error}; and {second}", **error.values) from error
            raise type(error)(
                f"{error}; it is kept in {self.side_file.path}, to be adopted later",
                **error.values,
                side_file=self.side_file.path,
            ) from error

    def _adopt_one(self, given: LotEntry | AnyEntry) -> bool:
        if isinstance(given, LotEntry):
            known = given.name in {one.name for one in self.lots()}
            self._write(
                lambda connection: links.open_lot(connection, given),
                doing=f"adopt lot {given.name!r} into",
            )
            return not known
        return not self._write(
            lambda connection: self._store(connection, given),
            doing="adopt an entry into",
        ).already
