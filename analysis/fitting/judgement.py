"""Whether to believe a fit: what refuses it, and what flags it.

Refused (:class:`FitError`), because a number would be a guess:

* a curve that the readings do not need: it explains less than a peak of six standard
  deviations would;
* a peak outside the readings;
* no half-power point within them on either side; or on one side only at Q below 10.
  Where Q is high, a resonance has one shape whatever the circuit, and a flank not
  read can be inferred from the one that was: that is flagged. At low Q it depends on
  the circuit, and cannot.

All else is a flag. The limits are such that a sound trace raises a false flag about
once in a thousand; benchmarks/fit_robustness.py counts them.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from ..errors import FitError
from ..quantity import FloatArray
from .curves import LeakyPeak, Notch, Peak
from .family_fit import FamilyFit
from .flags import Flag
from .gauss_newton import minimise
from .noise import DB_TO_RELATIVE, step_in_decibels
from .trace import Trace

__all__ = [
    "MANY",
    "Judged",
    "growth_of_pattern",
    "judge",
    "misfit_of",
    "refuse_empty_q",
    "refuse_unbelievable",
    "repeats_disagree",
]

RISK = 5e-4  # of a false flag, for each test of its own
LEAST_PEAK, WEAK_PEAK = 6.0, 8.0  # standard deviations
BRACKETED = 1.0  # half-bandwidths
ALLOWANCE = 3.0  # standard uncertainties of ln Q, which the bracket scales with
SKIRT = 0.75  # half-bandwidths: at 0.8 of the height
LOW_Q = 10.0
LARGEST_Q_DOUBT = 1.0 / 3.0
FEW_FREE = 10
MANY = 0.1  # of the readings: more glitches than that are flagged
MIN_FLAT = 3
COARSE = 2.4  # steps per standard deviation where the noise is a third of a step
DOMINANT_STEP = 0.2
MIN_GAPS, STEP_TOLERANCE = 5, 0.05  # levels enough, and even enough, to be steps
MISSING, NOT_NOISE = 0.03, 10.0  # of the height, and times neighbours' scatter
LEAST_NEIGHBOURS = 9
MOST_TOGETHER = 0.95
MAD_OF_SECOND_DIFFERENCE = 1.4826 / math.sqrt(6.0)
CARRYING = 0.5  # leverage from which on the highest reading is tried without
APART = 8.0  # times the others' scatter that repeats may differ by
ROUNDING = 1e-20  # of the readings' power: residuals below it are arithmetic


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """What is judged: the readings used, the fit to them, and its parameters."""

    trace: Trace
    found: FamilyFit
    parameters: FloatArray
    n_refused: int

    @property
    def detuning(self) -> FloatArray:
        """Readings' places in half-bandwidths, shape (N,)."""
        return self.found.response.detuning(self.trace.frequency_hz, self.parameters)

    @property
    def noise(self) -> float:
        """Standard deviation of a reading of unit weight; the larger of two views."""
        spread = self.found.minimum.cost / max(self.found.n_free, 1)
        return math.sqrt(max(spread if self.found.n_free else 0.0, self.found.variance))


