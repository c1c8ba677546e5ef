"""How uncertain a reading is, as a function of what was read.

``u^2 = constant^2 + (proportional V)^2 + step^2/12``: a detector's own noise, the
scatter of its gain or of the generator's level, and the resolution of its display
(rectangular, JCGM 100:2008 F.2.2.1). A fit takes V from the curve, not from the
reading: a reading that is low by chance must not weigh more for it.
"""

import math
from dataclasses import dataclass
from enum import Enum
from typing import Self

import numpy as np

from ..errors import InputError
from ..quantity import FloatArray
from .trace import DB_TO_RELATIVE, Trace

__all__ = [
    "DB_TO_RELATIVE",
    "NoiseModel",
    "NoiseSource",
    "replicate_degrees_of_freedom",
    "step_in_decibels",
]

MIN_REPLICATE_DOF = 4
MIN_GAPS, EVEN = 5, 0.02  # levels enough, and even enough, to be steps
SAME_DB = 1e-6  # levels nearer than that are one
# Twice a likelihood ratio that speaks for noise in proportion: 6.6 is 1 % by chance
# for one parameter more (chi-squared with one degree of freedom).
PROPORTIONAL_EVIDENCE = 6.6


class NoiseSource(Enum):
    """Where the noise that an uncertainty rests on came from."""

    GIVEN = "given with the readings"
    MODEL = "a stated noise model"
    REPLICATES = "the scatter of repeated readings"
    RESIDUALS = "the scatter about the fitted curve"
    RESIDUALS_PROPORTIONAL = (
        "the scatter about the fitted curve, in proportion to the reading"
    )
    RESIDUALS_MIXED = (
        "the scatter about the fitted curve, partly constant and partly in proportion"
        " to the reading"
    )

    @property
    def from_residuals(self) -> bool:
        """Whether the fit's own residuals told the noise."""
        return self in _FROM_RESIDUALS


