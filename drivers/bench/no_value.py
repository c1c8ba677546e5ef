"""What it means that a detector has no value, told by a look at a lower level. No I/O.

SCPI-99's 9.9E37 and 9.91E37 (volume 1, 7.2.1.4 and 7.2.1.5) are what instruments
answer to a clipped trace, and what many answer where there is too little to measure.
The detector itself cannot tell the two apart once it has tried all its ranges. The
generator can: at a lower level too much comes into range, and too little stays so.
"""

from ..errors import NoValueError, OverloadError
from ..instruments import Amplitude

__all__ = ["LESS", "amplitude_of_none"]

# The tank stays below 30 V unless its owner says otherwise, and the coarsest range of
# a scope holds 1 V and more: a thirtieth of too much is within it.
LESS = 1.0 / 30.0
TOO_MUCH = 0.5  # of the coarsest range, scaled to the full level; noise is far below


def amplitude_of_none(
    failure: NoValueError, *, at_less: Amplitude | None
) -> Amplitude | None:
    """Tell what no value meant.

    Parameters
    ----------
    failure
        The detector's, with its coarsest and its finest range in V r.m.s.
    at_less
        What it read at `LESS` of the level; None: no value again.

    Returns
    -------
    Amplitude or None
        Too little for the finest range: 0 V on it. None: not yet, for at the full
        level it must have a value; read again.

    Raises
    ------
    OverloadError
        Too much.
    NoValueError
        The detector has no range to tell by, and no value at either level.
    """
    coarsest_v, finest_v = (
        failure.values[f"{end}_v"] for end in ("coarsest", "finest")
    )
    if at_less is not None:
        scaled_v = at_less.amplitude_v / LESS
        if coarsest_v is None or scaled_v >= TOO_MUCH * coarsest_v:
            raise OverloadError(
                "the detector is overloaded: it has no value at this level and reads "
                f"{at_less.amplitude_v:.3g} V at a thirtieth of it; lower the "
                "generator's level, or put an attenuating probe before it"
            )
        if at_less.amplitude_v > finest_v:
            return None  # no noise: that is below the finest range
    if finest_v is None:
        raise NoValueError(
            "the detector has no value, at a thirtieth of the level neither: too "
            "little to measure, or not set up to measure; look at its display, raise "
            "the level, and where this is how it answers too little, name the answer "
            "in its dialect: `nothing = [9.9e37, 9.91e37]` under [reading]",
            **failure.values,
        )
    return Amplitude(amplitude_v=0.0, range_v=finest_v)
