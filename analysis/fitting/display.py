"""What a detector's display makes of readings: a clipped top, coarse steps."""

import math

import numpy as np

from ..quantity import FloatArray
from .judged import Judged
from .noise import DB_TO_RELATIVE, step_in_decibels

__all__ = ["clipped", "in_coarse_steps"]

MIN_FLAT = 3  # readings at the top that are all the same
COARSE = 2.4  # steps per standard deviation where the noise is a third of a step
OFTEN_EQUAL = 0.1  # of the readings: so many that another one repeats are steps
DOMINANT_STEP = 0.2
MIN_GAPS, STEP_TOLERANCE = 5, 0.05  # levels enough, and even enough, to be steps


def clipped(case: Judged) -> bool:
    """Return whether the highest readings are all the same, and a peak is cut off."""
    if not case.found.response.is_peak:
        return False
    amplitude = case.trace.amplitude_v
    levels = np.unique(amplitude)
    at_top = amplitude == levels[-1]
    if np.ptp(case.trace.frequency_hz[at_top]) == 0.0:
        return False  # one frequency read again
    n_top = int(np.count_nonzero(at_top))
    # Of readings that vary freely, even two rarely agree to the last digit.
    repeated_elsewhere = int(amplitude.size - levels.size) > n_top - 1
    if n_top < (MIN_FLAT if repeated_elsewhere else 2):
        return False
    step = _step(levels)
    if not (repeated_elsewhere and step > DOMINANT_STEP * _scatter_v(case)):
        return True
    # Steps make flat tops of their own: clipped is what is wider than a step.
    return float(np.ptp(case.found.minimum.amplitude_v[at_top])) > step


def in_coarse_steps(case: Judged) -> bool:
    """Return whether readings come in steps as large as their scatter or larger."""
    amplitude = case.trace.amplitude_v
    levels = np.unique(amplitude)
    often_equal = int(amplitude.size - levels.size) > OFTEN_EQUAL * amplitude.size
    in_volts = often_equal and _step(levels) > COARSE * _scatter_v(case)
    return in_volts or _coarse_in_decibels(levels, case)


def _scatter_v(case: Judged) -> float:
    """Return the standard deviation in V of a typical reading."""
    return case.noise / math.sqrt(float(np.median(case.found.weight)))


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
