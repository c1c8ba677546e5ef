"""A whole fit under one assumption, and the choice between assumptions.

What can be told by the readings alone is tried as a whole: family, glitches and curve
under each law of the noise that comes in question, and once without the highest
reading where that one carries the curve. Whole fits are compared by their restricted
likelihood (noise_law.py); a reading that was left out counts as one that may have
shown anything up to the highest, and one in twenty does.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..errors import FitError
from .choice import AUTO, Auto, ModelChoice, choose
from .curves import Response
from .family_fit import CARRYING, FamilyFit, fit_family
from .flags import LARGEST_Q_DOUBT
from .glitches import fit_without_glitches
from .noise import PROPORTIONAL_EVIDENCE, NoiseModel, step_in_decibels
from .noise_law import FLOORS, default_law, law_scores, restricted_score, rival_law
from .trace import NoiseLaw, Trace

__all__ = ["WholeFit", "best_whole_fit", "whole_fit"]

BoolArray = NDArray[np.bool_]

GLITCH_SHARE = 0.05  # of readings, before any is seen
CLOSE = 3.0  # short of the evidence: one step of reweighting may still bring it
REWEIGHED = 0.3  # half-bandwidths, and of ln Q, that another law may move
LEAST_FREE = 2  # readings beyond the unknowns, before one is done without


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WholeFit:
    """A fit, which readings it used, how its family was chosen, and its noise."""

    found: FamilyFit
    keep: BoolArray
    choice: ModelChoice | None
    noise: NoiseModel | None


def whole_fit(
    trace: Trace,
    response: Response | Auto,
    noise: NoiseModel | None,
    *,
    refuse_glitches: bool,
) -> WholeFit:
    """Choose a family where none is given, fit it, and leave out glitches.

    Raises
    ------
    FitError
        As `choose` and `fit_family`.
    """
    choice, keep = None, np.ones(trace.n_readings, dtype=np.bool_)
    if response == AUTO:
        choice = choose(trace, noise=noise)
        response = choice.chosen
    found = fit_family(trace, response=response, noise=noise)
    if refuse_glitches:
        found, keep = fit_without_glitches(trace, found, noise=noise)
        if choice is not None and not keep.all():
            choice = choose(trace.select(keep), noise=noise)
            found = fit_family(trace, response=choice.chosen, noise=noise)
            found, keep = fit_without_glitches(trace, found, noise=noise)
    return WholeFit(found=found, keep=keep, choice=choice, noise=noise)


def best_whole_fit(
    trace: Trace,
    response: Response | Auto,
    noise: NoiseModel | None,
    *,
    refuse_glitches: bool,
) -> WholeFit:
    """Return the whole fit that the readings speak for.

    Raises
    ------
    FitError
        As `whole_fit` with what the trace brings.
    """
    open_law = noise is None and trace.u_amplitude_v is None
    if open_law:
        noise = _own_law(trace)
    first = whole_fit(trace, response, noise, refuse_glitches=refuse_glitches)
    rivals: list[WholeFit] = []
    if open_law:
        rivals += _under_other_laws(
            trace, response, first, refuse_glitches=refuse_glitches
        )
    if refuse_glitches:
        rivals += _without_the_highest(trace, response, first)
    if not rivals:
        return first
    best, best_score = first, _score(trace, first)
    for rival in rivals:
        score = _score(trace, rival) + PROPORTIONAL_EVIDENCE
        if score < best_score:
            best, best_score = rival, score
    return best


def _own_law(trace: Trace) -> NoiseModel | None:
    """Return the noise that a trace brings where nobody states any."""
    law = default_law(trace.noise_law)
    if law is None and step_in_decibels(trace.amplitude_v) > 0.0:
        return default_law(NoiseLaw.PROPORTIONAL)  # levels, written as volts
    return law


def _under_other_laws(
    trace: Trace, response: Response | Auto, first: WholeFit, *, refuse_glitches: bool
) -> Iterator[WholeFit]:
    """Give the sound fits of the same resonance under other laws of the noise."""
    for law in _laws_in_question(trace, first):
        try:
            rival = whole_fit(trace, response, law, refuse_glitches=refuse_glitches)
        except FitError:
            continue
        if _sound(rival) and _same_resonance(first, rival):
            yield rival


def _without_the_highest(
    trace: Trace, response: Response | Auto, first: WholeFit
) -> Iterator[WholeFit]:
    """Give the sound fit without the highest reading, where that carries the curve."""
    for index in _carrying(trace, first):
        keep = np.arange(trace.n_readings) != index
        try:
            part = whole_fit(
                trace.select(keep), response, first.noise, refuse_glitches=True
            )
        except FitError:
            continue
        if _sound(part):
            keep[keep] = part.keep
            yield replace(part, keep=keep)


def _laws_in_question(trace: Trace, first: WholeFit) -> list[NoiseModel | None]:
    """Return the laws that may explain the readings better than the trace's own."""
    if first.found.n_free <= LEAST_FREE:
        return []
    used = trace.amplitude_v if first.keep.all() else trace.amplitude_v[first.keep]
    try:
        scores = law_scores(first.found, used, trace.noise_law)
    except np.linalg.LinAlgError:
        return []
    height = float(first.found.minimum.amplitude_v.max())
    lead = scores.score[scores.default] - scores.score
    index, rivals = int(np.argmax(lead)), set[int]()
    if lead[index] > PROPORTIONAL_EVIDENCE - CLOSE:
        rivals.add(index)
    if not first.keep.all():
        # What a wrong law takes for glitches is what would speak against it.
        rivals |= {2, len(FLOORS)} if scores.default == 0 else {0, 2}
    return [rival_law(i, height) for i in sorted(rivals - {scores.default})]


def _carrying(trace: Trace, first: WholeFit) -> list[int]:
    """Return the highest reading where it draws the curve to itself."""
    found, keep = first.found, first.keep
    if found.n_free <= LEAST_FREE or not found.response.is_peak:
        return []
    used = np.flatnonzero(keep)
    top = int(np.argmax(trace.amplitude_v[used]))
    return [int(used[top])] if found.leverage(top) > CARRYING else []


def _sound(rival: WholeFit) -> bool:
    """Return whether the readings that are left still tell the width."""
    return rival.found.u_log_q < LARGEST_Q_DOUBT


def _same_resonance(first: WholeFit, rival: WholeFit) -> bool:
    """Return whether another law merely weighs the same readings anew.

    Weights that make another resonance of them have run away, as those in proportion
    may where few readings stand on the peak.
    """
    if not np.array_equal(first.keep, rival.keep):
        return True
    one, two = first.found.minimum.parameters, rival.found.minimum.parameters
    apart = 2.0 * one[1] * abs(math.log(two[0] / one[0]))
    return bool(apart < REWEIGHED and abs(math.log(two[1] / one[1])) < REWEIGHED)


def _score(trace: Trace, whole: WholeFit) -> float:
    """Return -2 ln of the likelihood of all readings, the refused ones included."""
    keep = whole.keep
    anything = float(trace.amplitude_v.max()) / GLITCH_SHARE
    n_refused = int(np.count_nonzero(~keep))
    score = restricted_score(whole.found, trace.amplitude_v[keep])
    return score + 2.0 * n_refused * math.log(anything)
