"""What the fit of many traces at once hands on, and the flags that it raises."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...quantity import FloatArray
from ..flags import FEW_FREE, LARGEST_Q_DOUBT, LOW_Q, WEAK_PEAK, Flag

__all__ = ["BatchFit", "judged"]

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BatchFit:
    """Resonances fitted to M traces, arrays of shape (M,) unless said.

    Attributes
    ----------
    fitted
        False where a trace shows no resonance within the grid, or is not finite; the
        other arrays hold NaN there.
    resonant_frequency_hz, loaded_q, amplitude_v
        f0, loaded Q and height.
    covariance
        Of (f0, Q, A), shape (M, 3, 3).
    noise_v
        Scatter of the readings about the curve in V.
    degrees_of_freedom
        Of the noise, which the scatter about the curves told: N - 3.
    flag_masks
        For every flag that a batch can raise, which traces raise it.
    glitchy
        Traces with a reading farther off the curve than chance allows (Grubbs' test,
        at 1 in 1000): the single fit would refuse it.
    farthest
        Which reading of each trace is the farthest off its curve.
    """

    fitted: BoolArray
    resonant_frequency_hz: FloatArray
    loaded_q: FloatArray
    amplitude_v: FloatArray
    covariance: FloatArray
    noise_v: FloatArray
    degrees_of_freedom: float
    flag_masks: Mapping[Flag, BoolArray]
    glitchy: BoolArray
    farthest: NDArray[np.intp]

    @property
    def u_resonant_frequency_hz(self) -> FloatArray:
        """Standard uncertainty of f0 in Hz."""
        return np.sqrt(self.covariance[:, 0, 0])

    @property
    def u_loaded_q(self) -> FloatArray:
        """Standard uncertainty of Q."""
        return np.sqrt(self.covariance[:, 1, 1])

    @property
    def u_amplitude_v(self) -> FloatArray:
        """Standard uncertainty of the height in V."""
        return np.sqrt(self.covariance[:, 2, 2])


def judged(
    values: FloatArray,
    covariance: FloatArray,
    *,
    edges: tuple[FloatArray | float, FloatArray | float],
    degrees_of_freedom: int,
    glitchy: BoolArray,
    farthest: NDArray[np.intp],
) -> BatchFit:
    """Put the result together and raise its flags.

    Parameters
    ----------
    values
        f0, Q, A and the noise of each trace, shape (M, 4); NaN: not fitted.
    covariance
        Of f0, Q and A, shape (M, 3, 3).
    edges
        Lowest and highest frequency read, in Hz, shape (M,) or the same for all.
    degrees_of_freedom, glitchy, farthest
        As in `BatchFit`.
    """
    f0, q_factor, height, noise = (np.ascontiguousarray(column) for column in values.T)
    fitted = np.isfinite(f0)
    with np.errstate(invalid="ignore"):
        low, high = edges[0] / f0, edges[1] / f0
        open_ends = q_factor * np.minimum(1.0 / low - low, high - 1.0 / high) < 1.0
        doubt = np.sqrt(covariance[:, 1, 1]) > LARGEST_Q_DOUBT * q_factor
        weak = height < WEAK_PEAK * np.sqrt(covariance[:, 2, 2])
        masks = {
            Flag.NOT_BRACKETED: open_ends & fitted,
            Flag.Q_UNCERTAIN: doubt & fitted,
            Flag.WEAK_PEAK: weak & fitted,
            Flag.LOW_Q: (q_factor < LOW_Q) & fitted,
        }
    if degrees_of_freedom < FEW_FREE:
        masks[Flag.FEW_READINGS] = fitted.copy()
    for array in (f0, q_factor, height, noise, covariance, fitted):
        array.flags.writeable = False
    return BatchFit(
        fitted=fitted,
        resonant_frequency_hz=f0,
        loaded_q=q_factor,
        amplitude_v=height,
        covariance=covariance,
        noise_v=noise,
        degrees_of_freedom=float(degrees_of_freedom),
        flag_masks=masks,
        glitchy=glitchy,
        farthest=farthest,
    )
