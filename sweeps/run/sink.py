"""Where readings and results go: the sweeps hand everything to a sink."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from ...analysis.reading import Reading
from ...analysis.result import Result

__all__ = ["NullSink", "Progress", "Sink", "Sinks"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a sweep is.

    Attributes
    ----------
    phase
        What it is doing.
    taken, expected
        Readings taken, and likely in all.
    step
        Which sweep of a measurement with several; empty where there is one.
    part
        Which part of a lot; empty where there is none.
    tank_v
        What the reading says of the tank's voltage, in V r.m.s.; None: nothing.
    """

    phase: str
    taken: int
    expected: int
    step: str = ""
    part: str = ""
    tank_v: float | None = None


class Sink(Protocol):
    """Takes what a sweep yields, at once and in order."""

    def reading(self, reading: Reading, *, progress: Progress) -> None:
        """Take one reading; it must be safe when this returns."""

    def taken_back(self, reading: Reading) -> None:
        """Strike out the last reading: the person who took it says it was a slip."""

    def result(self, result: Result) -> None:
        """Take the finished result."""


class NullSink:
    """A sink for who wants the result alone."""

    def reading(self, reading: Reading, *, progress: Progress) -> None:
        """Let it go."""

    def taken_back(self, reading: Reading) -> None:
        """Let it go."""

    def result(self, result: Result) -> None:
        """Let it go."""


class Sinks:
    """Several sinks as one, served in order.

    Parameters
    ----------
    sinks
        The one that keeps readings comes first.
    """

    def __init__(self, sinks: Sequence[Sink]) -> None:
        self._sinks = tuple(sinks)

    def reading(self, reading: Reading, *, progress: Progress) -> None:
        """Pass it to every sink."""
        for sink in self._sinks:
            sink.reading(reading, progress=progress)

    def taken_back(self, reading: Reading) -> None:
        """Pass it to every sink."""
        for sink in self._sinks:
            sink.taken_back(reading)

    def result(self, result: Result) -> None:
        """Pass it to every sink."""
        for sink in self._sinks:
            sink.result(result)
