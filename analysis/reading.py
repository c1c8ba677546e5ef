"""One reading of the detector."""

import math
from dataclasses import dataclass

from .errors import InputError

__all__ = ["SETTLING_TAUS", "UNKNOWN_Q", "Reading", "Setting", "ring_up_s"]

SETTLING_TAUS = 7.0  # an envelope is then within exp(-7) = 0.1 % of its end value
UNKNOWN_Q = 500.0  # what must be waited for when nothing is known of a tank


def ring_up_s(frequency_hz: float, *, q: float = UNKNOWN_Q) -> float:
    """Time in s for a tank to ring up to 0.1 %: seven times tau = Q/(pi f)."""
    return SETTLING_TAUS * q / (math.pi * frequency_hz)


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What the generator is to be set to, and how long to wait before reading.

    Attributes
    ----------
    frequency_hz
        Generator frequency in Hz, > 0.
    settle_s
        Time from the setting to the reading in s, beyond what the instruments
        themselves need (the tank rings up with tau = Q / (pi f0)).
    capacitance_f
        What the variable capacitor is to be set to, in F; None: it is left alone.
    """

    frequency_hz: float
    settle_s: float = 0.0
    capacitance_f: float | None = None

    def __post_init__(self) -> None:
        """Refuse a setting that no generator could take."""
        if not (math.isfinite(self.frequency_hz) and self.frequency_hz > 0.0):
            raise InputError(f"a frequency of {self.frequency_hz:g} Hz cannot be set")
        if self.capacitance_f is not None and not 0.0 < self.capacitance_f < math.inf:
            raise InputError(f"a capacitance of {self.capacitance_f:g} F cannot be set")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One detector reading.

    Attributes
    ----------
    frequency_hz
        The frequency in force, as the generator read it back, in Hz; 0 where a
        capacitor was turned and nobody said.
    amplitude_v
        Amplitude in V r.m.s. at the detector's input, >= 0.
    time_s
        When, in s since the bench was opened.
    range_v
        Full scale of the detector's range in V r.m.s.; None where it has none.
    capacitance_f
        The variable capacitor's setting, as its dial shows it, in F; None where none
        was turned.
    """

    frequency_hz: float
    amplitude_v: float
    time_s: float = 0.0
    range_v: float | None = None
    capacitance_f: float | None = None

    def __post_init__(self) -> None:
        """Refuse what is no reading."""
        if not (math.isfinite(self.amplitude_v) and self.amplitude_v >= 0.0):
            raise InputError(
                f"a reading of {self.amplitude_v:g} V at {self.frequency_hz:g} Hz "
                "is not an amplitude"
            )
