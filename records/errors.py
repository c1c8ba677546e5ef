"""The records' branch of the error tree (drawn in `halfpower.analysis.errors`)."""

from ..analysis.errors import HalfpowerError

__all__ = ["RecordError"]


class RecordError(HalfpowerError):
    """A record cannot be kept or read."""

    exit_status = 2
