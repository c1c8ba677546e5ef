"""Parameters of program messages: numbers with units, booleans, mnemonics.

IEEE 488.2 section 7.7 gives the forms, SCPI-99 volume 1 chapter 7 what they mean
(7.2 numeric values with MINimum and MAXimum, 7.3 booleans).
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from .scpi import ScpiError

__all__ = [
    "DECIBEL",
    "FREQUENCY",
    "NO_UNIT",
    "OHMS",
    "POWER_UNITS",
    "SECONDS",
    "VOLTAGE_UNITS",
    "Number",
    "parse_boolean",
    "parse_choice",
    "parse_number",
    "spellings",
]

# 7.7.2 <DECIMAL NUMERIC PROGRAM DATA>: mantissa, perhaps an exponent, perhaps with
# white space around the E; the suffix (7.7.3) is letters, here without exponents.
_NUMBER = re.compile(
    r"([+-]?(?:\d+\.?\d*|\.\d+))(?:\s*[Ee]\s*([+-]?\d+))?\s*([A-Za-z%]*)"
)
_RADIX = re.compile(r"#([HQB])(\w+)", re.IGNORECASE)
_BASES = {"H": 16, "Q": 8, "B": 2}
_EXPONENT_LIMIT = 32000  # 7.7.2.4.1

# Suffixes and their multipliers; IEEE 488.2 table 7-2: M is milli except before HZ
# and OHM, where it is mega, as MA is everywhere.
FREQUENCY: Mapping[str, tuple[str, float]] = {
    "HZ": ("HZ", 1.0),
    "KHZ": ("HZ", 1e3),
    "MHZ": ("HZ", 1e6),
    "MAHZ": ("HZ", 1e6),
    "GHZ": ("HZ", 1e9),
}
VOLTAGE_UNITS: Mapping[str, tuple[str, float]] = {
    "V": ("", 1.0),
    "MV": ("", 1e-3),
    "UV": ("", 1e-6),
    "VPP": ("VPP", 1.0),
    "MVPP": ("VPP", 1e-3),
    "UVPP": ("VPP", 1e-6),
    "VRMS": ("VRMS", 1.0),
    "MVRMS": ("VRMS", 1e-3),
    "UVRMS": ("VRMS", 1e-6),
    "DBM": ("DBM", 1.0),
}
POWER_UNITS: Mapping[str, tuple[str, float]] = {
    "DBM": ("DBM", 1.0),
    "W": ("W", 1.0),
    "MW": ("W", 1e-3),
    "UW": ("W", 1e-6),
}
SECONDS: Mapping[str, tuple[str, float]] = {
    "S": ("", 1.0),
    "MS": ("", 1e-3),
    "US": ("", 1e-6),
    "NS": ("", 1e-9),
}
DECIBEL: Mapping[str, tuple[str, float]] = {"DB": ("", 1.0)}
OHMS: Mapping[str, tuple[str, float]] = {
    "OHM": ("", 1.0),
    "KOHM": ("", 1e3),
    "MOHM": ("", 1e6),
}
NO_UNIT: Mapping[str, tuple[str, float]] = {}


@dataclass(frozen=True, slots=True)
class Number:
    """A value in the suffix's base unit; `unit` is empty where none was written."""

    value: float
    unit: str = ""


def spellings(mnemonic: str) -> tuple[str, str]:
    """Give the short and the long form of a mnemonic printed as ``MAXimum``."""
    return "".join(c for c in mnemonic if not c.islower()), mnemonic.upper()


def _decimal(text: str, suffixes: Mapping[str, tuple[str, float]]) -> Number:
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise ScpiError(-121 if text[:1] in "+-.0123456789" else -104, text[:20])
    mantissa, exponent, suffix = match.groups()
    if exponent is not None and abs(int(exponent)) > _EXPONENT_LIMIT:
        raise ScpiError(-123, text[:20])
    value = float(f"{mantissa}e{exponent or 0}")
    if not suffix:
        return Number(value)
    if not suffixes:
        raise ScpiError(-138, suffix)
    if suffix.upper() not in suffixes:
        raise ScpiError(-131, suffix)
    unit, factor = suffixes[suffix.upper()]
    return Number(value * factor, unit)


def parse_number(
    text: str,
    suffixes: Mapping[str, tuple[str, float]],
    *,
    named: Mapping[str, float] | None = None,
) -> Number:
    """Parse a numeric value (SCPI-99 volume 1, 7.2).

    Parameters
    ----------
    text
        One parameter.
    suffixes
        Known suffixes: name to (unit, factor).
    named
        Values by mnemonic, printed as ``MINimum``; they carry no unit.

    Raises
    ------
    ScpiError
        -104 not a number, -121 a stray character in one, -123 exponent too large,
        -131 unknown suffix, -138 suffix where none is taken, -141 unknown word.
    """
    if text[0].isalpha():
        for mnemonic, value in (named or {}).items():
            if text.upper() in spellings(mnemonic):
                return Number(value)
        raise ScpiError(-104 if named is None else -141, text[:20])
    if text[0] in "\"'(":
        raise ScpiError(-104, text[:20])
    radix = _RADIX.fullmatch(text)
    if radix is not None:
        try:
            return Number(float(int(radix.group(2), _BASES[radix.group(1).upper()])))
        except ValueError:
            raise ScpiError(-121, text[:20]) from None
    return _decimal(text, suffixes)


def parse_boolean(text: str) -> bool:
    """Parse ON, OFF or a number, of which every integer but 0 is ON (7.3)."""
    word = text.upper()
    if word in ("ON", "OFF"):
        return word == "ON"
    if word[0].isalpha():
        raise ScpiError(-224, text[:20])
    value = parse_number(text, NO_UNIT).value
    return not math.isinf(value) and round(value) != 0


def parse_choice(text: str, mnemonics: tuple[str, ...]) -> str:
    """Parse one of several mnemonics, returned in its short form.

    Raises
    ------
    ScpiError
        -104 not a word, -224 a word that is none of them.
    """
    word = text.upper()
    if not word[0].isalpha():
        raise ScpiError(-104, text[:20])
    for mnemonic in mnemonics:
        if word in spellings(mnemonic):
            return spellings(mnemonic)[0]
    raise ScpiError(-224, text[:20])
