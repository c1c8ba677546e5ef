"""What all detectors have in common: they look at the circuit and take time.

A reading opens its window when it is asked for, sees what the circuit does during
it, and is answered when the detector is done; the clock moves by that time.
"""

import math
import threading
from collections.abc import Callable, Mapping, Sequence
from typing import TypedDict

import numpy as np

from ..circuit import Component
from .clock import Clock
from .faults import FaultPlan
from .instrument import InstrumentCore
from .scpi import Command, ScpiError
from .scpi_parameters import NO_UNIT, parse_number

__all__ = ["HIGHEST_AVERAGE", "DetectorContext", "DetectorCore", "Look", "low_pass"]

HIGHEST_AVERAGE = 1024
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

    Attributes
    ----------
    averages
        How many readings make one, where it averages at all.
    named_averages
        Numbers of them that have names; None: none has.
    """

    averages = 1
    named_averages: Mapping[str, float] | None = None

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

    def averages_command(self, pattern: str = "[SENSe#]:AVERage:COUNt") -> Command:
        """Give the command that sets how many readings make one."""
        return Command(
            pattern=pattern,
            set=self._set_averages,
            query=lambda _: str(self.averages),
        )

    def _set_averages(self, parameters: Sequence[str]) -> None:
        number = parse_number(parameters[0], NO_UNIT, named=self.named_averages)
        count = round(number.value)
        if not 1 <= count <= HIGHEST_AVERAGE:
            raise ScpiError(-222, parameters[0])
        self.averages = count


def low_pass(frequency_hz: float, bandwidth_hz: float) -> float:
    """Give the amplitude response of one pole."""
    return 1.0 / math.sqrt(1.0 + (frequency_hz / bandwidth_hz) ** 2)
