"""Turn what was deduced and doubted into a result's parts."""

from collections.abc import Mapping, Sequence

from .propagate import Deduced
from .resonance_fit import ResonanceFit
from .result import Caution, Quantity

__all__ = ["cautions_of", "quantities_of"]


def quantities_of(
    deduced: Sequence[Deduced],
    *,
    units: Mapping[str, str],
    bounds: Mapping[str, float] | None = None,
) -> tuple[Quantity, ...]:
    """Give deduced values their units, in their order.

    Parameters
    ----------
    deduced
        The values.
    units
        By name.
    bounds
        By name, what those are below that cannot be resolved.
    """
    limits = bounds or {}
    return tuple(
        Quantity(
            name=one.name,
            value=one.value,
            unit=units[one.name],
            standard_uncertainty=one.u,
            interval=one.interval,
            budget=one.budget,
            at_most=limits.get(one.name),
        )
        for one in deduced
    )


def cautions_of(found: ResonanceFit) -> tuple[Caution, ...]:
    """Turn a fit's flags into the warnings of a result."""
    return tuple(Caution(code=flag.code, text=flag.text) for flag in found.flags)
