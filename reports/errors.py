"""The reports' branch of the error tree (drawn in `halfpower.analysis.errors`)."""

from ..analysis.errors import HalfpowerError

__all__ = ["ReportError"]


class ReportError(HalfpowerError):
    """A report cannot be made."""

    exit_status = 2
