"""What is printed on a part, held against what was measured of it."""

from dataclasses import dataclass, field

from ...analysis.markings import Kind, MarkedReading, read_marking, weigh_readings
from ...analysis.quantity import Quantity, Stated, format_quantity

__all__ = ["Marked"]

WORTH_SAYING = 0.001  # a share of the odds below which a reading is not mentioned


@dataclass(frozen=True, slots=True)
class Marked:
    """A marking, with every reading that it allows.

    Attributes
    ----------
    text
        What is printed on the part.
    kind
        ``capacitor``, ``inductor`` or ``resistor``.
    readings
        What it may mean.

    Raises
    ------
    InputError
        It can be read in no way.
    """

    text: str
    kind: Kind
    readings: tuple[MarkedReading, ...] = field(init=False)

    def __post_init__(self) -> None:
        """Read it before anything is measured."""
        object.__setattr__(self, "readings", read_marking(self.text, kind=self.kind))

    def verdict(self, measured: Quantity) -> str:
        """Say which of the readings a measured value supports, in a sentence."""
        odds = weigh_readings(
            self.readings,
            measured=Stated(value=measured.value, u=measured.standard_uncertainty),
        )
        shares: dict[str, float] = {}
        for one, share in zip(self.readings, odds.shares, strict=True):
            value, _, unit = format_quantity(one.value, u=0.0, unit=measured.unit)
            name = f"{value} {unit}"
            shares[name] = shares.get(name, 0.0) + share
        ordered = sorted(shares.items(), key=lambda item: -item[1])
        told = [
            f"{name} ({100.0 * share:.3g} %)"
            for name, share in ordered
            if share >= WORTH_SAYING
        ]
        others = f"it may mean {', '.join(shares)}"
        if odds.verdict == "none fits":
            return (
                f"Marked {self.text!r}: none of its readings fits ({others}); the part "
                "is not what it says, or has changed."
            )
        if odds.verdict == "fits":
            rest = f" ({others})" if len(shares) > 1 else ""
            return f"Marked {self.text!r}: it means {told[0]}{rest}."
        return (
            f"Marked {self.text!r}: undecided between {', '.join(told)} and none of "
            f"them ({100.0 * odds.none:.3g} %)."
        )
