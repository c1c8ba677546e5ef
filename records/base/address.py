"""Where a base is: a path or a server's URL, and how it is said without a password."""

import re
from pathlib import Path

from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from ..errors import BaseError

__all__ = ["masked", "server_url"]

_HOW = "write a path, or postgresql+psycopg://user@host/base"
_ENCODED = "in a user's name or password write @ as %40, : as %3A and / as %2F"
# What libpq takes without being a URL, and URLs without their slashes.
_NEITHER = re.compile(
    r"\s*(?:(?:host|hostaddr|port|user|dbname|password)\s*=|\w[\w+]+:)", re.IGNORECASE
)
_SECRET = r"\w*(?:passw|pwd|secret)\w*"  # noqa: S105  a pattern of names
_INSIDE = re.compile(
    rf"(?P<before>{_SECRET}\s*[=:]\s*|://[^:/@\s]*:)(?:'[^']*'|[^\s@&]+)", re.IGNORECASE
)
_HIDDEN = "***"


def server_url(where: str | Path) -> URL | None:
    """Read a URL, of a server or of SQLite's; None where it is a path.

    Raises
    ------
    BaseError
        It is neither; the sentence does not repeat it, for it may hold a password.
    """
    if isinstance(where, Path):
        return None
    if "://" not in where:
        if _NEITHER.match(where) and not Path(where).exists():
            raise BaseError(f"--records is neither a path nor a URL; {_HOW}")
        return None
    try:
        url = make_url(where)
    except (ArgumentError, ValueError) as error:
        raise BaseError(f"the base's URL cannot be read; {_HOW}; {_ENCODED}") from error
    if "@" in (url.host or ""):
        raise BaseError(f"the base's URL cannot be read: it has two @; {_ENCODED}")
    if url.get_backend_name() in {"postgresql", "postgres"}:
        return url.set(drivername="postgresql+psycopg")  # the one driver there is
    if url.get_backend_name() != "sqlite":
        raise BaseError(f"{url.drivername} keeps no record base; {_HOW}")
    return url


def masked(where: str | Path) -> str:
    """Say where a base is, with every password of a URL hidden, however it is written.

    Raises
    ------
    BaseError
        See `server_url`.
    """
    url = server_url(where)
    if url is None:
        return str(where)
    hidden = {
        name: tuple(_hide(name, one) for one in values)
        for name, values in url.normalized_query.items()
    }
    said = url.set(query=hidden).render_as_string(hide_password=True)
    return said.replace("%2A%2A%2A", _HIDDEN)


def _hide(name: str, value: str) -> str:
    if re.fullmatch(_SECRET, name, re.IGNORECASE):
        return _HIDDEN
    return _INSIDE.sub(rf"\g<before>{_HIDDEN}", value)
