"""What all detectors have in common: they look at the circuit and take time.

A reading opens its window when it is asked for, sees what the circuit does during
it, and is answered when the detector is done; the clock moves by that time.
"""

import math
import threading
from collections.abc import Callable, Sequence
from typing import TypedDict

import numpy as np

from ..circuit import Component
from .clock import Clock
from .faults import FaultPlan
from .instrument import InstrumentCore

__all__ = ["DetectorContext", "DetectorCore", "Look", "low_pass"]

Look = Callable[[float, float], Sequence[Component]]


class DetectorContext(TypedDict):
    """What every detector is made with, beside its traits."""

    identity: tuple[str, str, str, str]
    clock: Clock
    lock: threading.RLock
    look: Look
    rng: np.random.Generator
    window_s: float
    reading_s: float
    dialect: str
    faults: FaultPlan | None


class DetectorCore(InstrumentCore):
    """An instrument that reads the bench.

    Parameters
    ----------
    look
        Gives the sinusoids at the input, from a time on, over a window.
    rng
        The detector's own noise.
    window_s, reading_s
        How long it looks, and how long a reading takes in all.
    """

    def __init__(
        self,
        *,
        identity: tuple[str, str, str, str],
        clock: Clock,
        lock: threading.RLock,
        look: Look,
        rng: np.random.Generator,
        window_s: float,
        reading_s: float,
        dialect: str = "standard",
        faults: FaultPlan | None = None,
    ) -> None:
        self._look, self.rng = look, rng
        self._window_s, self._reading_s = window_s, reading_s
        super().__init__(
            identity=identity, clock=clock, lock=lock, dialect=dialect, faults=faults
        )

    def observe(self, readings: int = 1) -> Sequence[Component]:
        """Look at the input and let the time of so many readings pass."""
        components = self._look(self.clock.now_s, self._window_s)
        self.clock.sleep(self._reading_s * readings)
        return components


def low_pass(frequency_hz: float, bandwidth_hz: float) -> float:
    """Give the amplitude response of one pole."""
    return 1.0 / math.sqrt(1.0 + (frequency_hz / bandwidth_hz) ** 2)
