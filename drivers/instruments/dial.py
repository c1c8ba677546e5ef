"""What a person reads off a dial or a needle, as a number in SI. No I/O."""

import re
from dataclasses import dataclass

from ...analysis.errors import InputError
from ...analysis.quantity import parse_quantity
from ..dialects import ReadingUnit, volts_from_reading

__all__ = ["DialReading", "parse_amplitude", "parse_capacitance", "parse_frequency"]

_READ = re.compile(
    r"\s*(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(?P<unit>\S*)\s*",
    re.ASCII,
)
_PREFIXES = {"": 1.0, "k": 1e3, "m": 1e-3, "u": 1e-6, "\N{MICRO SIGN}": 1e-6}
_VOLT_ENDINGS: dict[str, ReadingUnit] = {
    "V": "Vrms",
    "Vrms": "Vrms",
    "Vpp": "Vpp",
    "Vp": "Vpeak",
    "Vpk": "Vpeak",
}
HIGHEST_V = 1e4
HIGHEST_DBM, LOWEST_DBM = 90.0, -180.0  # a megawatt, and below any receiver's noise
EXAMPLE = "340mV, 0.96Vpp or -12.5dBm"


@dataclass(frozen=True, slots=True, kw_only=True)
class DialReading:
    """An amplitude in V r.m.s., and the unit that it was told in (``mV``)."""

    amplitude_v: float
    unit: str


def parse_frequency(text: str) -> float:
    """Read a frequency with its unit, in Hz.

    Raises
    ------
    InputError
        It is none.
    """
    return parse_quantity(text, "Hz")


def parse_capacitance(text: str) -> float:
    """Read a capacitance as it stands on a dial, in F; a bare number is in pF.

    Raises
    ------
    InputError
        It is none.
    """
    bare = _READ.fullmatch(text)
    if bare is not None and not bare["unit"]:
        text = f"{bare['number']}pF"
    capacitance_f = parse_quantity(text, "F")
    if capacitance_f <= 0.0:
        raise InputError(f"{text.strip()!r} is not above zero; look again")
    return capacitance_f


def parse_amplitude(text: str, *, load_ohm: float, unit: str = "") -> DialReading:
    """Read an amplitude as it is written on the dial.

    Parameters
    ----------
    text
        ``340mV`` (r.m.s.), ``0.96 Vpp``, ``-12.5 dBm``, ``2 mW``.
    load_ohm
        Resistance in ohm that a power is told across.
    unit
        The unit of a number that has none; empty: it must have one.

    Returns
    -------
    DialReading
        In V r.m.s.

    Raises
    ------
    InputError
        Not a number, no unit or an unknown one, or no amplitude at all.
    """
    match = _READ.fullmatch(text)
    if match is None:
        raise InputError(f"{text.strip()!r} is not a reading; write it like {EXAMPLE}")
    number, written = float(match["number"]), match["unit"] or unit
    if not written:
        raise InputError(f"{text.strip()!r} has no unit; write it like {EXAMPLE}")
    factor, quantity = _unit_of(written, text=text)
    if quantity == "dBm":
        if not LOWEST_DBM <= number <= HIGHEST_DBM:
            raise InputError(f"{number:g} dBm cannot be; look again")
    elif number < 0.0:
        raise InputError(f"{text.strip()!r} is below zero, and no amplitude is")
    amplitude_v = volts_from_reading(number * factor, unit=quantity, load_ohm=load_ohm)
    if not amplitude_v <= HIGHEST_V:
        raise InputError(f"{text.strip()!r} is more than a detector reads; look again")
    return DialReading(amplitude_v=amplitude_v, unit=written)


def _unit_of(written: str, *, text: str) -> tuple[float, ReadingUnit]:
    if written.casefold() == "dbm":
        return 1.0, "dBm"
    for ending, quantity in {**_VOLT_ENDINGS, "W": "W"}.items():
        prefix = written.removesuffix(ending)
        if written.endswith(ending) and prefix in _PREFIXES:
            return _PREFIXES[prefix], quantity
    raise InputError(
        f"{text.strip()!r} is in no unit that is known here; write it like {EXAMPLE}"
    )
