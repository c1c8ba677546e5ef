"""Fit one resonance: f0, Q and height, how sure they are, and when not to believe it.

Least squares is on the amplitudes themselves, weighted by their noise: that is
unbiased to first order and reaches the information limit, where a fit of the
reciprocal power is drawn aside by the noise it inverts. What is left of second order
is computed and taken off (gauss_newton.py).

The way: choose the family where none is given (choice.py), fit it (family_fit.py),
look for glitches (glitches.py) and for a second peak (second_peak.py), refuse
(refusal.py) or flag (doubts.py).
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..errors import FitError
from ..quantity import FloatArray
from .choice import AUTO, Auto, ModelChoice
from .curves import OtherPeak, Response, TwoPeaks
from .doubts import judge
from .family_fit import FamilyFit
from .flags import MANY_GLITCHES, Flag
from .gauss_newton import second_order_bias
from .glitches import spikes_of
from .half_power import HalfPower, half_power
from .judged import Judged
from .noise import NoiseModel, replicate_degrees_of_freedom
from .noise_law import freedom_over_laws, law_scores
from .refusal import refuse_empty_q, refuse_unbelievable
from .residuals import growth_of_pattern, repeats_disagree
from .resonance_fit import ExtraParameter, ResonanceFit
from .second_peak import fit_beside_another
from .trace import Trace
from .whole_fit import best_whole_fit

__all__ = ["AUTO", "ExtraParameter", "ResonanceFit", "fit"]

BoolArray = NDArray[np.bool_]

MAX_BIAS = 0.5  # standard uncertainties; a larger second order is itself in doubt
ENOUGH_REPEATS = 10  # degrees of freedom before repeats tell the noise
UNDECIDED = 1.25  # growth of an uncertainty by the choice of family that is flagged
GHOST_SHARE = 0.5  # a harmonic's share of the height, at most


def fit(
    trace: Trace,
    *,
    response: Response | Auto = AUTO,
    noise: NoiseModel | None = None,
    refuse_glitches: bool = True,
) -> ResonanceFit:
    """Fit a resonance to a trace.

    Parameters
    ----------
    trace
        The readings.
    response
        The family of curves that the fixture makes; "auto" lets the readings choose
        (`ResonanceFit.choice` then shows how), for when nothing is known of it.
    noise
        How uncertain a reading is. By default the trace's own uncertainties; without
        them the scatter of repeats, where there are ten or more and they outnumber
        half of the rest; else the scatter about the curve.
    refuse_glitches
        Whether readings far off the curve are left out (and listed).

    Raises
    ------
    FitError
        Fewer readings than unknowns, no peak, a peak outside the readings, or
        half-power points outside them (refusal.py says when that is only flagged).

    Notes
    -----
    With the family known and noise below a thirtieth of the peak, f0 and Q scatter
    within 3 % of the Cramer-Rao bound with a bias below a tenth of it, and the stated
    uncertainties match within 5 % (benchmarks/fit_efficiency.py).
    """
    # A trial curve may overflow on the way; what is not finite is not taken.
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        try:
            return _fit(trace, response, noise, refuse_glitches=refuse_glitches)
        except FitError:
            spikes = spikes_of(trace)
            if not (refuse_glitches and spikes.any()):
                raise
        return _without_spikes(trace, response, noise, spikes)


def _without_spikes(
    trace: Trace, response: Response | Auto, noise: NoiseModel | None, spikes: BoolArray
) -> ResonanceFit:
    """Fit what is left without spikes that tower over everything else."""
    rest = np.flatnonzero(~spikes)
    found = _fit(trace.select(~spikes), response, noise, refuse_glitches=True)
    refused = sorted([*np.flatnonzero(spikes), *rest[list(found.refused)]])
    flags = {*found.flags, Flag.GLITCHES_REFUSED}
    if len(refused) > MANY_GLITCHES * trace.n_readings:
        flags.add(Flag.MANY_GLITCHES)
    residual = trace.amplitude_v - found.amplitude_at(trace.frequency_hz)
    residual.flags.writeable = False
    return replace(
        found,
        refused=tuple(int(i) for i in refused),
        residual_v=residual,
        flags=tuple(flag for flag in Flag if flag in flags),
    )


def _fit(
    trace: Trace,
    response: Response | Auto,
    noise: NoiseModel | None,
    *,
    refuse_glitches: bool,
) -> ResonanceFit:
    """Choose, fit, clean and judge."""
    if noise is None:
        noise = _noise_of_repeats(trace)
    open_law = noise is None and trace.u_amplitude_v is None
    best = best_whole_fit(trace, response, noise, refuse_glitches=refuse_glitches)
    found, keep, others = fit_beside_another(
        trace, best.found, best.keep, noise=best.noise
    )
    aside = _Aside(keep=keep, others=others, choice=best.choice, open_law=open_law)
    return _result(trace, found, aside)


def _noise_of_repeats(trace: Trace) -> NoiseModel | None:
    """Return the noise that repeats show, where they are enough to go by."""
    if trace.u_amplitude_v is not None:
        return None
    repeats = replicate_degrees_of_freedom(trace)
    if repeats < max(ENOUGH_REPEATS, trace.n_readings // 3):
        return None
    if _repeats_agree(trace):
        return None
    return NoiseModel.from_replicates(trace)


def _repeats_agree(trace: Trace) -> bool:
    """Return whether most repeats are equal: then a display hides the noise."""
    pairs = np.unique(np.stack((trace.frequency_hz, trace.amplitude_v)), axis=1)
    different = int(pairs.shape[1]) - int(np.unique(trace.frequency_hz).size)
    return 2 * different < replicate_degrees_of_freedom(trace)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Aside:
    """What was found beside the numbers."""

    keep: BoolArray
    others: tuple[OtherPeak, ...]
    choice: ModelChoice | None
    open_law: bool  # of the noise: neither stated nor shown by repeats


def _result(trace: Trace, found: FamilyFit, aside: _Aside) -> ResonanceFit:
    """Judge an estimate and turn it into a result."""
    used = trace if aside.keep.all() else trace.select(aside.keep)
    refused = _refused(aside, found)
    parameters = _unbiased(used, found)
    case = Judged(
        trace=used, found=found, parameters=parameters, n_refused=len(refused)
    )
    refuse_unbelievable(case)
    scale = found.response.scale(parameters)
    covariance = found.minimum.inverse_normal * found.variance * np.outer(scale, scale)
    dof = _degrees_of_freedom(used, found, aside)
    flags = judge(case)
    if Flag.RESIDUAL_PATTERN in flags:
        covariance = covariance * growth_of_pattern(used, found)
    if repeats_disagree(trace, found):
        flags = (*(f for f in flags if f is not Flag.CHI2_LOW), Flag.REPEATS_DISAGREE)
    if aside.choice is not None:
        covariance, flags = _with_choice(covariance, flags, aside.choice)
    refuse_empty_q(
        loaded_q=float(parameters[1]), u_loaded_q=math.sqrt(covariance[1, 1])
    )
    flags = _with_others(flags, aside.others, parameters)
    points, missing = _half_power(_believed(trace, refused), found.response)
    result = _numbers(trace, found, parameters, covariance)
    return replace(
        result,
        degrees_of_freedom=dof,
        refused=refused,
        flags=flags,
        others=aside.others,
        choice=aside.choice,
        half_power=points,
        half_power_missing=missing,
    )


def _degrees_of_freedom(used: Trace, found: FamilyFit, aside: _Aside) -> float:
    """Return the degrees of freedom, lowered by the doubt about the noise's law."""
    if not aside.open_law or found.n_free < 1 or found.variance <= 0.0:
        return found.degrees_of_freedom
    try:
        scores = law_scores(found, used.amplitude_v, used.noise_law)
    except np.linalg.LinAlgError:
        return found.degrees_of_freedom
    return freedom_over_laws(found, scores)


