"""The records' branch of the error tree (drawn in `halfpower.analysis.errors`).

::

    RecordError             a record cannot be kept or read
    `-- BaseError               (record base) it cannot be opened, read or written
        |-- BaseBusyError           locked, down or lost: the same call may do later
        |-- BaseVersionError        made by a newer release, or by something else
        `-- EntryError              the base is well, what it was given does not fit it
"""

from ..analysis.errors import HalfpowerError

__all__ = [
    "BaseBusyError",
    "BaseError",
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
    """The base is locked, down, or lost on the way: repeat the same call later."""


class BaseVersionError(BaseError):
    """The base was made by a newer release, or is something else's database."""


class EntryError(BaseError):
    """What was given does not fit what is stored (an unknown lot, a taken UUID)."""
