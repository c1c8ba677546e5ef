"""When a fit is refused (:class:`FitError`), because a number would be a guess.

* A curve that the readings do not need: it explains less than a peak of six standard
  deviations would.
* A peak outside the readings.
* No half-power point within them on either side; or on one side only at Q below 10.
  Where Q is high, a resonance has one shape whatever the circuit, and a flank not
  read can be inferred from the one that was: that is flagged. At low Q it depends on
  the circuit, and cannot.

All else is a flag (doubts.py).
"""

import math

import numpy as np

from ..errors import FitError
from .curves import Abscissa
from .display import clipped
from .flags import LOW_Q
from .judged import BRACKETED, Judged
from .residuals import misfit_of

__all__ = ["refuse_empty_q", "refuse_unbelievable"]

LEAST_PEAK = 6.0  # standard deviations
ALLOWANCE = 3.0  # standard uncertainties of ln Q, which the bracket scales with
MISSING, NOT_NOISE = 0.03, 10.0  # of the height, and times neighbours' scatter


def refuse_unbelievable(case: Judged) -> None:
    """Raise where the readings hold no resonance that can be put in numbers.

    Raises
    ------
    FitError
        No peak, a peak outside the readings, or half-power points outside them.
    """
    shape = "peak" if case.found.response.is_peak else "notch"
    _refuse_no_peak(case, shape)
    _refuse_another_shape(case, shape)
    _refuse_outside(case, shape)
    _refuse_not_bracketed(case)


def _refuse_no_peak(case: Judged, shape: str) -> None:
    """Raise where the readings do not need the curve."""
    spread = np.diagonal(case.found.minimum.inverse_normal) * case.found.variance
    if not (np.all(np.isfinite(case.parameters)) and np.all(np.isfinite(spread))):
        raise FitError(f"no {shape}: the curve that fits best is not a finite one")
    strength = case.strength
    if strength < LEAST_PEAK:
        raise FitError(
            f"no {shape}: the best curve improves on a straight line by "
            f"{strength:.2g} standard deviations only, and noise alone does as much; "
            "sweep elsewhere, or drive harder",
            strength=strength,
        )


def _refuse_outside(case: Judged, shape: str) -> None:
    """Raise where the curve points to a peak beyond the readings."""
    low, high = case.trace.span
    abscissa, centre = case.found.response.abscissa, float(case.parameters[0])
    if not low <= centre <= high:
        unit = abscissa.unit
        raise FitError(
            f"the readings from {low:.9g} to {high:.9g} {unit} do not hold the {shape};"
            f" the curve points to {centre:.9g} {unit}: sweep there",
            **{f"resonant_{abscissa.column}": centre},
        )


def _refuse_not_bracketed(case: Judged) -> None:
    """Raise where too few half-power points lie within the readings."""
    abscissa = case.found.response.abscissa
    centre, q_factor = float(case.parameters[0]), float(case.parameters[1])
    # What noise alone may take from the bracket is allowed for; a flag says it then.
    reach = BRACKETED - ALLOWANCE * case.found.u_log_q
    q = case.detuning
    sides = int(q.min() <= -reach) + int(q.max() >= reach)
    circuit_free = q_factor >= LOW_Q or abscissa is not Abscissa.FREQUENCY
    if sides == 0 or (sides == 1 and not circuit_free):
        low, high = case.trace.span
        unit, where = abscissa.unit, "either side" if sides == 0 else "one side"
        raise FitError(
            f"the bandwidth is not bracketed: with f0 = {centre:.6g} {unit} and Q = "
            f"{q_factor:.3g} the half-power point on {where} lies outside the readings "
            f"from {low:.6g} to {high:.6g} {unit}; widen the sweep",
            **{f"resonant_{abscissa.column}": centre},
            loaded_q=q_factor,
        )


def refuse_empty_q(*, loaded_q: float, u_loaded_q: float) -> None:
    """Raise where Q is uncertain by more than itself: that says nothing.

    Raises
    ------
    FitError
        u(Q) > Q, or no number.
    """
    if not u_loaded_q <= loaded_q:
        raise FitError(
            f"the readings do not tell Q: it comes to {loaded_q:.3g} with a standard "
            f"uncertainty of {u_loaded_q:.2g}, more than itself; read more, and more "
            "finely about the peak",
            loaded_q=loaded_q,
            u_loaded_q=u_loaded_q,
        )


def _refuse_another_shape(case: Judged, shape: str) -> None:
    """Raise where the curve is another one than the readings', whatever its u.

    The uncertainty of a fit is the noise's; where the curve itself misses, it says
    nothing of the error, and no factor on it would.
    """
    found = case.found
    misfit, local = misfit_of(case.trace, found)
    height = math.sqrt(float(np.max(found.weight * found.minimum.amplitude_v**2)))
    missed = misfit > MISSING * height and misfit > NOT_NOISE * local
    # A clipped top says by itself what is wrong.
    if missed and not clipped(case):
        raise FitError(
            f"the readings are not those of one {shape}: the best "
            f"{found.response.label} misses them by {100.0 * misfit / height:.2g} % of "
            f"its height where neighbours agree to {100.0 * local / height:.1g} %; "
            "narrow the sweep to one resonance, or look for what else responds",
            misfit=misfit / height,
        )
    if not found.minimum.settled:
        raise FitError(
            f"no {shape} can be put in numbers: the fit of a {found.response.label} "
            "did not settle, so the response is likely another one"
        )
