"""Let the readings choose among response families, by a criterion that is shown.

The criterion is Schwarz's (1978): ``BIC = chi^2 + p ln N`` where the noise is known,
``N ln(chi^2/N) + p ln N`` where the readings must tell it. The simplest family stands
unless another is better by six, which Kass and Raftery (1995, section 3.2) call strong
evidence. A family that is not ruled out keeps its share ``exp(-BIC/2)``, and the spread
of f0 and Q between the shares goes into their uncertainty (Hoeting et al. 1999, eq. 3):
not knowing the fixture costs something, and here is what.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..errors import FitError
from ..quantity import FloatArray
from .curves import LeakyPeak, Notch, Peak, PeakOnFloor, Response
from .family_fit import FamilyFit, fit_family
from .neighbours import running_median
from .noise import NoiseModel
from .trace import Trace

__all__ = ["AUTO", "Auto", "Candidate", "ModelChoice", "choose"]

Auto = Literal["auto"]
AUTO: Auto = "auto"

CRITERION = "BIC (Schwarz 1978); a family less simple must be better by 6"
STRONG = 6.0
# Of the other excursion: a peak read down to half power rises by 0.4 of its fall, a
# notch's sharp bottom falls by more than half of what the rest rises.
NO_PEAK, NO_NOTCH = 0.25, 0.5
FEW_READINGS = 9  # three times a plain peak's unknowns

# In order of simplicity; k = 0 is the plain Lorentzian, 1, -1 and 2 the fixtures'.
CANDIDATES: tuple[Response, ...] = (
    Peak(exponent=0.0),
    Peak(exponent=1.0),
    Peak(exponent=-1.0),
    Peak(exponent=2.0),
    PeakOnFloor(exponent=0.0),
    Notch(),
    LeakyPeak(exponent=0.0),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One family that was tried.

    Attributes
    ----------
    response
        The family.
    bic
        Its criterion less the smallest of all, or None where it could not be fitted.
    share
        Its share of the belief, 0 to 1.
    resonant_frequency_hz, loaded_q
        What it makes of the readings, or None.
    """

    response: Response
    bic: float | None
    share: float
    resonant_frequency_hz: float | None
    loaded_q: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ModelChoice:
    """How the readings chose a family.

    Attributes
    ----------
    criterion
        Its name and the rule, for a person.
    chosen
        The family that was fitted.
    candidates
        All that were tried, in order of simplicity.
    between
        Covariance of (f0, Q) between the families that remain, shape (2, 2), in Hz
        and 1.
    """

    criterion: str
    chosen: Response
    candidates: tuple[Candidate, ...]
    between: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tried:
    """A family that could be fitted, and its criterion."""

    found: FamilyFit
    score: float


def choose(trace: Trace, *, noise: NoiseModel | None = None) -> ModelChoice:
    """Choose a family for a trace of which the fixture is not known.

    Raises
    ------
    FitError
        No family can be fitted; the sentence is the simplest one's.
    """
    tried = _all_tried(trace, noise)
    scores = np.array([one.score for one in tried])
    best, shares = float(scores.min()), _shares(scores)
    simplest = next(one.found for one in tried if one.score <= best + STRONG)
    between = _between(simplest, [one.found for one in tried], shares)
    between += _of_exponents(trace, simplest, noise)
    rows = {
        one.found.response: _row(one, best=best, share=float(share))
        for one, share in zip(tried, shares, strict=True)
    }
    return ModelChoice(
        criterion=CRITERION,
        chosen=simplest.response,
        candidates=tuple(
            rows.get(response) or _untried(response) for response in CANDIDATES
        ),
        between=between,
    )


def _all_tried(trace: Trace, noise: NoiseModel | None) -> list[_Tried]:
    """Fit the families in question, in order of simplicity.

    Raises
    ------
    FitError
        As `choose`.
    """
    tried: list[_Tried] = []
    first_failure: FitError | None = None
    for response in _in_question(trace):
        try:
            found = fit_family(trace, response=response, noise=noise)
        except FitError as error:
            first_failure = first_failure or error
            continue
        if _possible(found):
            tried.append(_Tried(found=found, score=_criterion(trace, found)))
    if not tried:
        raise first_failure or FitError("the readings hold no resonance")
    if trace.n_readings < FEW_READINGS:
        # So few say nothing of k: the plain peak stands, and k costs its full spread.
        return [replace(one, score=tried[0].score) for one in tried]
    return tried


def _shares(scores: FloatArray) -> FloatArray:
    """Return each family's share of the belief, summing to one."""
    shares: FloatArray = np.exp(-0.5 * (scores - scores.min()))
    shares /= shares.sum()
    return shares


