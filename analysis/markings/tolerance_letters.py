"""Tolerance letters: what a letter after a value says of the part's band."""

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["Band", "tolerance_band"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """How far a part may be from its nominal value.

    Attributes
    ----------
    low, high
        Relative deviations, or absolute ones in the value's unit.
    words
        The band as people write it.
    absolute
        Which of the two.
    standard
        Whether IEC 60062 says so.
    """

    low: float
    high: float
    words: str
    absolute: bool = False
    standard: bool = True

    def ends(self, value: float) -> tuple[float, float]:
        """Return the band's ends about a value, none below zero."""
        scale = 1.0 if self.absolute else value
        return max(value + self.low * scale, 0.0), value + self.high * scale


def _percent(letters: Mapping[str, float], *, standard: bool = True) -> dict[str, Band]:
    return {
        letter: Band(
            low=-percent / 100.0,
            high=percent / 100.0,
            words=f"{percent:g} %",
            standard=standard,
        )
        for letter, percent in letters.items()
    }


# IEC 60062, read in public copies; E, L, P, W and H from memory.
_RESISTOR = _percent(
    {
        "E": 0.005,
        "L": 0.01,
        "P": 0.02,
        "W": 0.05,
        "B": 0.1,
        "C": 0.25,
        "D": 0.5,
        "F": 1.0,
    }
    | {"G": 2.0, "H": 3.0, "J": 5.0, "K": 10.0, "M": 20.0, "N": 30.0}
)
# IEC 60062, read in public copies; S, Q and T from memory.
_CAPACITOR = _percent(
    {"B": 0.1, "C": 0.25, "D": 0.5, "F": 1.0, "G": 2.0, "J": 5.0, "K": 10.0, "M": 20.0}
    | {"N": 30.0}
) | {
    letter: Band(low=-low / 100.0, high=high / 100.0, words=f"-{low:g} +{high:g} %")
    for letter, low, high in (
        ("Q", 10.0, 30.0),
        ("S", 20.0, 50.0),
        ("T", 10.0, 50.0),
        ("Z", 20.0, 80.0),
    )
}
_SMALL_CAPACITOR = {
    letter: Band(low=-pf * 1e-12, high=pf * 1e-12, words=f"{pf:g} pF", absolute=True)
    for letter, pf in (
        ("A", 0.05),
        ("B", 0.1),
        ("C", 0.25),
        ("D", 0.5),
        ("F", 1.0),
        ("G", 2.0),
    )
}
SMALL_F = 10e-12  # below it a capacitor's letters A to G are picofarads
# Common practice, no published source; L and the absolute ones from memory.
_INDUCTOR = _percent(
    {
        "F": 1.0,
        "G": 2.0,
        "H": 3.0,
        "J": 5.0,
        "K": 10.0,
        "L": 15.0,
        "M": 20.0,
        "N": 30.0,
    },
    standard=False,
)
_SMALL_INDUCTOR = {
    letter: Band(
        low=-nh * 1e-9,
        high=nh * 1e-9,
        words=f"{nh:g} nH",
        absolute=True,
        standard=False,
    )
    for letter, nh in (("B", 0.1), ("C", 0.2), ("S", 0.3), ("D", 0.5))
}
SMALL_H = 100e-9  # above it those are not used


def tolerance_band(letter: str, *, kind: str, value: float) -> Band | None:
    """Return what a letter says of a part of that kind and nominal value.

    Parameters
    ----------
    letter
        One capital letter.
    kind
        ``capacitor``, ``inductor`` or ``resistor``.
    value
        Nominal, in F, H or ohm: small parts have absolute tolerances.

    Returns
    -------
    Band or None
        None where the letter means no tolerance.
    """
    if kind == "resistor":
        return _RESISTOR.get(letter)
    if kind == "inductor":
        small = _SMALL_INDUCTOR if value < SMALL_H else {}
        return small.get(letter) or _INDUCTOR.get(letter)
    if value < SMALL_F * (1.0 - 1e-9):
        # J and above stay percentages on small parts too.
        return _SMALL_CAPACITOR.get(letter) or _CAPACITOR.get(letter)
    return _CAPACITOR.get(letter)
