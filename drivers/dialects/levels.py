"""Levels of a sine wave: e.m.f., volts across a load, dBm. No I/O.

0 dBm is 1 mW; across 50 ohm that is 0.2236 V r.m.s.; a sine of 1 V r.m.s. is
2 sqrt(2) V peak to peak.
"""

import math
from typing import Literal

__all__ = [
    "LevelUnit",
    "ReadingUnit",
    "level_from_emf",
    "volts_from_dbm",
    "volts_from_reading",
]

LevelUnit = Literal["Vrms", "Vpp", "dBm"]
ReadingUnit = Literal["Vrms", "Vpp", "Vpeak", "dBm", "W"]

_SINE_V_PER_V = {
    "Vrms": 1.0,
    "Vpp": 1.0 / math.sqrt(8.0),
    "Vpeak": 1.0 / math.sqrt(2.0),
}


def level_from_emf(
    emf_v: float, *, source_ohm: float, load_ohm: float, unit: LevelUnit
) -> float:
    """Level to be told to a generator so that its e.m.f. is ``emf_v``.

    Parameters
    ----------
    emf_v
        Open-circuit voltage in V r.m.s., > 0.
    source_ohm
        The generator's source resistance in ohm.
    load_ohm
        The load that the instrument assumes at its output; ``inf``: none.
    unit
        The unit that the instrument is told its level in.
    """
    share = 1.0 if math.isinf(load_ohm) else load_ohm / (source_ohm + load_ohm)
    across_v = emf_v * share
    if unit == "Vrms":
        return across_v
    if unit == "Vpp":
        return across_v * 2.0 * math.sqrt(2.0)
    return 10.0 * math.log10(across_v**2 / load_ohm / 1e-3)


def volts_from_dbm(power_dbm: float, *, load_ohm: float) -> float:
    """R.m.s. volts of a power in dBm across a resistance."""
    return math.sqrt(1e-3 * 10.0 ** (power_dbm / 10.0) * load_ohm)


def volts_from_reading(number: float, *, unit: ReadingUnit, load_ohm: float) -> float:
    """R.m.s. volts of a sine that was read in another unit.

    Parameters
    ----------
    number
        What was read. Below zero (a d.c. voltmeter's or power meter's offset and
        noise about nothing) it means nothing, and gives 0.
    unit
        What it was read in.
    load_ohm
        Resistance in ohm that a power was read across.
    """
    if unit == "dBm":
        return volts_from_dbm(number, load_ohm=load_ohm)
    if unit == "W":
        return math.sqrt(max(number, 0.0) * load_ohm)
    return max(number, 0.0) * _SINE_V_PER_V[unit]