_FROM_RESIDUALS = frozenset(
    (
        NoiseSource.RESIDUALS,
        NoiseSource.RESIDUALS_PROPORTIONAL,
        NoiseSource.RESIDUALS_MIXED,
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseModel:
    """Standard uncertainty of a reading against its amplitude.

    Attributes
    ----------
    constant_v
        Noise that every reading has, in V, >= 0.
    proportional
        Noise as a fraction of the amplitude, >= 0.
    step_v
        Resolution of the reading in V, >= 0; its share is step/sqrt(12).
    scale_known
        False where only the ratios of these are known: they set the weights, and the
        scatter about the curve sets the size.
    degrees_of_freedom
        Of the estimate behind these figures; infinite for stated ones.
    source
        Where the figures came from.

    Raises
    ------
    InputError
        A figure that is negative or not finite, or all of them zero.
    """

    constant_v: float = 0.0
    proportional: float = 0.0
    step_v: float = 0.0
    scale_known: bool = True
    degrees_of_freedom: float = math.inf
    source: NoiseSource = NoiseSource.MODEL

    def __post_init__(self) -> None:
        for name in ("constant_v", "proportional", "step_v"):
            value = getattr(self, name)
            if not 0.0 <= value < math.inf:
                raise InputError(f"{name} is {value}; it must be finite and >= 0")
        if self.constant_v == self.proportional == self.step_v == 0.0:
            raise InputError("a noise model needs one figure above zero")

    def u_v(self, amplitude_v: FloatArray) -> FloatArray:
        """Return the standard uncertainty in V of readings of `amplitude_v` in V.

        Notes
        -----
        Below a thousandth of the highest amplitude a purely proportional noise is
        taken for that of this thousandth: no reading weighs without limit.
        """
        fixed = self.constant_v**2 + self.step_v**2 / 12.0
        level = np.maximum(amplitude_v, 1e-3 * float(np.max(amplitude_v, initial=0.0)))
        variance: FloatArray = fixed + (self.proportional * level) ** 2
        return np.sqrt(np.maximum(variance, np.finfo(np.float64).tiny))

    @property
    def residual_source(self) -> NoiseSource:
        """What to call noise of this law and a size that the residuals tell."""
        if self.proportional == 0.0:
            return NoiseSource.RESIDUALS
        if self.constant_v == self.step_v == 0.0:
            return NoiseSource.RESIDUALS_PROPORTIONAL
        return NoiseSource.RESIDUALS_MIXED

    @classmethod
    def from_replicates(cls, trace: Trace) -> Self:
        """Estimate the noise from readings repeated at the same frequency.

        Parameters
        ----------
        trace
            Readings, some of them at the same frequency.

        Returns
        -------
        NoiseModel
            A constant noise, or one with a share in proportion to the amplitude where
            the likelihood speaks for it at the 1 % level.

        Raises
        ------
        InputError
            Fewer than four degrees of freedom among the repeats, or repeats that are
            all the same (a display too coarse to show the noise).
        """
        mean, variance, dof = _groups(trace)
        total = float(dof.sum())
        if total < MIN_REPLICATE_DOF:
            raise InputError(
                f"the repeats leave {total:g} degrees of freedom to estimate the noise "
                f"from; it takes {MIN_REPLICATE_DOF}: repeat more readings",
                degrees_of_freedom=total,
            )
        pooled = float(dof @ variance) / total
        if pooled <= 0.0:
            raise InputError(
                "the repeated readings are all the same: the noise is below the "
                "display's step; give step_v"
            )
        constant, slope = _constant_and_slope(mean, variance, dof, pooled)
        return cls(
            constant_v=math.sqrt(constant),
            proportional=math.sqrt(slope),
            degrees_of_freedom=total,
            source=NoiseSource.REPLICATES,
        )


def step_in_decibels(amplitude_v: FloatArray) -> float:
    """Return the step in dB that all amplitudes are multiples of apart, or 0.

    Six levels or more must agree to a fiftieth of a step: by chance they do so once
    in 25^5.
    """
    levels = np.unique(amplitude_v)
    if levels.size <= MIN_GAPS or levels[0] <= 0.0:
        return 0.0
    gaps = np.diff(np.log(levels)) / DB_TO_RELATIVE
    gaps = gaps[gaps > SAME_DB]
    if gaps.size < MIN_GAPS:
        return 0.0
    step = float(gaps.min())
    count = gaps / step
    return step if np.all(np.abs(count - np.round(count)) < EVEN) else 0.0


def replicate_degrees_of_freedom(trace: Trace) -> int:
    """Return how many readings of a trace are repeats of another one's frequency."""
    return trace.n_readings - int(np.unique(trace.frequency_hz).size)


def _groups(trace: Trace) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean, variance and degrees of freedom of each repeated frequency."""
    _, where, count = np.unique(
        trace.frequency_hz, return_inverse=True, return_counts=True
    )
    mean = np.bincount(where, weights=trace.amplitude_v) / count
    spread = np.bincount(where, weights=(trace.amplitude_v - mean[where]) ** 2)
    repeated = count > 1
    dof = (count[repeated] - 1).astype(np.float64)
    return mean[repeated], spread[repeated] / dof, dof


def _constant_and_slope(
    mean: FloatArray, variance: FloatArray, dof: FloatArray, pooled: float
) -> tuple[float, float]:
    """Return constant^2 and proportional^2 that the group variances speak for.

    The likelihood of a variance s2 with d degrees of freedom about sigma2 is that of
    a chi-squared: -2 ln L = d (ln sigma2 + s2/sigma2). A grid of shares is enough:
    what the noise is made of is known far worse than its steps.
    """
    power = mean**2
    typical = float(dof @ power) / float(dof.sum())
    best = (float(dof @ (np.log(pooled) + variance / pooled)), pooled, 0.0)
    if typical <= 0.0:
        return best[1:]
    constant_only = best[0] - PROPORTIONAL_EVIDENCE
    for share in np.linspace(0.05, 1.0, 20):
        shape = (1.0 - share) + share * np.maximum(power / typical, 1e-6)
        size = float(dof @ (variance / shape)) / float(dof.sum())
        score = float(dof @ (np.log(size * shape) + variance / (size * shape)))
        if score < min(best[0], constant_only):
            best = (score, size * (1.0 - share), size * share / typical)
    return best[1:]
