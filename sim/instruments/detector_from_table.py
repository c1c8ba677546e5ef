"""From a scene's detector table to the detector."""

import math
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, TypeVar

from ..scene import DiodeProbeTable, PowerMeterTable, ScopeTable, VoltmeterTable
from .detector import DetectorContext, DetectorCore
from .power_meter import PowerMeter, PowerMeterTraits
from .scope import Scope, ScopeTraits
from .voltmeter import DiodeProbe, DiodeProbeTraits, Voltmeter, VoltmeterTraits

__all__ = ["build_detector"]

AnyDetectorTable = ScopeTable | PowerMeterTable | VoltmeterTable | DiodeProbeTable


def _watt(dbm: float) -> float:
    return 1e-3 * math.pow(10.0, dbm / 10.0)


T = TypeVar("T")


def _traits(
    cls: type[T], table: AnyDetectorTable, values: Mapping[str, float], **more: Any
) -> T:
    """Fill traits from the table, with what was drawn and what is worked out."""
    names = [f.name for f in fields(cls) if f.name not in more]  # type: ignore[arg-type] # a dataclass
    taken = {n: values[n] if n in values else getattr(table, n) for n in names}
    return cls(**taken, **more)


def build_detector(
    table: AnyDetectorTable, values: Mapping[str, float], context: DetectorContext
) -> DetectorCore:
    """Build the detector that a table describes.

    Parameters
    ----------
    table
        The scene's table.
    values
        What was drawn from it.
    context
        What every detector is made with.
    """
    if isinstance(table, ScopeTable):
        return Scope(_traits(ScopeTraits, table, values), **context)
    if isinstance(table, PowerMeterTable):
        traits = _traits(
            PowerMeterTraits,
            table,
            values,
            power_max_w=_watt(table.power_max_dbm),
            noise_w=_watt(table.noise_dbm),
        )
        return PowerMeter(traits, **context)
    if isinstance(table, VoltmeterTable):
        return Voltmeter(_traits(VoltmeterTraits, table, values), **context)
    return DiodeProbe(_traits(DiodeProbeTraits, table, values), **context)
