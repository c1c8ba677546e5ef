"""Which law the noise follows, where its size is not stated and repeats do not show it.

The variance of a reading is ``s^2 h`` with ``h = 1`` (constant) or
``h = e^2 + (V/A)^2`` (in proportion, down to a constant share e of what it is at the
peak), V from the curve and s from the residuals. Laws are compared by the restricted
likelihood (Patterson and Thompson 1971; Harville 1977, eq. 3.3)

    -2 ln L = (N - p) ln s^2 + sum ln h + ln det(J^T H^-1 J)

which, unlike the plain one, does not take a law for better because its curve lies
closer to the few readings that it weighs most. The law that a trace brings
(`Trace.noise_law`) stands unless another is better by `PROPORTIONAL_EVIDENCE`.

A law that is not ruled out is not forgotten either: weights of the wrong law leave
f0 and Q unbiased but change how they scatter, and that is known for every law (White
1980, eq. 6). How far the laws disagree about the uncertainty, by their shares, is how
badly it is known: it lowers the degrees of freedom, and Student's t widens the
interval. The standard uncertainty stays that of the law that was taken.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..quantity import FloatArray
from .family_fit import ROUNDING, FamilyFit
from .noise import NoiseModel
from .trace import NoiseLaw

__all__ = [
    "LawScores",
    "default_law",
    "freedom_over_laws",
    "law_scores",
    "restricted_score",
    "rival_law",
]

# Constant shares of the noise at the peak; 1e-3 is what NoiseModel calls none.
FLOORS = (0.3, 0.1, 0.03, 1e-3)

LEAST_DOF = 2.0  # of an interval, however the laws disagree
SMALL_SPREAD = 1e-6  # arithmetic
NO_SHARE = 0.01  # of belief: not worth a matrix


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LawScores:
    """How the laws stand about one curve.

    Attributes
    ----------
    score
        -2 ln L of each law, the constant one first, then `FLOORS`; shape (L,).
    variance
        s^2 of each, shape (L,), in V^2 at the peak.
    relative_variance
        h of each at each reading, shape (L, N).
    default
        Index of the law that the trace brought.
    """

    score: FloatArray
    variance: FloatArray
    relative_variance: FloatArray
    default: int

    @property
    def shares(self) -> FloatArray:
        """Belief in each law, shape (L,), summing to one.

        Half the belief is in the trace's own law beforehand and half in the others.
        """
        before = np.full(self.score.size, 1.0 / len(FLOORS))
        before[self.default] = 1.0
        belief: FloatArray = before * np.exp(-0.5 * (self.score - self.score.min()))
        belief /= belief.sum()
        return belief


def default_law(law: NoiseLaw) -> NoiseModel | None:
    """Return the noise that a trace's law makes; None is the plain constant one."""
    if law is NoiseLaw.PROPORTIONAL:
        return NoiseModel(proportional=1.0, scale_known=False)
    return None


def rival_law(index: int, height_v: float) -> NoiseModel | None:
    """Return the law of an index into `LawScores`, for a peak of `height_v` in V."""
    if index == 0:
        return None
    floor = FLOORS[index - 1]
    constant = floor * height_v if floor > FLOORS[-1] else 0.0
    return NoiseModel(constant_v=constant, proportional=1.0, scale_known=False)


def law_scores(found: FamilyFit, amplitude_v: FloatArray, law: NoiseLaw) -> LawScores:
    """Judge the laws about a fitted curve, each after one step of its own weights.

    Parameters
    ----------
    found
        The fit, by whatever weights.
    amplitude_v
        The readings it used in V, shape (N,).
    law
        Which one the trace brought.
    """
    curve, slopes = found.minimum.amplitude_v, found.minimum.slopes
    residual = amplitude_v - curve
    level = curve / max(float(curve.max(initial=0.0)), 1e-300)
    h = np.ones((1 + len(FLOORS), curve.size))
    h[1:] = np.square(FLOORS)[:, None] + level * level
    weighted = slopes[None] / h[:, None, :]
    normal = weighted @ slopes.T
    gradient = weighted @ residual
    step = np.linalg.solve(normal, gradient[..., None])[..., 0]
    gain = np.einsum("lp,lp->l", step, gradient)
    n_free = max(found.n_free, 1)
    floor = ROUNDING * float(amplitude_v @ amplitude_v)
    variance = np.maximum((residual * residual / h).sum(axis=1) - gain, floor) / n_free
    score = (
        n_free * np.log(variance) + np.log(h).sum(axis=1) + np.linalg.slogdet(normal)[1]
    )
    default = len(FLOORS) if law is NoiseLaw.PROPORTIONAL else 0
    return LawScores(
        score=score, variance=variance, relative_variance=h, default=default
    )


def freedom_over_laws(found: FamilyFit, scores: LawScores) -> float:
    """Return the degrees of freedom of u(f0) and u(Q), the laws' doubt included.

    The squared relative uncertainty of u^2 is 2/nu (JCGM 100:2008, E.4.3 and G.3);
    the spread of ln u^2 between the laws adds to that of the scatter.
    """
    bread = found.minimum.inverse_normal @ (found.minimum.slopes * found.weight)
    own = np.diagonal(found.minimum.inverse_normal)[:2] * found.variance
    shares, spread = scores.shares, 0.0
    for index in np.flatnonzero(shares >= NO_SHARE):
        variance = scores.variance[index] * scores.relative_variance[index]
        growth = np.log((bread[:2] * bread[:2]) @ variance / own)
        spread += float(shares[index] * np.max(growth * growth))
    if spread < SMALL_SPREAD:
        return float(found.n_free)
    dof = 2.0 / (2.0 / found.n_free + spread)
    return max(dof, min(LEAST_DOF, float(found.n_free)))


def restricted_score(found: FamilyFit, amplitude_v: FloatArray) -> float:
    """Return -2 ln of the restricted likelihood, constants and all.

    That is the marginal likelihood with a prior one step wide on each parameter, so
    families of different size and fits to different readings can be compared.
    """
    n_free = max(found.n_free, 1)
    variance = found.cost_of_noise(amplitude_v) / n_free
    return (
        n_free * (math.log(2.0 * math.pi * variance) + 1.0)
        - float(np.sum(np.log(found.weight)))
        - float(np.linalg.slogdet(found.minimum.inverse_normal)[1])
    )
