"""What readings that stand side by side tell, whatever the curve.

Values come in order of frequency (`Trace.order`).
"""

import math

import numpy as np

from ..quantity import FloatArray

__all__ = ["MAD_TO_SIGMA", "local_scatter", "running_median"]

MAD_TO_SIGMA = 1.4826  # of a median absolute deviation, normal
MAD_OF_SECOND_DIFFERENCE = MAD_TO_SIGMA / math.sqrt(6.0)


def running_median(values: FloatArray) -> FloatArray:
    """Return running medians of three, shape (N,): lone spikes go, peaks stay."""
    padded = np.concatenate((values[:1], values, values[-1:]))
    triples = np.stack((padded[:-2], padded[1:-1], padded[2:]))
    result: FloatArray = np.sort(triples, axis=0)[1]
    return result


def local_scatter(values: FloatArray) -> float:
    """Return the standard deviation that second differences of three or more show."""
    bend = np.abs(np.diff(values, n=2))
    return MAD_OF_SECOND_DIFFERENCE * float(np.median(bend))
