"""Every reading that a marking on a capacitor, inductor or resistor allows.

IEC 60062 fixes codes for resistors and capacitors. What is printed on inductors, and
plain numbers on small parts, is trade practice: such readings say so. A marking that
can be read two ways is read both ways.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from ..errors import InputError
from .rated_voltage import split_rated_voltage
from .tolerance_letters import Band, tolerance_band

__all__ = [
    "ARTICLES",
    "KINDS",
    "UNIT_OF_KIND",
    "Kind",
    "MarkedReading",
    "read_marking",
    "round_off",
]

Kind = Literal["capacitor", "inductor", "resistor"]
UNIT_OF_KIND: Mapping[Kind, str] = {
    "capacitor": "F",
    "inductor": "H",
    "resistor": "ohm",
}
ARTICLES: Mapping[Kind, str] = {"capacitor": "a", "inductor": "an", "resistor": "a"}
KINDS: tuple[Kind, ...] = ("capacitor", "inductor", "resistor")

# Where no letter stands: the widest of the series in use (IEC 60063, E6).
UNSTATED = Band(low=-0.20, high=0.20, words="not marked, 20 % assumed")
LEAST_TOLERANCE = 1e-6
LONGEST = 12  # signs; no part has room for more


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedReading:
    """One thing that a marking may mean.

    Attributes
    ----------
    value, unit
        The nominal value, SI.
    lowest, highest
        The tolerance band's ends, same unit.
    tolerance
        The band in words.
    how
        How the marking is read to mean this.
    standard
        Whether IEC 60062 says so; otherwise it is trade practice.
    rated_voltage_v
        The rated voltage in V, d.c., where a code or number for it is printed too.
    """

    value: float
    unit: str
    lowest: float
    highest: float
    tolerance: str
    how: str
    standard: bool
    rated_voltage_v: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rule:
    """One way to write a value: a pattern, what it is worth, and in which words."""

    pattern: re.Pattern[str]
    value: Callable[[re.Match[str]], float]
    how: str
    standard: bool = True


def _power(match: re.Match[str], *, tenths: bool) -> float:
    """Significant digits and a number of zeros; 8 and 9 stand for 0.01 and 0.1."""
    digits, last = int(match[1]), int(match[2])
    if tenths and last in {8, 9}:
        return digits * 10.0 ** (last - 10)
    return digits * 10.0**last


def _code(
    *, unit: float, how: str, tenths: bool = False, standard: bool = True
) -> _Rule:
    return _Rule(
        pattern=re.compile(r"([1-9]\d)(\d)"),
        value=lambda match: _power(match, tenths=tenths) * unit,
        how=how,
        standard=standard,
    )


def _point(letters: str, *, unit: float, how: str, standard: bool = True) -> _Rule:
    """Let a letter stand in the place of the decimal point."""
    return _Rule(
        pattern=re.compile(rf"(\d*)[{letters}](\d*)"),
        value=lambda match: float(f"{match[1] or 0}.{match[2] or 0}") * unit,
        how=how,
        standard=standard,
    )


def _code_of_three(*, unit: float, how: str, standard: bool = True) -> _Rule:
    return _Rule(
        pattern=re.compile(r"([1-9]\d\d)(\d)"),
        value=lambda match: _power(match, tenths=False) * unit,
        how=how,
        standard=standard,
    )


def _written_out(letter: str, *, unit: float, how: str) -> _Rule:
    """Let a number be followed by its prefix, a unit after it or not."""
    return _Rule(
        pattern=re.compile(rf"(\d*\.\d+|[1-9]\d*){letter}"),
        value=lambda match: float(match[1]) * unit,
        how=how,
        standard=False,
    )


def _plain(pattern: str, *, unit: float, how: str) -> _Rule:
    return _Rule(
        pattern=re.compile(pattern),
        value=lambda match: float(match[0]) * unit,
        how=how,
        standard=False,
    )


_HUNDREDS = r"[1-9]\d0"  # a code whose plain reading is a usual value too
_RULES: Mapping[Kind, tuple[_Rule, ...]] = {
    "capacitor": (
        _code(unit=1e-12, tenths=True, how="two digits and a number of zeros, in pF"),
        _point("R", unit=1e-12, how="R as the decimal point, in pF", standard=False),
        _point("p", unit=1e-12, how="p as the decimal point: picofarads"),
        _point("n", unit=1e-9, how="n as the decimal point: nanofarads"),
        _point("u", unit=1e-6, how="µ as the decimal point: microfarads"),
        _point("m", unit=1e-3, how="m as the decimal point: millifarads"),
        _point("N", unit=1e-9, how="capital N for n: nanofarads", standard=False),
        _point("P", unit=1e-12, how="capital P for p: picofarads", standard=False),
        _point("U", unit=1e-6, how="capital U for µ: microfarads", standard=False),
        _code_of_three(
            unit=1e-12, how="three digits and a number of zeros, in pF", standard=False
        ),
        _written_out("[pP]F?", unit=1e-12, how="a number in pF"),
        _written_out("[nN]F?", unit=1e-9, how="a number in nF"),
        _written_out("[uU]F?", unit=1e-6, how="a number in µF"),
        _written_out("mF", unit=1e-3, how="a number in mF"),
        _plain(_HUNDREDS, unit=1e-12, how="a plain number, in pF"),
        _plain(r"[1-9]\d{3}", unit=1e-12, how="a plain number, in pF"),
        _plain(r"[1-9]\d?", unit=1e-12, how="a plain number, in pF"),
        _plain(r"[1-9]\d*\.\d+", unit=1e-12, how="a plain decimal, in pF"),
        _plain(r"\d*\.\d+|[1-9]\d?", unit=1e-6, how="a plain number, in µF"),
    ),
    "inductor": (
        _code(unit=1e-6, how="two digits and a number of zeros, in µH", standard=False),
        _code(
            unit=1e-9,
            how="two digits and a number of zeros, in nH (some small chip parts)",
            standard=False,
        ),
        _point("R", unit=1e-6, how="R as the decimal point, in µH", standard=False),
        _point("Nn", unit=1e-9, how="N as the decimal point, in nH", standard=False),
        _point("u", unit=1e-6, how="µ as the decimal point, in µH", standard=False),
        _written_out("[nN]H", unit=1e-9, how="a number in nH"),
        _written_out("[uU]H?", unit=1e-6, how="a number in µH"),
        _written_out("mH", unit=1e-3, how="a number in mH"),
        _plain(_HUNDREDS, unit=1e-6, how="a plain number, in µH"),
        _plain(r"[1-9]\d?", unit=1e-6, how="a plain number, in µH"),
        _plain(r"\d*\.\d+", unit=1e-6, how="a plain decimal, in µH"),
    ),
    "resistor": (
        _code(unit=1.0, how="two digits and a number of zeros, in ohm"),
        _code_of_three(unit=1.0, how="three digits and a number of zeros, in ohm"),
        _written_out("[kK]", unit=1e3, how="a number in kilohm"),
        _written_out("M", unit=1e6, how="a number in megohm"),
        _point("R", unit=1.0, how="R as the decimal point: ohm"),
        _point("K", unit=1e3, how="K as the decimal point: kilohm"),
        _point("k", unit=1e3, how="small k for K: kilohm", standard=False),
        _point("M", unit=1e6, how="M as the decimal point: megohm"),
        _point("G", unit=1e9, how="G as the decimal point: gigohm"),
        _plain(_HUNDREDS, unit=1.0, how="a plain number, in ohm"),
        _plain(r"[1-9]\d?", unit=1.0, how="a plain number, in ohm"),
        _plain(r"\d*\.\d+", unit=1.0, how="a plain decimal, in ohm"),
    ),
}
_SHAPES: Mapping[Kind, str] = {
    "capacitor": "104, 229, 4n7, p33, 4R7, 0.1 or 2A104",
    "inductor": "101, 4R7, R10 or 4N7",
    "resistor": "472, 1002, 4K7, R47 or 470R",
}


def read_marking(
    text: str, *, kind: Kind, tolerance: float | None = None
) -> tuple[MarkedReading, ...]:
    """Read a marking in every way it allows.

    Parameters
    ----------
    text
        What is printed, blanks aside; capitals and small letters matter.
    kind
        What the part is.
    tolerance
        The part's, as a fraction, where it is known otherwise; it stands in for a
        letter that is not printed.

    Returns
    -------
    tuple of MarkedReading
        The standard's readings first; at least one.

    Raises
    ------
    InputError
        The marking means nothing for that kind of part.

    References
    ----------
    IEC 60062:2016 (resistors and capacitors). Inductors: common practice, no
    published source.
    """
    if tolerance is not None and not LEAST_TOLERANCE <= tolerance < 1.0:
        raise InputError(
            "a tolerance is above zero (1 ppm or more) and below 100 %, not "
            f"{tolerance * 100:g} %; write it like 5%"
        )
    marking = "".join(text.split()).replace("\N{MICRO SIGN}", "u")
    marking = marking.replace("\N{GREEK SMALL LETTER MU}", "u")
    unstated = UNSTATED
    if tolerance is not None:
        unstated = Band(low=-tolerance, high=tolerance, words=f"{tolerance * 100:g} %")
    found: dict[tuple[float, str], MarkedReading] = {}
    if len(marking) <= LONGEST:
        for reading in _all_readings(marking, kind=kind, unstated=unstated):
            # One value by two rules (4 and 4.0) is one reading.
            found.setdefault((reading.value, reading.tolerance), reading)
    if not found:
        raise InputError(
            f"{text!r} is no marking of {ARTICLES[kind]} {kind} that is known here; "
            f"markings look like {_SHAPES[kind]}, with a tolerance letter or without"
        )
    return tuple(sorted(found.values(), key=lambda reading: not reading.standard))


def round_off(value: float) -> float:
    """Drop a float's last digits, so that equal values compare equal."""
    return float(f"{value:.9e}")