def _refused(aside: _Aside, found: FamilyFit) -> tuple[int, ...]:
    """Return the glitches; readings masked with another peak are none."""
    if aside.others and not isinstance(found.response, TwoPeaks):
        return ()
    return tuple(int(i) for i in np.flatnonzero(~aside.keep))


def _numbers(
    trace: Trace, found: FamilyFit, parameters: FloatArray, covariance: FloatArray
) -> ResonanceFit:
    """Return the result's numbers; what was found beside them is added later."""
    response, minimum = found.response, found.minimum
    centre, q_factor = float(parameters[0]), float(parameters[1])
    u = np.sqrt(np.diagonal(covariance))
    width = centre / q_factor
    slope = np.array([1.0 / q_factor, -width / q_factor])
    u_width = math.sqrt(float(slope @ covariance[:2, :2] @ slope))
    core = covariance[:3, :3].copy()
    residual = trace.amplitude_v - response.amplitude(trace.frequency_hz, parameters)
    for array in (core, residual):
        array.flags.writeable = False
    peak_weight = float(found.weight[np.argmax(minimum.amplitude_v)])
    chi2 = minimum.cost / (found.variance * found.n_free) if found.n_free else None
    return ResonanceFit(
        response=response,
        centre=centre,
        u_centre=float(u[0]),
        loaded_q=q_factor,
        u_loaded_q=float(u[1]),
        half_width=width / response.abscissa.half_widths,
        u_half_width=u_width / response.abscissa.half_widths,
        amplitude_v=float(parameters[2]),
        u_amplitude_v=float(u[2]),
        covariance=core,
        extra=_extra(response, parameters[3:], u[3:]),
        reduced_chi2=chi2,
        degrees_of_freedom=found.degrees_of_freedom,
        noise_v=math.sqrt(found.variance / peak_weight),
        noise_source=found.noise_source,
        n_readings=int(found.weight.size),
        refused=(),
        residual_v=residual,
        flags=(),
        others=(),
        choice=None,
        half_power=None,
        half_power_missing="",
    )


