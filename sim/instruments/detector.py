"""What all detectors have in common: they look at the circuit and take time.

A reading opens its window when it is asked for, sees what the circuit does during
it, and is answered when the detector is done; the clock moves by that time. What is
shown may lag behind: it then follows the input with one time constant.
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
    lag_s: float
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
    lag_s
        Time constant with which what it shows follows what it sees, for one record; a
        running average of n records takes n times as long. 0: it follows at once.

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
        lag_s: float = 0.0,
        dialect: str = "standard",
        faults: FaultPlan | None = None,
    ) -> None:
        self._look, self.rng = look, rng
        self._window_s, self._reading_s, self._lag_s = window_s, reading_s, lag_s
        self._shown_v: Sequence[float] = ()
        self._shown_at_s = 0.0
        super().__init__(
            identity=identity, clock=clock, lock=lock, dialect=dialect, faults=faults
        )

    def observe(self, readings: int = 1) -> Sequence[Component]:
        """Look at the input and let the time of so many readings pass."""
        components = self._look(self.clock.now_s, self._window_s)
        if self._lag_s:
            components = self._followed(components, lag_s=self._lag_s * readings)
        self.clock.sleep(self._reading_s * readings)
        return components

    def _followed(
        self, components: Sequence[Component], *, lag_s: float
    ) -> Sequence[Component]:
        """Give what is shown; what is seen now stood there since the last look."""
        now_s = self.clock.now_s
        kept = math.exp((self._shown_at_s - now_s) / lag_s)
        before_v = [*self._shown_v, *[0.0] * len(components)]
        followed = [
            one._replace(amplitude_v=one.amplitude_v + (shown - one.amplitude_v) * kept)
            for one, shown in zip(components, before_v, strict=False)
        ]
        self._shown_v = [one.amplitude_v for one in followed]
        self._shown_at_s = now_s
        return followed

    def begin_anew(self) -> None:
        """Let what is shown rise from nothing, as after a change of range."""
        self._shown_v, self._shown_at_s = (), self.clock.now_s

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
