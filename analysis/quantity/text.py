"""Numbers with units, as a person writes them and as a person reads them.

``150p``, ``33uH``, ``7.2MHz``, ``1.6mm``, ``10%``, and with a doubt attached:
``150pF +- 1%`` (limits) or ``5pF u=0.5pF`` (a standard uncertainty). Whatever could
be read two ways is refused, never guessed: a decimal comma, a bare ``m`` on a
length, millihertz where megahertz must be meant.
"""

import math
import re
from dataclasses import dataclass
from typing import Literal

from quantiphy import InvalidNumber
from quantiphy import Quantity as PrefixedNumber

from ..errors import InputError
from ..given_text import shown
from .stated import Stated

__all__ = [
    "UNITS",
    "Unit",
    "describe",
    "format_quantity",
    "parse_quantity",
    "parse_stated",
]

LEAST_POWER = -4  # of ten: below it zeros are no way to write a number
LARGEST_DOUBT = 99.5  # what would show three digits where two are kept

Unit = Literal["Hz", "H", "F", "ohm", "V", "m", "s", "fraction"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _UnitRule:
    """How a unit may be spelt, what is plausible at a radio bench, an example."""

    spellings: tuple[str, ...]
    lowest: float
    highest: float
    example: str


# The plausible windows are wide on purpose: they catch a slipped prefix (mHz for
# MHz, F for pF), not an unusual part. Common practice, no published source.
UNITS: dict[Unit, _UnitRule] = {
    "Hz": _UnitRule(spellings=("Hz",), lowest=1.0, highest=1e12, example="7.2MHz"),
    "H": _UnitRule(spellings=("H",), lowest=1e-12, highest=1e3, example="33uH"),
    "F": _UnitRule(spellings=("F",), lowest=1e-17, highest=1e-2, example="150pF"),
    "ohm": _UnitRule(
        spellings=("ohm", "Ohm", "Ω", "\N{OHM SIGN}"),
        lowest=1e-6,
        highest=1e12,
        example="50ohm",
    ),
    "V": _UnitRule(spellings=("V",), lowest=1e-9, highest=1e4, example="0.2V"),
    "m": _UnitRule(spellings=("m",), lowest=1e-7, highest=1e2, example="1.6mm"),
    "s": _UnitRule(spellings=("s",), lowest=1e-9, highest=1e5, example="5ms"),
    "fraction": _UnitRule(spellings=("",), lowest=0.0, highest=1e3, example="1%"),
}
_SHARES = {"%": 1e2, "ppm": 1e6}  # of the whole; divided by, which is exact
_NUMBER = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_SYMBOL = re.compile(r"[^\W\d_]*")  # letters: a prefix and a unit


def parse_quantity(text: str, unit: Unit) -> float:
    """Read a number with an optional SI prefix and unit, in SI.

    Parameters
    ----------
    text
        For instance ``150p``, ``150 pF``, ``1.5e-10``; for a fraction ``1%``,
        ``2ppm`` or ``0.01``.
    unit
        The unit that is expected.

    Returns
    -------
    float
        The value in the base unit (1 for a fraction).

    Raises
    ------
    InputError
        No number, another unit, a reading that is ambiguous or implausible.
    """
    value = _read(text, unit)
    rule = UNITS[unit]
    if value != 0.0 and not rule.lowest <= abs(value) <= rule.highest:
        raise InputError(
            f"{shown(text)} is {value:g} {_shown_unit(unit)}, outside "
            f"{rule.lowest:g} to {rule.highest:g}; check the prefix (an example: "
            f"{rule.example})",
            text=text,
            value=value,
        )
    return value


def _read(text: str, unit: Unit) -> float:
    stripped = text.strip()
    rule = UNITS[unit]
    number = _NUMBER.match(stripped)
    if number is None or "," in stripped or "_" in stripped:
        raise InputError(
            f"{shown(text)} is not a number with a unit; write it like {rule.example}",
            text=text,
        )
    tail = stripped[number.end() :].strip()
    if unit == "fraction":
        return float(number.group()) / _share(tail, text=text)
    if tail in {"", *rule.spellings} and (unit, tail) != ("m", "m"):
        return float(number.group())  # exactly: the library rounds the last digit
    return _prefixed(stripped, tail=tail, unit=unit)


def _share(tail: str, *, text: str) -> float:
    if tail == "":
        return 1.0
    if tail not in _SHARES:
        raise InputError(
            f"{shown(text)} is not a share; write it like 1%, 2ppm or 0.01", text=text
        )
    return _SHARES[tail]


def _prefixed(text: str, *, tail: str, unit: Unit) -> float:
    rule = UNITS[unit]
    if unit == "m" and tail == "m":
        raise InputError(
            f"{shown(text)} could be metres or milli-something; write 1.6mm or 1600mm",
            text=text,
        )
    try:
        # Letters only: the library reads "a = 1pF" and "1pF -- b" as named numbers.
        number = PrefixedNumber(text if _SYMBOL.fullmatch(tail) else "")
    except InvalidNumber as error:
        raise InputError(
            f"{shown(text)} is not a number with a unit; write it like {rule.example}",
            text=text,
        ) from error
    if number.units not in {"", *rule.spellings}:
        raise InputError(
            f"{shown(text)} is not in {_shown_unit(unit)}; write it like "
            f"{rule.example}",
            text=text,
        )
    return float(number)


def parse_stated(text: str, unit: Unit) -> Stated:
    """Read a quantity with what is known of its doubt.

    Parameters
    ----------
    text
        ``150pF +- 1%`` or ``150pF +- 2pF`` are limits (rectangular);
        ``5pF u=0.5pF`` or ``5pF u=10%`` a standard uncertainty (normal);
        ``150pF`` alone is taken as exact. ``±`` and ``+/-`` do for ``+-``.
    unit
        The unit that is expected.

    Raises
    ------
    InputError
        As `parse_quantity`; also for a doubt that is larger than the value.
    """
    head, mark, doubt = _split_doubt(text)
    value = parse_quantity(head, unit)
    if not mark:
        return Stated(value=value)
    width = _width(value, head=head.strip(), doubt=doubt.strip(), unit=unit)
    # A last digit more: a width written by `describe` may have been rounded up.
    if width < 0.0 or (value != 0.0 and width > abs(value) * (1.0 + 1e-6)):
        raise InputError(
            f"{shown(text)}: a doubt of {doubt.strip()[:60]} on {head.strip()[:60]} "
            "says nothing; "
            "give limits smaller than the value",
            text=text,
        )
    if mark == "u":
        return Stated(value=value, u=width)
    return Stated.within(value, half_width=width)


def _width(value: float, *, head: str, doubt: str, unit: Unit) -> float:
    mark = next((mark for mark in _SHARES if doubt.endswith(mark)), "")
    if unit == "fraction":
        if mark and value != 0.0 and not head.endswith(mark):
            raise InputError(
                f"a doubt of {doubt} on {head} could be a share of it or be added to "
                "it; write both alike, as in 0.02 +- 0.001 or 2% +- 0.1%",
                text=doubt,
            )
        return parse_quantity(doubt, unit)
    if not mark:
        # No lower bound: a doubt may be as small as it likes.
        width = _read(doubt, unit)
        return width if abs(width) < abs(value) else parse_quantity(doubt, unit)
    if value == 0.0:
        raise InputError(
            f"a doubt of {doubt} of zero is none; give it in {_shown_unit(unit)}",
            text=doubt,
        )
    return abs(value) * parse_quantity(doubt, "fraction")


def _split_doubt(text: str) -> tuple[str, str, str]:
    match = re.fullmatch(r"(?s)(.*?)(±|\+/?-|\bu\s*=)(.*)", text)
    if match is None or (match[2] == "+-" and not match[1].strip()):
        return text, "", ""
    return match[1], "u" if match[2].startswith("u") else "limits", match[3]


def _shown_unit(unit: Unit) -> str:
    return "1" if unit == "fraction" else unit


def describe(stated: Stated, *, unit: Unit) -> str:
    """Write a stated value as `parse_stated` reads it, to seven digits."""
    value = _written(stated.value, unit=unit)
    if stated.u == 0.0:
        return value
    if stated.distribution == "rectangular":
        return f"{value} +- {_written(stated.u * math.sqrt(3.0), unit=unit)}"
    return f"{value} u={_written(stated.u, unit=unit)}"


def _written(value: float, *, unit: Unit) -> str:
    if unit == "fraction":
        return f"{value:.7g}"
    return str(PrefixedNumber(value, unit).render(prec=6))


def format_quantity(value: float, *, u: float, unit: str) -> tuple[str, str, str]:
    """Round a value to its uncertainty and put an SI prefix before the unit.

    The uncertainty keeps two significant digits and the value is rounded to the
    same place (JCGM 100:2008, 7.2.6).

    Parameters
    ----------
    value, u
        The value and its (standard or expanded) uncertainty, in ``unit``.
    unit
        An SI unit, or ``1`` for a pure number.

    Returns
    -------
    tuple of str
        Rounded value, rounded uncertainty, unit with prefix; an uncertainty of
        zero or beyond finite comes out as ``-`` and four digits of the value.
    """
    if not math.isfinite(value):
        return f"{value:g}", "-", "" if unit == "1" else unit
    prefix, scale = _prefix(value, u=u, unit=unit)
    scaled, scaled_u = value / scale, u / scale
    if not (math.isfinite(u) and u > 0.0):
        return f"{scaled:.4g}", "-", prefix
    return *_rounded(scaled, scaled_u), prefix


def _rounded(value: float, u: float) -> tuple[str, str]:
    """Round to two digits of u > 0; with a power of ten where neither fits without."""
    place = _exponent(float(f"{u:.1e}")) - 1
    power = _exponent(round(max(abs(value), u), -place))
    if place <= 0 and power >= LEAST_POWER:
        return f"{value:.{-place}f}", f"{u:.{-place}f}"
    digits, factor = power - place, 10.0**power
    shown, doubt = (f"{x / factor:.{digits}f}e{power:+03d}" for x in (value, u))
    return shown, doubt


def _exponent(value: float) -> int:
    return int(f"{value:e}".partition("e")[2])


def _prefix(value: float, *, u: float, unit: str) -> tuple[str, float]:
    if unit == "1":
        return "", 1.0
    leading = max(abs(value), u if math.isfinite(u) else 0.0) or 1.0
    power = math.floor(math.log10(leading) / 3.0 + 1e-12) * 3
    # 620 fF known to two digits is no 620: it is 0.62 pF.
    if math.isfinite(u) and u / 10.0**power >= LARGEST_DOUBT:
        power += 3
    power = min(max(power, -15), 9)
    letters = {-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M"}
    return letters.get(power, "G") + ("Ω" if unit == "ohm" else unit), 10.0**power
