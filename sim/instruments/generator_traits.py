"""What a generator can do, and what takes its output."""

from dataclasses import dataclass
from typing import Protocol

__all__ = ["DriveFunction", "GeneratorTraits"]


@dataclass(frozen=True, slots=True, kw_only=True)
class GeneratorTraits:
    """What one generator can do, and by how much it is wrong.

    Attributes
    ----------
    source_resistance_ohm
        Behind the e.m.f.
    frequency_min_hz, frequency_max_hz, frequency_resolution_hz
        Range and step of the frequency.
    reference_error
        Relative error of the frequency reference.
    level_min_vpp, level_max_vpp
        Range of the level across 50 ohm.
    level_step_db
        The attenuator's step; 0 for none.
    level_error_db
        True level above the set one.
    frequency_dip
        Share of the level missing just after a change of frequency.
    settling_s
        Time constant with which the level then comes back.
    """

    source_resistance_ohm: float
    frequency_min_hz: float
    frequency_max_hz: float
    frequency_resolution_hz: float
    reference_error: float
    level_min_vpp: float
    level_max_vpp: float
    level_step_db: float
    level_error_db: float
    frequency_dip: float
    settling_s: float


class DriveFunction(Protocol):
    """Takes what the generator puts out from now on."""

    def __call__(
        self, now_s: float, *, frequency_hz: float, emf_v: float, start_emf_v: float
    ) -> None:
        """Change the drive."""
