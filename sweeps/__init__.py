"""Decide the next reading, take it, and turn the readings into a result."""

from .coil import KnownParts, measure_coil
from .from_file import fit_readings
from .on_bench import Span
from .planner import PeakGoal, PeakPlanner
from .sink import NullSink, Sink
from .sweep import measure_resonance

__all__ = [
    "KnownParts",
    "NullSink",
    "PeakGoal",
    "PeakPlanner",
    "Sink",
    "Span",
    "fit_readings",
    "measure_coil",
    "measure_resonance",
]
