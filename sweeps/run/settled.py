"""Had the instruments settled? What a sweep's own readings say of it."""

import math
from collections.abc import Sequence

import numpy as np

from ...analysis.fitting import Lag
from ...analysis.quantity import Caution, format_quantity
from ...analysis.reading import SETTLING_TAUS, Reading

__all__ = ["NOT_SETTLED", "settling_cautions"]

NOT_SETTLED = "not_settled"
TOLD = (1e-4, 0.9)  # shares of the reading before that tell a time


def settling_cautions(
    lag: Lag | None, *, readings: Sequence[Reading]
) -> tuple[Caution, ...]:
    """Say so where readings were taken before the instruments had settled.

    Parameters
    ----------
    lag
        What the readings kept of the one before; None: it cannot be told.
    readings
        All of a sweep, in the order taken.
    """
    if lag is None or not lag.significant:
        return ()
    return (
        Caution(
            code=NOT_SETTLED,
            text=f"every reading still held about {100.0 * lag.share:.2g} % of the one "
            f"before, which moved Q by about {100.0 * lag.moved_q:+.2g} %: generator "
            f"or detector had not settled{_needed(lag, readings)}; state a longer "
            "settle in the bench file, which halfpower bench check measures, and "
            "measure again",
        ),
    )


def _needed(lag: Lag, readings: Sequence[Reading]) -> str:
    """Say how long it would take, where share and times tell."""
    each_s = float(np.median(np.diff([one.time_s for one in readings])))
    low, high = TOLD
    if each_s <= 0.0 or not low < lag.share < high:
        return ""
    needed_s = SETTLING_TAUS * each_s / -math.log(lag.share)
    value, _, unit = format_quantity(needed_s, u=needed_s / 2.0, unit="s")
    return f" (about {value} {unit} from reading to reading would do)"