def _all_readings(
    marking: str, *, kind: Kind, unstated: Band
) -> Iterator[MarkedReading]:
    yield from _readings(marking, kind=kind, unstated=unstated)
    if kind != "capacitor":
        return
    for rated in split_rated_voltage(marking):
        for one in _readings(rated.rest, kind=kind, unstated=unstated):
            yield replace(
                one,
                how=f"{one.how}; {rated.printed} as {rated.voltage_v:g} V rated",
                standard=False,
                rated_voltage_v=rated.voltage_v,
            )


def _readings(marking: str, *, kind: Kind, unstated: Band) -> Iterator[MarkedReading]:
    yield from _values(marking, kind=kind, letter="", unstated=unstated)
    if len(marking) > 1 and marking[-1].isalpha():
        yield from _values(
            marking[:-1], kind=kind, letter=marking[-1], unstated=unstated
        )


def _values(
    body: str, *, kind: Kind, letter: str, unstated: Band
) -> Iterator[MarkedReading]:
    if not body.isascii() or not any(sign.isdecimal() for sign in body):
        return
    for rule in _RULES[kind]:
        match = rule.pattern.fullmatch(body)
        value = round_off(rule.value(match)) if match else 0.0
        if value <= 0.0:
            continue
        band = unstated
        how, standard = rule.how, rule.standard
        if letter:
            lettered = tolerance_band(letter, kind=kind, value=value)
            if lettered is None:
                continue
            band = lettered
            how = f"{how}; {letter} as the tolerance"
            standard = standard and band.standard
        if band.absolute and -band.low > value:
            continue  # a part that may be nothing: the letter means something else
        lowest, highest = band.ends(value)
        yield MarkedReading(
            value=value,
            unit=UNIT_OF_KIND[kind],
            lowest=lowest,
            highest=highest,
            tolerance=band.words,
            how=how,
            standard=standard,
        )
