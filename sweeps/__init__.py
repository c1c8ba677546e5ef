"""Decide the next reading, take it, and turn the readings into a result."""

from .capacitor import measure_capacitor
from .capacitor_job import CapacitorJob
from .coil import KnownParts, measure_coil
from .from_file import fit_readings
from .known import Expected, KnownCapacitor
from .on_bench import Span
from .planner import PeakGoal, PeakPlanner
from .session import Session
from .sheet import SheetJob, measure_sheet
from .sink import NullSink, Sink
from .sweep import measure_resonance

__all__ = [
    "CapacitorJob",
    "Expected",
    "KnownCapacitor",
    "KnownParts",
    "NullSink",
    "PeakGoal",
    "PeakPlanner",
    "Session",
    "SheetJob",
    "Sink",
    "Span",
    "fit_readings",
    "measure_capacitor",
    "measure_coil",
    "measure_resonance",
    "measure_sheet",
]
