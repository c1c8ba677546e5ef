"""A single-layer coil as its winder describes it."""

import math
from dataclasses import dataclass

from ..errors import InputError
from ..quantity import Stated
from .winding_loss import RESISTIVITY_OHM_M

__all__ = ["Winding"]

MOST_TURNS = 1e5
LENGTH_TOLERANCE = 0.01  # between a stated length and turns times pitch


@dataclass(frozen=True, slots=True, kw_only=True)
class Winding:
    """A single-layer solenoid of round wire.

    Attributes
    ----------
    diameter_m
        Between wire centres, in m.
    turns
        Number of turns, 1 to 1e5.
    wire_m
        Diameter of the bare wire in m.
    length_m, pitch_m
        Length over the winding (turns times pitch) and pitch, in m; one of them, or
        both if they agree.
    conductor
        ``copper``, ``silver`` or ``aluminium``.
    """

    diameter_m: Stated
    turns: float
    wire_m: Stated
    length_m: Stated | None = None
    pitch_m: Stated | None = None
    conductor: str = "copper"

    def __post_init__(self) -> None:
        """Refuse a winding that cannot be."""
        if not 1.0 <= self.turns <= MOST_TURNS:
            raise InputError(
                f"a coil has 1 to {MOST_TURNS:.0f} turns, not {self.turns:g}"
            )
        if self.conductor not in RESISTIVITY_OHM_M:
            raise InputError(
                f"the conductor {self.conductor!r} is not known; it can be "
                + ", ".join(RESISTIVITY_OHM_M)
            )
        if self.length_m is None and self.pitch_m is None:
            raise InputError("a coil needs its length or its pitch")
        for name, one in self.dimensions.items():
            if one.value <= 0.0:
                raise InputError(f"a coil's {name} is above zero, not {one.value:g} m")
        self._check_length()
        self._check_wire()

    def _check_length(self) -> None:
        if self.length_m is None or self.pitch_m is None:
            return
        wound = self.turns * self.pitch_m.value
        doubt = 2.0 * math.hypot(self.length_m.u, self.turns * self.pitch_m.u)
        if abs(wound - self.length_m.value) > doubt + LENGTH_TOLERANCE * wound:
            raise InputError(
                f"{self.turns:g} turns at {_mm(self.pitch_m.value)} are "
                f"{_mm(wound)} long, not {_mm(self.length_m.value)}; "
                "give the length or the pitch alone"
            )

    def _check_wire(self) -> None:
        if self.wire_m.value > self.pitch.value * (1.0 + 1e-9):
            raise InputError(
                f"wire of {_mm(self.wire_m.value)} does not fit a pitch of "
                f"{_mm(self.pitch.value)}; the turns would overlap"
            )
        if self.wire_m.value >= self.diameter_m.value:
            raise InputError(
                f"wire of {_mm(self.wire_m.value)} cannot be wound to a diameter of "
                f"{_mm(self.diameter_m.value)} between wire centres"
            )

    @property
    def dimensions(self) -> dict[str, Stated]:
        """The dimensions that were stated, by the names a budget shows."""
        named = {"diameter": self.diameter_m, "wire diameter": self.wire_m}
        if self.pitch_m is not None:
            named["pitch"] = self.pitch_m
        if self.length_m is not None:
            named["length"] = self.length_m
        return named

    @property
    def pitch(self) -> Stated:
        """The pitch, from the length where only that was stated."""
        if self.pitch_m is not None:
            return self.pitch_m
        if self.length_m is None:  # refused at construction
            raise InputError("a coil needs its length or its pitch")
        return Stated(
            value=self.length_m.value / self.turns,
            u=self.length_m.u / self.turns,
            distribution=self.length_m.distribution,
        )


def _mm(length_m: float) -> str:
    return f"{length_m * 1e3:.4g} mm"
