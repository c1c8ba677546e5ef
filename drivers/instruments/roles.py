"""What a bench needs of whoever drives the circuit and whoever reads it.

An instrument behind a link plays the role, or a person at a dial.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Protocol

__all__ = [
    "Amplitude",
    "AmplitudeReader",
    "OutputState",
    "SignalSource",
    "TunedCapacitor",
]


class OutputState(Enum):
    """What is known of a generator's output."""

    UNKNOWN = "unknown"
    ON = "on"  # or it may be: it was told to switch on
    TOLD_OFF = "told off"  # and cannot say whether it did
    OFF = "off"  # it said so, or whoever switches it did


@dataclass(frozen=True, slots=True, kw_only=True)
class Amplitude:
    """One amplitude in V r.m.s., and the full scale it was read on (or None).

    ``reference_v`` is what a second channel read at the same time (or None).
    """

    amplitude_v: float
    range_v: float | None = None
    reference_v: float | None = None


class _OnBench(Protocol):
    """What generator and detector have in common."""

    @property
    def identity(self) -> str:
        """Who it says it is."""
        ...

    def introduce(self) -> None:
        """Ask who it is, and change nothing."""

    def start(self) -> None:
        """Identify it and bring it to a known state."""

    def check(self) -> None:
        """See that it refused nothing (raises `InstrumentError`)."""

    def disturbed(self) -> list[str]:
        """Tell what happened since the last call that puts a reading in doubt."""
        ...

    def restore(self) -> None:
        """Bring it back to what it was set to, after something happened to it."""

    def close(self) -> None:
        """Let go of it."""


class SignalSource(_OnBench, Protocol):
    """Drives the circuit."""

    @property
    def output(self) -> OutputState:
        """What is known of its output."""
        ...

    @property
    def emf_v(self) -> float | None:
        """The open-circuit voltage that it was last told, in V r.m.s."""
        ...

    def set_frequency(self, frequency_hz: float) -> float:
        """Set the frequency in Hz and return what it then is."""
        ...

    def set_emf(self, emf_v: float) -> None:
        """Set the open-circuit voltage in V r.m.s."""

    def output_on(self) -> None:
        """Switch the output on."""

    def output_off(self) -> None:
        """Switch the output off, and make sure of it."""

    def see_off(self) -> None:
        """Have whoever switches it by hand switch it off and say so; else nothing."""


class AmplitudeReader(_OnBench, Protocol):
    """Reads the circuit's amplitude."""

    def tune(self, frequency_hz: float) -> None:
        """Tell it what frequency in Hz comes next, if it needs to know."""

    def read(self) -> Amplitude:
        """Read one amplitude."""
        ...


class TunedCapacitor(Protocol):
    """A calibrated variable capacitor, and whoever turns it."""

    @property
    def identity(self) -> str:
        """Who turns it."""
        ...

    def set_capacitance(self, capacitance_f: float) -> float:
        """Turn it to this, in F, and return what its dial then shows."""
        ...
