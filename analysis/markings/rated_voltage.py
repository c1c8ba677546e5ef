"""Rated voltages printed beside a capacitor's value: ``2A104J``, ``104J100``."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

__all__ = ["RatedVoltage", "split_rated_voltage"]

# A digit, the power of ten, and a letter, the number: common practice on film,
# ceramic and aluminium capacitors, from memory (1H is 50 V, 2A 100 V, 2J 630 V).
LETTERS: Mapping[str, float] = {
    "A": 1.0, "B": 1.25, "C": 1.6, "D": 2.0, "E": 2.5, "F": 3.15, "G": 4.0,
    "H": 5.0, "J": 6.3, "K": 8.0, "P": 2.2, "Q": 1.1, "V": 3.5, "W": 4.5, "Z": 1.8,
}  # fmt: skip
# Before a code of three digits alone: elsewhere digit and letter are a value.
BEFORE = re.compile(r"(([0-3])([A-HJKPQVWZ]))([1-9]\d\d[A-Z]?)", re.ASCII)
# After a tolerance letter, in volts as they are; what is rated, common practice.
RATED = frozenset(
    {16, 25, 35, 50, 63, 80, 100, 160, 200, 250, 275, 305, 310, 350, 400, 450, 500}
    | {630, 1000, 1250, 1600, 2000}
)
AFTER = re.compile(r"(\d*[a-zA-Z]?\d+[A-Z])(([1-9]\d{1,3})V?)", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class RatedVoltage:
    """A rated voltage in V as printed, and what is left of the marking."""

    printed: str
    voltage_v: float
    rest: str


def split_rated_voltage(marking: str) -> Iterator[RatedVoltage]:
    """Take a rated voltage off a capacitor's marking, in every way there is."""
    if before := BEFORE.fullmatch(marking):
        voltage_v = LETTERS[before[3]] * 10.0 ** int(before[2])
        yield RatedVoltage(printed=before[1], voltage_v=voltage_v, rest=before[4])
    after = AFTER.fullmatch(marking)
    if after and int(after[3]) in RATED:
        yield RatedVoltage(printed=after[2], voltage_v=float(after[3]), rest=after[1])
