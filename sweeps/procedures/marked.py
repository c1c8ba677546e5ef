"""What is printed on a part, held against what was measured of it."""

from dataclasses import dataclass, field

from ...analysis.markings import (
    Kind,
    MarkedReading,
    MarkingOdds,
    read_marking,
    weigh_readings,
)
from ...analysis.quantity import (
    Judged,
    Judgement,
    Quantity,
    Stated,
    format_quantity,
)

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

    def judge(self, measured: Quantity) -> Judgement:
        """Say which of the readings a measured value supports."""
        if measured.value <= 0.0:
            return self._nothing_there(measured)
        odds = weigh_readings(
            self.readings,
            measured=Stated(value=measured.value, u=measured.standard_uncertainty),
        )
        text = f"Marked {self.text!r}: {self._told(odds, unit=measured.unit)}."
        return Judgement(about="marked", outcome=odds.verdict, text=text)

    def _nothing_there(self, measured: Quantity) -> Judgement:
        """Judge a value that is not above zero, which has no odds."""
        reached = measured.limits[1] >= min(one.lowest for one in self.readings)
        return Judgement(
            about="marked",
            outcome=Judged.UNDECIDED if reached else Judged.DOES_NOT_FIT,
            text=f"Marked {self.text!r}: nothing above zero was measured"
            + (", but it may be so small." if reached else "; none of its readings."),
        )

    def _told(self, odds: MarkingOdds, *, unit: str) -> str:
        shares: dict[str, float] = {}
        for one, share in zip(self.readings, odds.shares, strict=True):
            value, _, shown = format_quantity(one.value, u=0.0, unit=unit)
            name = f"{value} {shown}"
            shares[name] = shares.get(name, 0.0) + share
        ordered = sorted(shares.items(), key=lambda item: -item[1])
        told = [
            f"{name} ({100.0 * share:.3g} %)"
            for name, share in ordered
            if share >= WORTH_SAYING
        ]
        others = f"it may mean {', '.join(shares)}"
        if odds.verdict is Judged.DOES_NOT_FIT:
            return (
                f"none of its readings fits ({others}); the part is not what it says, "
                "or has changed"
            )
        if odds.verdict is Judged.FITS:
            rest = f" ({others})" if len(shares) > 1 else ""
            return f"it means {told[0]}{rest}"
        return (
            f"undecided between {', '.join(told)} and none of them "
            f"({100.0 * odds.none:.3g} %)"
        )