def _extra(
    response: Response, values: FloatArray, u_values: FloatArray
) -> tuple[ExtraParameter, ...]:
    """Name the parameters beyond centre, Q and height."""
    return tuple(
        ExtraParameter(name=name, value=float(value), u_value=float(u_value))
        for name, value, u_value in zip(
            response.extra_names, values, u_values, strict=True
        )
    )


def _unbiased(trace: Trace, found: FamilyFit) -> FloatArray:
    """Return the parameters less their bias of second order in the noise."""
    minimum, response = found.minimum, found.response
    variance = np.diagonal(minimum.inverse_normal) * found.variance
    if found.variance <= 0.0:
        return minimum.parameters
    try:
        bias = second_order_bias(
            response,
            minimum,
            frequency_hz=trace.frequency_hz,
            weight=found.weight,
            variance=found.variance,
        )
    except np.linalg.LinAlgError:
        return minimum.parameters
    # Q and A are stepped in their logarithms: the mean of exp(d) is 1 + var(d)/2
    bias[1:3] += 0.5 * variance[1:3]
    if not np.all(np.abs(bias) <= MAX_BIAS * np.sqrt(variance)):
        return minimum.parameters
    return response.step(minimum.parameters, -bias)


def _with_choice(
    covariance: FloatArray, flags: tuple[Flag, ...], choice: ModelChoice
) -> tuple[FloatArray, tuple[Flag, ...]]:
    """Return the covariance and the flags with the doubt about the family."""
    wider = covariance.copy()
    wider[:2, :2] += choice.between
    growth = np.sqrt(np.diagonal(wider)[:2] / np.diagonal(covariance)[:2])
    if np.any(growth > UNDECIDED):
        flags = (*flags, Flag.MODEL_UNDECIDED)
    return wider, flags


def _with_others(
    flags: tuple[Flag, ...], others: tuple[OtherPeak, ...], parameters: FloatArray
) -> tuple[Flag, ...]:
    """Return the flags with those that another peak raises."""
    f0, q_factor, height = (float(p) for p in parameters[:3])
    for other in others:
        flags = (*flags, Flag.SECOND_PEAK)
        fraction = f0 / other.frequency_hz
        near = abs(fraction - round(fraction)) < fraction / q_factor
        if (
            near
            and round(fraction) in (2, 3)
            and (other.amplitude_v < GHOST_SHARE * height)
        ):
            flags = (*flags, Flag.GHOST)
    return flags


def _believed(trace: Trace, refused: tuple[int, ...]) -> Trace:
    """Return the trace without the readings that the fit refused."""
    if not refused:
        return trace
    keep = np.ones(trace.n_readings, dtype=np.bool_)
    keep[list(refused)] = False
    return trace.select(keep)


def _half_power(trace: Trace, response: Response) -> tuple[HalfPower | None, str]:
    """Return the half-power points, or why there are none."""
    if not response.is_peak:
        return None, "a notch has no half-power points of a peak"
    try:
        return half_power(trace, abscissa=response.abscissa), ""
    except FitError as error:
        return None, str(error)
