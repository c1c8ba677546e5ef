"""What a sweep sweeps: the frequency, or a capacitor at one frequency."""

from enum import Enum

__all__ = ["Abscissa"]


class Abscissa(Enum):
    """What readings stand over.

    Attributes
    ----------
    quantity
        Its name: ``frequency`` or ``capacitance``.
    unit
        Its unit: Hz or F.
    half_widths
        How many half-widths the centre over Q is. A tank's half-power points stand
        f0/Q apart in frequency, and T0/Q from the centre in its capacitance.
    """

    FREQUENCY = ("frequency", "Hz", 2.0)
    CAPACITANCE = ("capacitance", "F", 1.0)

    def __init__(self, quantity: str, unit: str, half_widths: float) -> None:
        self.quantity = quantity
        self.unit = unit
        self.half_widths = half_widths

    @property
    def column(self) -> str:
        """Its name with the unit, as readings carry it: ``frequency_hz``."""
        return f"{self.quantity}_{self.unit.lower()}"
