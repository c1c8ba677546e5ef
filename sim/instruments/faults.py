"""What goes wrong, when: seeded, by probability, by message or by the clock."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["ANSWER_FAULTS", "Fault", "FaultPlan"]

# these spoil an answer, so that a message without one does not use them up
ANSWER_FAULTS = frozenset(
    {"silence", "late", "half", "garbage", "overload", "terminator"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that goes wrong with one instrument.

    Attributes
    ----------
    kind
        One of `ANSWER_FAULTS`, or ``error``, ``reset``, ``closed``.
    probability
        For each message; None where it happens once.
    at_message
        The number of the message, from 1, among those it can spoil.
    at_s
        The clock's time from which on it happens, once.
    delay_s
        Of a late answer.
    """

    kind: str
    probability: float | None = None
    at_message: int | None = None
    at_s: float | None = None
    delay_s: float = 30.0

    @property
    def spoils_answer(self) -> bool:
        """Tell whether the fault needs an answer to spoil."""
        return self.kind in ANSWER_FAULTS


class FaultPlan:
    """An instrument's faults, and its count of messages.

    Parameters
    ----------
    faults
        What may happen.
    rng
        The stream that decides; it belongs to the plan.
    """

    def __init__(self, faults: Sequence[Fault], rng: np.random.Generator) -> None:
        self._faults = tuple(faults)
        self._rng = rng
        self._seen = [0] * len(self._faults)
        self._done = [False] * len(self._faults)

    def next(self, now_s: float, *, spoils_answer: bool) -> Fault | None:
        """Tell what goes wrong with a message, if anything does.

        Parameters
        ----------
        now_s
            The clock.
        spoils_answer
            Whether the faults of answers are asked for, or the others.
        """
        found = None
        for i, fault in enumerate(self._faults):
            if fault.spoils_answer == spoils_answer and self._happens(i, fault, now_s):
                found = found or fault
        return found

    def _happens(self, i: int, fault: Fault, now_s: float) -> bool:
        self._seen[i] += 1
        if fault.probability is not None:
            return bool(self._rng.random() < fault.probability)
        if self._done[i]:
            return False
        if fault.at_message is not None:
            self._done[i] = self._seen[i] == fault.at_message
        else:
            self._done[i] = now_s >= (fault.at_s or 0.0)
        return self._done[i]

    def garbage(self, length: int) -> bytes:
        """Give bytes as a line gives them that has lost its framing."""
        return self._rng.integers(128, 256, size=length, dtype=np.uint8).tobytes()