def _row(tried: _Tried, *, best: float, share: float) -> Candidate:
    """Return the row of a family that was fitted."""
    f0, q_factor = (float(one) for one in tried.found.minimum.parameters[:2])
    return Candidate(
        response=tried.found.response,
        bic=tried.score - best,
        share=share,
        resonant_frequency_hz=f0,
        loaded_q=q_factor,
    )


def _in_question(trace: Trace) -> list[Response]:
    """Return the families that the readings' outline allows."""
    if trace.n_readings < FEW_READINGS:
        # A peak's unknowns are the fewest; only what plainly dips is not one.
        simplest = Notch if _dips(trace) else Peak
        return [response for response in CANDIDATES if type(response) is simplest]
    rise, fall = _rise_and_fall(trace)
    # What stands out against the rest upwards only is no notch, and vice versa.
    peaks, notches = rise >= NO_PEAK * fall, fall >= NO_NOTCH * rise
    return [
        response for response in CANDIDATES if (peaks if response.is_peak else notches)
    ]


def _dips(trace: Trace) -> bool:
    """Return whether readings are lowest inside and highest at an end."""
    v = trace.amplitude_v[trace.order]
    lowest, highest = int(np.argmin(v)), int(np.argmax(v))
    return 0 < lowest < v.size - 1 and highest in (0, v.size - 1)


def _of_exponents(
    trace: Trace, chosen: FamilyFit, noise: NoiseModel | None
) -> FloatArray:
    """Return the covariance of f0 and Q that a leaky peak's unknown k makes.

    Leakage takes up most of what x^k does to the skirts, so the readings say little
    of k and f0 leans on it: k = -1 and 1 are weighed against 0 by their criterion.
    """
    if not isinstance(chosen.response, LeakyPeak):
        return np.zeros((2, 2))
    rivals = [chosen]
    for exponent in (-1.0, 1.0):
        try:
            found = fit_family(
                trace,
                response=LeakyPeak(exponent=exponent),
                noise=noise,
                starts=[chosen.minimum.parameters],
            )
        except FitError:
            continue
        if _possible(found):
            rivals.append(found)
    scores = np.array([_criterion(trace, found) for found in rivals])
    return _between(chosen, rivals, _shares(scores))


def _rise_and_fall(trace: Trace) -> tuple[float, float]:
    """Return how far readings stand above and below their median, lone ones apart."""
    smooth = running_median(trace.amplitude_v[trace.order])
    low, middle, high = np.quantile(smooth, (0.0, 0.5, 1.0))
    return float(high - middle), float(middle - low)


def _untried(response: Response) -> Candidate:
    """Return the row of a family that could not be fitted."""
    return Candidate(
        response=response,
        bic=None,
        share=0.0,
        resonant_frequency_hz=None,
        loaded_q=None,
    )


def _possible(found: FamilyFit) -> bool:
    """Return whether a fit is one that a bench can give."""
    parameters = found.minimum.parameters
    if not np.all(np.isfinite(parameters)):
        return False
    if isinstance(found.response, Notch):
        return bool(parameters[3] < 1.0)
    if isinstance(found.response, LeakyPeak):
        # Leakage larger than half the tank's own response is no peak with leakage.
        far = math.hypot(parameters[3], math.sqrt(max(parameters[4], 0.0)))
        doubt = math.sqrt(found.minimum.inverse_normal[4, 4] * found.variance)
        return bool(far < 0.5 and parameters[4] > -3.0 * doubt)  # noqa: PLR2004 - as said
    return True


def _criterion(trace: Trace, found: FamilyFit) -> float:
    """Return Schwarz's criterion."""
    n, p = trace.n_readings, found.minimum.parameters.size
    # Noise that follows the curve differs between families: its own term stays.
    penalty = p * math.log(n) - float(np.sum(np.log(found.weight)))
    if found.noise_known:
        return found.minimum.cost / found.variance + penalty
    return n * math.log(found.cost_of_noise(trace.amplitude_v) / n) + penalty


def _between(
    chosen: FamilyFit, others: list[FamilyFit], shares: FloatArray
) -> FloatArray:
    """Return the covariance of f0 and Q between families about the chosen one's."""
    total = np.zeros((2, 2))
    own = chosen.minimum.parameters[:2]
    for other, share in zip(others, shares, strict=True):
        if other.response.is_peak is not chosen.response.is_peak:
            continue
        apart = other.minimum.parameters[:2] - own
        total += share * np.outer(apart, apart)
    return total
