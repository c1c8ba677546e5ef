"""The bench's time: virtual for tests, the wall's for a server of its own."""

import threading
import time
from typing import Protocol

__all__ = ["Clock", "RealClock", "SceneClock"]


class Clock(Protocol):
    """What tells the bench its time and lets some of it pass."""

    @property
    def now_s(self) -> float:
        """Seconds since the clock was made."""

    def sleep(self, seconds: float) -> None:
        """Let time pass."""


class SceneClock:
    """Virtual time: it passes only when somebody sleeps.

    Notes
    -----
    A client under test is given ``sleep`` as its sleep, so that a settling time
    costs nothing and one that was forgotten shows as a wrong reading.
    """

    def __init__(self) -> None:
        self._now_s = 0.0
        self._lock = threading.Lock()

    @property
    def now_s(self) -> float:
        """Virtual seconds since the clock was made."""
        return self._now_s

    def sleep(self, seconds: float) -> None:
        """Advance the virtual time at once.

        Raises
        ------
        ValueError
            Negative seconds: this clock does not run backwards.
        """
        if not seconds >= 0.0:
            raise ValueError(f"a clock cannot sleep {seconds} s")
        with self._lock:
            self._now_s += seconds


class RealClock:
    """The machine's monotonic time, from 0 at its making."""

    def __init__(self) -> None:
        self._start_s = time.monotonic()

    @property
    def now_s(self) -> float:
        """Seconds since the clock was made."""
        return time.monotonic() - self._start_s

    def sleep(self, seconds: float) -> None:
        """Wait."""
        threading.Event().wait(max(0.0, seconds))
