"""A lot in the hands of one program, by a lock that goes with its holder.

On SQLite it is the operating system's, on a file beside the base: one program runs a
lot. On PostgreSQL it is a session's advisory lock, one for a station: several stations
may run a lot, and each takes positions that none of the others has in hand.
"""

import contextlib
import hashlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

import filelock
from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import DBAPIError

from ..errors import BaseBusyError
from .engine import Database
from .failures import is_lost, speaking

__all__ = ["Take", "held_lot"]

Take = Callable[[Iterable[int]], int]
# A server notices late that the holder has gone: so long for a process that was
# killed, and what is set below for a computer that was switched off.
_GRACE_S = 3.0
_KEEPALIVE = {"idle": 10, "interval": 5, "count": 3}  # s, s, times
_LOCK_TIMED_OUT = "55P03"
_NAME_BYTES = 63  # of an application's name (PostgreSQL's NAMEDATALEN less one)


@contextmanager
def held_lot(database: Database, lot: str, *, station: str, who: str) -> Iterator[Take]:
    """Hold a lot for one program; give what takes the first free of some positions.

    Parameters
    ----------
    lot
        Its name; it need not be open yet.
    station
        On PostgreSQL other stations may hold the same lot.
    who
        What others are told about the holder.

    Raises
    ------
    BaseBusyError
        Another program holds it, and which.
    BaseError
        The lock cannot be had, and why.
    """
    key = hashlib.sha256(lot.encode("utf-8", "surrogatepass")).digest()
    said = f"lot {lot!r} in {database.where}"
    if database.path is not None:
        folder = database.path.with_name(f"{database.path.name}.locks")
        with _held_file(folder / key.hex()[:16], said, who=who, where=database.where):
            yield lambda positions: next(iter(positions))
        return
    session = _Session(database, lot_key=key, station=station, who=who, said=said)
    with speaking(database.where, doing=f"hold {lot!r} in"):
        session.begin()
    try:
        yield session.take
    finally:
        session.end()


@contextmanager
def _held_file(stem: Path, said: str, *, who: str, where: str) -> Iterator[None]:
    owner = stem.with_suffix(".owner")
    lock = filelock.FileLock(stem.with_suffix(".lock"), timeout=_GRACE_S)
    with speaking(where, doing="lock a lot in"):
        stem.parent.mkdir(exist_ok=True)
        try:
            lock.acquire()
        except filelock.Timeout as error:
            raise BaseBusyError(
                f"{said} is being run by {_owner(owner)}; wait for it or end it "
                "(several benches at one lot need a base on PostgreSQL)"
            ) from error
    try:
        # Whoever tries the lock empties its file: the holder's name stands beside it.
        with contextlib.suppress(OSError):
            owner.write_text(who, encoding="utf-8")
        yield
    finally:
        with contextlib.suppress(OSError):
            owner.unlink(missing_ok=True)
        lock.release()


def _owner(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8").strip() or "another program"
    except (OSError, ValueError):
        return "another program"


class _Session:
    """A session of a PostgreSQL server that holds a station's part of a lot."""

    def __init__(
        self, database: Database, *, lot_key: bytes, station: str, who: str, said: str
    ) -> None:
        self._engine: Engine = database.engine
        self._where, self._said, self._who = database.where, said, who
        # Half the space of keys, so that none is negative.
        self._lot = int.from_bytes(lot_key[:4]) >> 1
        mine = lot_key + station.encode("utf-8", "surrogatepass")
        self._station = int.from_bytes(hashlib.sha256(mine).digest()[:8]) >> 1
        self._connection: Connection | None = None
        self._position: int | None = None

    def begin(self) -> None:
        """Connect, and hold the station's lock."""
        self._position = None
        connection = self._engine.connect().execution_options(
            isolation_level="AUTOCOMMIT"  # it is never idle within a transaction
        )
        self._connection = connection
        name = f"halfpower, {self._who}".encode()[:_NAME_BYTES].decode(errors="ignore")
        connection.execute(
            text("SELECT set_config('application_name', :name, false)"), {"name": name}
        )
        for what, value in _KEEPALIVE.items():
            connection.execute(text(f"SET tcp_keepalives_{what} = {value}"))
        connection.execute(text(f"SET lock_timeout = {int(1000 * _GRACE_S)}"))
        try:
            connection.execute(
                text("SELECT pg_advisory_lock(CAST(:key AS bigint))"),
                {"key": self._station},
            )
        except DBAPIError as error:
            if getattr(error.orig, "sqlstate", None) != _LOCK_TIMED_OUT:
                raise
            holder = self._holder(connection)
            self.end()
            raise BaseBusyError(
                f"{self._said} is being run by {holder}; wait for it or end it, or "
                "give this bench a name of its own (--station)"
            ) from error

    def end(self) -> None:
        """Let all of it go, with the session."""
        connection, self._connection = self._connection, None
        if connection is not None:
            connection.invalidate()  # back in the pool it would hold on
            connection.close()

    def take(self, positions: Iterable[int]) -> int:
        """Take the first of some positions that no other station has in hand.

        The one that was taken before is let go.

        Raises
        ------
        BaseBusyError
            The session was lost, and another program has the station now.
        BaseError
            The server was lost.
        """
        with speaking(self._where, doing="take a part of a lot in"):
            try:
                return self._taken(positions)
            except DBAPIError as error:
                if not is_lost(error):
                    raise
            self.end()
            self.begin()
            return self._taken(positions)

    def _taken(self, positions: Iterable[int]) -> int:
        before, self._position = self._position, None
        if before is not None:
            self._ask("pg_advisory_unlock", before)
        for position in positions:
            if self._ask("pg_try_advisory_lock", position):
                self._position = position
                return position
        raise AssertionError(self._said)  # there is always a next position

    def _ask(self, function: str, position: int) -> bool:
        assert self._connection is not None  # noqa: S101  between begin and end
        key = f"CAST({self._lot} AS integer), CAST({position} AS integer)"
        found = self._connection.execute(text(f"SELECT {function}({key})"))
        return bool(found.scalar_one())

    def _holder(self, connection: Connection) -> str:
        """Ask who has the lock; any role may see an application's name."""
        statement = text(
            "SELECT a.application_name FROM pg_locks AS l JOIN pg_stat_activity AS a "
            "USING (pid) WHERE l.locktype = 'advisory' AND l.granted AND a.datname = "
            "current_database() AND l.objsubid = 1 AND l.classid = CAST(:high AS oid) "
            "AND l.objid = CAST(:low AS oid)"
        )
        halves = {"high": self._station >> 32, "low": self._station & 0xFFFF_FFFF}
        found = connection.execute(statement, halves).scalars().first()
        return (found or "another program").removeprefix("halfpower, ")
