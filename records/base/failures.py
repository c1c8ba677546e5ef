"""What databases raise, in this program's words; the one place where it is done."""

import re
import sqlite3
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy.exc import (
    DBAPIError,
    OperationalError,
    SQLAlchemyError,
)
from sqlalchemy.exc import (
    TimeoutError as PoolTimeoutError,
)

from ..errors import BaseBusyError, BaseError, BaseLinkError, RecordError
from .connecting import why_not_connected

__all__ = ["in_words", "is_lost", "speaking", "unreadable"]

_LONGEST = 100  # characters of a library's sentence that is quoted
_FREE = "free some space there and repeat"
_RIGHTS = "give this user the right to write there, or name another base"
# Primary result codes of SQLite (sqlite.org/rescode.html).
_SQLITE: dict[int, tuple[type[BaseError], str, str]] = {
    sqlite3.SQLITE_FULL: (BaseError, "its disk is full", _FREE),
    sqlite3.SQLITE_IOERR: (
        BaseError,
        "its disk does not read or write",
        "look at the disk, its free space and its cable",
    ),
    sqlite3.SQLITE_BUSY: (
        BaseBusyError,
        "another program keeps it locked",
        "wait for that program or end it, and repeat",
    ),
    sqlite3.SQLITE_LOCKED: (
        BaseBusyError,
        "another program keeps it locked",
        "wait for that program or end it, and repeat",
    ),
    sqlite3.SQLITE_READONLY: (BaseError, "it cannot be written", _RIGHTS),
    sqlite3.SQLITE_PERM: (BaseError, "it cannot be written", _RIGHTS),
    sqlite3.SQLITE_CANTOPEN: (
        BaseError,
        "it or its folder cannot be opened for writing",
        _RIGHTS,
    ),
    sqlite3.SQLITE_NOTADB: (
        BaseError,
        "it is not a record base",
        "name a base, or a file that does not exist yet",
    ),
    sqlite3.SQLITE_CORRUPT: (
        BaseError,
        "the file is damaged",
        "put it aside and go on with its last copy",
    ),
}
# PostgreSQL's SQLSTATE, whole or by its class of two letters (its manual, appendix A).
_SQLSTATE: dict[str, tuple[type[BaseError], str, str]] = {
    "53100": (BaseError, "its disk is full", _FREE),
    "53": (BaseBusyError, "the server has no room for more", "repeat later"),
    "55P03": (
        BaseBusyError,
        "another bench keeps the lot locked",
        "wait for it and repeat",
    ),
    "40": (BaseBusyError, "another bench came between", "repeat"),
    "57": (BaseLinkError, "the server is going down", "repeat when it is up"),
    "25006": (BaseError, "it cannot be written", _RIGHTS),
    "42501": (BaseError, "this user may not write there", _RIGHTS),
    "XX001": (
        BaseError,
        "the server's data are damaged",
        "put it aside and go on with its last copy",
    ),
}
_LOST = (
    BaseLinkError,
    "the connection was lost",
    "look at the server and its network, and repeat: nothing is stored twice",
)
# How psycopg's sentence begins where no connection came to stand.
_CONNECTING = re.compile(
    r"connection (?:failed|is bad|timeout)|failed to resolve|\[Errno -2\]"
)
# A damaged file's name of a table may be no text, not even in SQLite's own sentence.
_OF_DATABASES = (SQLAlchemyError, sqlite3.Error, OSError, ImportError, UnicodeError)


@contextmanager
def speaking(where: str, *, doing: str) -> Iterator[None]:
    """Raise what a database raises as a `BaseError` that says what, where, what to do.

    Parameters
    ----------
    where
        The base, without its password.
    doing
        What was tried, after "cannot" (``store part L17 in``).
    """
    try:
        yield
    except RecordError:
        raise
    except _OF_DATABASES as error:
        raise in_words(error, where=where, doing=doing) from error


def in_words(error: Exception, *, where: str, doing: str) -> BaseError:
    """Say in one sentence what a database's exception means."""
    kind, why, advice = _meaning(error)
    return kind(f"cannot {doing} {where}: {why}; {advice}", where=where)


def is_lost(error: Exception) -> bool:
    """Say whether the connection went, so that a new one may do."""
    return isinstance(error, DBAPIError) and bool(error.connection_invalidated)


def unreadable(error: Exception) -> str | None:
    """Say why a stored value is none; None where the error is of another kind."""
    if isinstance(error, DBAPIError):
        # Python's sqlite3 gives no code for it, and repeats the whole text.
        return "a text is no UTF-8" if "decode to UTF-8" in str(error.orig) else None
    if isinstance(error, (TypeError, ValueError, LookupError, ArithmeticError)):
        said = (str(error).splitlines() or [""])[0]
        return textwrap.shorten(said or type(error).__name__, _LONGEST)
    return None


def _meaning(error: Exception) -> tuple[type[BaseError], str, str]:
    orig: Any = error.orig if isinstance(error, DBAPIError) else error
    code = getattr(orig, "sqlite_errorcode", None)
    if code is not None and code & 0xFF in _SQLITE:
        return _SQLITE[code & 0xFF]
    state = getattr(orig, "sqlstate", None)
    for key in (state, state[:2]) if state else ():
        if key in _SQLSTATE:
            return _SQLSTATE[key]
    if isinstance(error, UnicodeError):
        return _SQLITE[sqlite3.SQLITE_CORRUPT]
    if isinstance(error, PoolTimeoutError):
        return why_not_connected("timeout")
    if state is None and type(orig).__module__.startswith("psycopg"):
        return _of_link(error, str(orig)) or _otherwise(error, orig)
    return _otherwise(error, orig)


def _of_link(error: Exception, said: str) -> tuple[type[BaseError], str, str] | None:
    """Say what a connection failed of; None where it was not the connection."""
    if _CONNECTING.match(said):
        return why_not_connected(said)
    return _LOST if is_lost(error) or isinstance(error, OperationalError) else None


def _otherwise(error: Exception, orig: Any) -> tuple[type[BaseError], str, str]:
    said = (str(orig).strip().splitlines() or [type(orig).__name__])[0]
    if isinstance(error, ImportError):
        return BaseError, f"{said}", "pip install 'halfpower[postgresql]'"
    if isinstance(error, OSError):
        return BaseError, error.strerror or said, _RIGHTS
    return BaseError, said, "look at the base with its own tools"
