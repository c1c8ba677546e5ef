"""The records' branch of the error tree (drawn in `halfpower.analysis.errors`).

::

    RecordError             a record cannot be kept or read
    `-- BaseError               (record base) it cannot be opened, read or written
        |-- BaseBusyError           locked, or full: the same call may do later
        |-- BaseLinkError           its server cannot be reached, or was lost
        |-- BaseVersionError        made by a newer release, or by something else
        `-- EntryError              the base is well, what it was given does not fit it
"""

from ..analysis.errors import HalfpowerError

__all__ = [
    "BaseBusyError",
    "BaseError",
    "BaseLinkError",
    "BaseVersionError",
    "EntryError",
    "RecordError",
]


class RecordError(HalfpowerError):
    """A record cannot be kept or read."""

    exit_status = 2


class BaseError(RecordError):
    """The record base cannot be opened, read or written.

    ``values["side_file"]`` is where the entry was kept instead, if it was.
    """


class BaseBusyError(BaseError):
    """The base is locked, or has no room: repeat the same call later."""


class BaseLinkError(BaseError):
    """The base's server cannot be reached, lets this user not in, or was lost."""

    exit_status = 3


class BaseVersionError(BaseError):
    """It is no base, something else's database, or one of a newer release."""


class EntryError(BaseError):
    """What was given does not fit what is stored (an unknown lot, a taken UUID)."""
