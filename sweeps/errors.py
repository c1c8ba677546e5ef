"""The sweeps' branch of the error tree (drawn in `halfpower.analysis.errors`)."""

from ..analysis.errors import HalfpowerError

__all__ = ["EdgeError", "GuardError", "NoResonanceError", "SweepError"]


class SweepError(HalfpowerError):
    """The sweep ended without anything to measure."""

    exit_status = 4


class NoResonanceError(SweepError):
    """No resonance stands out of the readings."""


class EdgeError(SweepError):
    """The response is highest at an edge of the span, or too near it."""


class GuardError(SweepError):
    """The tank's voltage would pass, or has passed, the bench file's limit."""