def refuse_unbelievable(case: Judged) -> None:
    """Raise where the readings hold no resonance that can be put in numbers.

    Raises
    ------
    FitError
        No peak, a peak outside the readings, or half-power points outside them.
    """
    trace, unit = case.trace, case.found.response.abscissa_unit
    shape = "peak" if case.found.response.is_peak else "notch"
    spread = np.diagonal(case.found.minimum.inverse_normal) * case.found.variance
    if not (np.all(np.isfinite(case.parameters)) and np.all(np.isfinite(spread))):
        raise FitError(f"no {shape}: the curve that fits best is not a finite one")
    strength = _strength(case)
    if strength < LEAST_PEAK:
        raise FitError(
            f"no {shape}: the best curve improves on a straight line by "
            f"{strength:.2g} standard deviations only, and noise alone does as much; "
            "sweep elsewhere, or drive harder",
            strength=strength,
        )
    _refuse_another_shape(case, shape)
    low, high = float(trace.frequency_hz.min()), float(trace.frequency_hz.max())
    f0, q_factor = float(case.parameters[0]), float(case.parameters[1])
    if not low <= f0 <= high:
        raise FitError(
            f"the readings from {low:.9g} to {high:.9g} {unit} do not hold the {shape};"
            f" the curve points to {f0:.9g} {unit}: sweep there",
            resonant_frequency_hz=f0,
        )
    # What noise alone may take from the bracket is allowed for; a flag says it then.
    q, inverse = case.detuning, case.found.minimum.inverse_normal
    reach = BRACKETED - ALLOWANCE * math.sqrt(inverse[1, 1] * case.found.variance)
    sides = int(q.min() <= -reach) + int(q.max() >= reach)
    circuit_free = q_factor >= LOW_Q or unit != "Hz"
    if sides == 0 or (sides == 1 and not circuit_free):
        where = "either side" if sides == 0 else "one side"
        raise FitError(
            f"the bandwidth is not bracketed: with f0 = {f0:.6g} {unit} and Q = "
            f"{q_factor:.3g} the half-power point on {where} lies outside the readings "
            f"from {low:.6g} to {high:.6g} {unit}; widen the sweep",
            resonant_frequency_hz=f0,
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
    if missed and not _readings(case)[Flag.CLIPPED]:
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


def misfit_of(trace: Trace, found: FamilyFit) -> tuple[float, float]:
    """Return the r.m.s. residual that neighbours share, and the scatter they do not.

    Both in units of the readings' own weights. Lone far readings count in neither.
    """
    order = np.argsort(trace.frequency_hz, kind="stable")
    residual = (trace.amplitude_v - found.minimum.amplitude_v) * np.sqrt(found.weight)
    residual = residual[order]
    if residual.size < LEAST_NEIGHBOURS:
        return 0.0, math.inf
    bend = np.abs(np.diff(residual, n=2))
    local = MAD_OF_SECOND_DIFFERENCE * float(np.median(bend))
    shared = float(np.mean(residual[1:] * residual[:-1]))
    return math.sqrt(max(shared, 0.0)), local


def growth_of_pattern(trace: Trace, found: FamilyFit) -> float:
    """Return by what neighbours that go together multiply a variance.

    With a first autocorrelation r, N readings count as N (1 - r)/(1 + r).
    """
    order = np.argsort(trace.frequency_hz, kind="stable")
    residual = (trace.amplitude_v - found.minimum.amplitude_v) * np.sqrt(found.weight)
    residual = residual[order]
    power = float(residual @ residual)
    if power <= 0.0:
        return 1.0
    together = float(residual[1:] @ residual[:-1]) / power
    together = min(max(together, 0.0), MOST_TOGETHER)
    return (1.0 + together) / (1.0 - together)


def judge(case: Judged) -> tuple[Flag, ...]:
    """Return the reasons to doubt a fit that was not refused."""
    raised = {
        **_place(case),
        **_scatter(case),
        **_readings(case),
        Flag.WEAK_PEAK: _strength(case) < WEAK_PEAK,
        Flag.ONE_READING: _one_reading(case),
        Flag.NOT_CONVERGED: not case.found.minimum.settled,
        Flag.GLITCHES_REFUSED: case.n_refused > 0,
        Flag.MANY_GLITCHES: case.n_refused > MANY * case.trace.n_readings,
    }
    return tuple(flag for flag in Flag if raised.get(flag, False))


def _strength(case: Judged) -> float:
    """Return how many standard deviations the curve improves on a straight line."""
    trace, weight = case.trace, case.found.weight
    centred = trace.frequency_hz / trace.frequency_hz.mean() - 1.0
    columns = np.stack((np.ones_like(centred), centred)) * np.sqrt(weight)
    y = trace.amplitude_v * np.sqrt(weight)
    normal = columns @ columns.T
    line = np.linalg.lstsq(normal, columns @ y, rcond=None)[0] @ columns
    gain = float(np.sum((y - line) ** 2)) - case.found.minimum.cost
    noise = case.noise
    if gain <= 0.0:
        return 0.0
    # A fit without residuals to speak of is as strong as double precision tells.
    return math.sqrt(gain) / max(noise, 1e-9 * math.sqrt(float(y @ y)))


def _place(case: Judged) -> dict[Flag, bool]:
    """Judge where the readings lie on the curve."""
    q, trace = case.detuning, case.trace
    parameters, found = case.parameters, case.found
    u_q = math.sqrt(found.minimum.inverse_normal[1, 1] * found.variance)
    height = trace.amplitude_v if found.response.is_peak else -trace.amplitude_v
    top = q[np.argmax(height)]
    edge = top in (q.min(), q.max())
    left, right = np.count_nonzero(q < -SKIRT), np.count_nonzero(q > SKIRT)
    circuit_free = isinstance(found.response, Peak) or not found.response.is_peak
    return {
        Flag.UNPHYSICAL: _unphysical(found, parameters),
        Flag.NOT_BRACKETED: bool(q.min() > -BRACKETED or q.max() < BRACKETED),
        Flag.PEAK_AT_EDGE: bool(edge),
        Flag.FEW_ON_PEAK: int(np.count_nonzero(np.abs(q) < BRACKETED)) < MIN_FLAT,
        Flag.FEW_IN_SKIRTS: bool(min(left, right) < 2),  # noqa: PLR2004 - as its text says
        Flag.LOW_Q: bool(
            parameters[1] < LOW_Q
            and circuit_free
            and found.response.abscissa_unit == "Hz"
        ),
        Flag.Q_UNCERTAIN: u_q > LARGEST_Q_DOUBT,
    }


def _one_reading(case: Judged) -> bool:
    """Return whether the highest reading draws the curve, and the rest another one."""
    found, trace = case.found, case.trace
    if not found.response.is_peak or found.n_free < 2:  # noqa: PLR2004 - one to spare
        return False
    top = int(np.argmax(trace.amplitude_v))
    slope = found.minimum.slopes[:, top]
    pull = float(slope @ found.minimum.inverse_normal @ slope * found.weight[top])
    if pull < CARRYING:
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


def repeats_disagree(trace: Trace, found: FamilyFit) -> bool:
    """Return whether repeats at a frequency fall into groups far apart.

    Far is eight times the scatter of the residuals at all other frequencies, robustly
    taken; a lone far repeat is a glitch and no group, unless it is one of two.
    """
    curve = found.response.amplitude(trace.frequency_hz, found.minimum.parameters)
    residual = trace.amplitude_v - curve
    _, where, count = np.unique(
        trace.frequency_hz, return_inverse=True, return_counts=True
    )
    for group in np.flatnonzero(count >= 4):  # noqa: PLR2004 - two and two
        own = np.sort(residual[where == group])
        gaps = np.diff(own)[1:-1]  # two readings at least on either side
        others = residual[where != group]
        if others.size < LEAST_NEIGHBOURS:
            continue
        scatter = 1.4826 * float(np.median(np.abs(others - np.median(others))))
        inside = float(own[-1] - own[0] - gaps.max())
        if gaps.max() > max(APART * scatter, 2.0 * inside):
            return True
    return False


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
    """Judge the size and the pattern of the residuals."""
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
    power = float(found.weight @ case.trace.amplitude_v**2)
    if found.minimum.cost <= ROUNDING * power:
        return raised
    order = np.argsort(case.trace.frequency_hz, kind="stable")
    residual = (case.trace.amplitude_v - found.minimum.amplitude_v) * np.sqrt(
        found.weight
    )
    raised[Flag.RESIDUAL_PATTERN] = (
        _neighbours_agree(residual[order], found.minimum.parameters.size)
        or _other_shape(case, residual)
        or _lack_of_fit(case.trace.frequency_hz, residual, found)
    )
    return raised


def _neighbours_agree(residual: FloatArray, n_parameters: int) -> bool:
    """Return whether neighbouring residuals share their sign and size too often.

    The first autocorrelation of N white residuals has the variance 1/N nearly; a fit
    of p parameters lowers its mean by about p/N, which is not made use of.
    """
    power = float(residual @ residual)
    n_free = residual.size - n_parameters
    if power <= 0.0 or n_free < MIN_FLAT:
        return False
    together = float(residual[1:] @ residual[:-1]) / power
    return together * math.sqrt(residual.size) > float(special.ndtri(1.0 - RISK))


def _other_shape(case: Judged, residual: FloatArray) -> bool:
    """Return whether a floor, leakage or another slope would take up the residuals.

    A score test: residuals are projected on what those shapes would add, less what
    the fitted parameters take up already. Beside the flag of neighbours it sees the
    faults that cost Q most, on few readings too.
    """
    found = case.found
    response = found.response
    if type(response) is not Peak or found.n_free < 2 * MIN_FLAT:
        return False
    leaky = LeakyPeak(exponent=response.exponent)
    _, slopes = leaky.amplitude_and_slopes(
        case.trace.frequency_hz, np.append(found.minimum.parameters, (0.0, 0.0))
    )
    root = np.sqrt(found.weight)
    basis = np.linalg.qr((slopes * root).T)[0][:, 3:]
    taken = float(np.sum((basis.T @ residual) ** 2))
    left = max(float(residual @ residual) - taken, 1e-300)
    n_left = found.n_free - basis.shape[1]
    ratio = (taken / basis.shape[1]) / (left / n_left)
    return bool(special.fdtrc(basis.shape[1], n_left, ratio) < RISK)


def _lack_of_fit(frequency: FloatArray, residual: FloatArray, found: FamilyFit) -> bool:
    """Return whether repeated readings agree better among themselves than with it."""
    _, where, count = np.unique(frequency, return_inverse=True, return_counts=True)
    pure_dof = int(frequency.size - count.size)
    lack_dof = int(count.size) - found.minimum.parameters.size
    if pure_dof < MIN_FLAT or lack_dof < 1:
        return False
    mean = np.bincount(where, weights=residual) / count
    pure = float(np.sum((residual - mean[where]) ** 2))
    lack = float(residual @ residual) - pure
    if pure <= 0.0:
        return False
    ratio = (lack / lack_dof) / (pure / pure_dof)
    return bool(special.fdtrc(lack_dof, pure_dof, ratio) < RISK)


def _readings(case: Judged) -> dict[Flag, bool]:
    """Judge the readings themselves: clipped, or in coarse steps."""
    amplitude, found = case.trace.amplitude_v, case.found
    levels = np.unique(amplitude)
    step = _step(levels)
    scatter = case.noise / math.sqrt(float(np.median(found.weight)))
    n_equal = int(amplitude.size - levels.size)  # readings that another one repeats
    at_top = amplitude == levels[-1]
    n_top = int(np.count_nonzero(at_top))
    if n_equal > n_top - 1 and step > DOMINANT_STEP * scatter:
        # Steps make flat tops of their own: clipped is what is wider than a step.
        rise = float(np.ptp(found.minimum.amplitude_v[at_top]))
        flat = n_top >= MIN_FLAT and rise > step
    else:
        # Of readings that vary freely, even two rarely agree to the last digit.
        flat = n_top >= (MIN_FLAT if n_equal > n_top - 1 else 2)
    if np.ptp(case.trace.frequency_hz[at_top]) == 0.0:
        flat = False  # one frequency read again
    return {
        Flag.CLIPPED: found.response.is_peak and flat,
        Flag.COARSE_STEPS: (n_equal > MANY * amplitude.size and step > COARSE * scatter)
        or _coarse_in_decibels(levels, case),
    }


def _coarse_in_decibels(levels: FloatArray, case: Judged) -> bool:
    """Return whether levels are even in decibels, in steps larger than the scatter."""
    step = step_in_decibels(levels)
    scatter = (
        case.noise
        / np.sqrt(case.found.weight)
        / np.maximum(case.found.minimum.amplitude_v, 1e-300)
    )
    return step > COARSE * float(np.median(scatter)) / DB_TO_RELATIVE


def _step(levels: FloatArray) -> float:
    """Return the step that all levels are multiples of apart, or 0."""
    gaps = np.diff(levels)
    gaps = gaps[gaps > 1e-9 * levels[-1]]
    if gaps.size < MIN_GAPS:
        return 0.0
    count = gaps / gaps.min()
    even = bool(np.all(np.abs(count - np.round(count)) < STEP_TOLERANCE * count))
    return float(gaps.min()) if even else 0.0
