"""What flags a fit that was not refused (refusal.py).

The limits are such that a sound trace raises a false flag about once in a thousand;
benchmarks/fit_robustness.py counts them.
"""

import math

import numpy as np
from scipy import special

from ..errors import FitError
from ..quantity import FloatArray
from .curves import LeakyPeak, Notch, Peak
from .display import clipped, in_coarse_steps
from .family_fit import CARRYING, FamilyFit
from .flags import FEW_FREE, LARGEST_Q_DOUBT, LOW_Q, MANY_GLITCHES, WEAK_PEAK, Flag
from .gauss_newton import minimise
from .judged import BRACKETED, Judged
from .residuals import RISK, show_pattern

__all__ = ["judge"]

SKIRT = 0.75  # half-bandwidths: at 0.8 of the height
FEW_ON_PEAK = 3


def judge(case: Judged) -> tuple[Flag, ...]:
    """Return the reasons to doubt a fit that was not refused."""
    raised = {
        **_place(case),
        **_scatter(case),
        Flag.CLIPPED: clipped(case),
        Flag.COARSE_STEPS: in_coarse_steps(case),
        Flag.RESIDUAL_PATTERN: show_pattern(case.trace, case.found),
        Flag.WEAK_PEAK: case.strength < WEAK_PEAK,
        Flag.ONE_READING: _one_reading(case),
        Flag.NOT_CONVERGED: not case.found.minimum.settled,
        Flag.GLITCHES_REFUSED: case.n_refused > 0,
        Flag.MANY_GLITCHES: case.n_refused > MANY_GLITCHES * case.trace.n_readings,
    }
    return tuple(flag for flag in Flag if raised.get(flag, False))


def _place(case: Judged) -> dict[Flag, bool]:
    """Judge where the readings lie on the curve."""
    q, trace = case.detuning, case.trace
    parameters, found = case.parameters, case.found
    height = trace.amplitude_v if found.response.is_peak else -trace.amplitude_v
    top = q[np.argmax(height)]
    edge = top in (q.min(), q.max())
    left, right = np.count_nonzero(q < -SKIRT), np.count_nonzero(q > SKIRT)
    without_circuit = isinstance(found.response, Peak) or not found.response.is_peak
    return {
        Flag.UNPHYSICAL: _unphysical(found, parameters),
        Flag.NOT_BRACKETED: bool(q.min() > -BRACKETED or q.max() < BRACKETED),
        Flag.PEAK_AT_EDGE: bool(edge),
        Flag.FEW_ON_PEAK: int(np.count_nonzero(np.abs(q) < BRACKETED)) < FEW_ON_PEAK,
        Flag.FEW_IN_SKIRTS: bool(min(left, right) < 2),  # noqa: PLR2004 - as its text says
        Flag.LOW_Q: bool(parameters[1] < LOW_Q and without_circuit),
        Flag.Q_UNCERTAIN: found.u_log_q > LARGEST_Q_DOUBT,
    }


def _one_reading(case: Judged) -> bool:
    """Return whether the highest reading draws the curve, and the rest another one."""
    found, trace = case.found, case.trace
    if not found.response.is_peak or found.n_free < 2:  # noqa: PLR2004 - one to spare
        return False
    top = int(np.argmax(trace.amplitude_v))
    if found.leverage(top) < CARRYING:
        return False
    rest = np.arange(trace.n_readings) != top
    try:
        alone = minimise(
            found.response,
            found.minimum.parameters,
            frequency_hz=trace.frequency_hz[rest],
            amplitude_v=trace.amplitude_v[rest],
            weight=found.weight[rest],
        )
    except FitError:
        return True
    change = math.log(alone.parameters[1] / found.minimum.parameters[1])
    return abs(change) > LARGEST_Q_DOUBT


def _unphysical(found: FamilyFit, parameters: FloatArray) -> bool:
    """Return whether no passive circuit gives the fitted curve."""
    if isinstance(found.response, LeakyPeak):
        doubt = math.sqrt(found.minimum.inverse_normal[4, 4] * found.variance)
        excess = float(parameters[4])
        # Below -s^2 the far skirts would be imaginary; above 1 they top the peak.
        return excess < -3.0 * doubt or float(parameters[3]) ** 2 + excess > 1.0
    if isinstance(found.response, Notch):
        return bool(parameters[3] >= 1.0)
    return False


def _scatter(case: Judged) -> dict[Flag, bool]:
    """Judge the size of the residuals."""
    found = case.found
    raised: dict[Flag, bool] = {Flag.FEW_READINGS: found.degrees_of_freedom < FEW_FREE}
    if found.n_free < 1:
        return raised
    if found.noise_known:
        chi2 = found.minimum.cost / found.variance
        if math.isinf(found.degrees_of_freedom):
            high = special.chdtrc(found.n_free, chi2)
            low = special.chdtr(found.n_free, chi2)
        else:
            ratio, dof = chi2 / found.n_free, found.degrees_of_freedom
            high = special.fdtrc(found.n_free, dof, ratio)
            low = special.fdtr(found.n_free, dof, ratio)
        raised |= {Flag.CHI2_HIGH: bool(high < RISK), Flag.CHI2_LOW: bool(low < RISK)}
    return raised
