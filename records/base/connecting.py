"""Why a PostgreSQL server was not reached: in its own words, and in ours.

Neither libpq nor the driver gives a code for what fails before a connection stands, so
the sentence is read (English, as a server speaks by default); what is not known of it
is quoted.
"""

import re

from ..errors import BaseError, BaseLinkError

__all__ = ["why_not_connected"]

_ADDRESS = "look at the host and port of the URL"
_CERTIFICATE = (
    "look at sslmode, sslrootcert, sslcert and sslkey in the URL, and at the host's "
    "name"
)
# The first that is found in the text counts.
_REASONS: tuple[tuple[str, str, str], ...] = (
    (
        r"resolve host|translate host name|Name or service not known|getaddrinfo",
        "its host is not known",
        "look at the host's name in the URL, and at this computer's network",
    ),
    (
        r"no password supplied",
        "the server asks for a password",
        "give it in PGPASSWORD or in ~/.pgpass",
    ),
    (
        r"password authentication failed",
        "the server does not accept this user's password",
        "look at the user, and at the password in PGPASSWORD or ~/.pgpass",
    ),
    (
        r'database ".*" does not exist',
        "the server has no such database",
        "make it there, or mend the URL",
    ),
    (
        r"permission denied for database",
        "this user may not connect to that database",
        "have its owner grant CONNECT on it",
    ),
    (
        r"certificate|\bSSL (?:error|SYSCALL)|private key|was required",
        "the encrypted connection was refused, over a certificate or its settings",
        _CERTIFICATE,
    ),
    (
        r"too many (?:clients|connections)|connection slots are reserved",
        "the server has no connection left",
        "end programs that hold one, and repeat",
    ),
    (
        r"starting up|shutting down|recovery mode",
        "the server is starting or going down",
        "repeat when it is up",
    ),
    (
        r"role .* does not exist|not permitted|authentication failed|pg_hba\.conf",
        "the server does not let this user in",
        "look at the URL's user, and at the server's roles and pg_hba.conf",
    ),
    (
        r"invalid response to SSL|expected authentication request",
        "what answers there is no PostgreSQL server",
        _ADDRESS,
    ),
    (
        r"refused|No such file|timeout|timed out|No route|unreachable|Is the server",
        "the server does not answer",
        f"start it, or {_ADDRESS}, and repeat",
    ),
)


def why_not_connected(text: str) -> tuple[type[BaseError], str, str]:
    """Say why a connection was not made, and what to do."""
    for pattern, why, advice in _REASONS:
        if re.search(pattern, text):
            return BaseLinkError, why, advice
    first = (text.strip().splitlines() or ["it gives no reason"])[0]
    said = first.rpartition("failed: ")[2].removeprefix("FATAL:").strip()
    return BaseLinkError, f"the server was not reached ({said})", "look at the URL"
