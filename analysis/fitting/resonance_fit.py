"""What a fit of one resonance hands back."""

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from ..quantity import FloatArray
from .choice import ModelChoice
from .curves import Response
from .flags import Flag
from .half_power import HalfPower
from .noise import NoiseSource
from .two_peaks import OtherPeak

__all__ = ["ExtraParameter", "ResonanceFit"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraParameter:
    """A parameter beyond f0, Q and A.

    Attributes
    ----------
    name
        With its unit, where it has one.
    value, u_value
        The estimate and its standard uncertainty.
    """

    name: str
    value: float
    u_value: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ResonanceFit:
    """A resonance fitted to a trace; `u_x` is the standard uncertainty of `x` (k = 1).

    Attributes
    ----------
    response
        The family that was fitted.
    resonant_frequency_hz, u_resonant_frequency_hz
        The undamped resonance f0 in Hz.
    loaded_q, u_loaded_q
        Q with everything on the tank that loads it.
    bandwidth_hz, u_bandwidth_hz
        f0/Q in Hz, with the correlation of both taken in.
    amplitude_v, u_amplitude_v
        Height A of the tank's response at f0 in V.
    covariance
        Of (f0, Q, A), in their units, shape (3, 3).
    extra
        The family's further parameters.
    reduced_chi2
        Weighted squares of the residuals over their degrees of freedom: 1 by
        construction where the noise was taken from them; None where none is left.
    degrees_of_freedom
        Of the noise that the uncertainties rest on; infinite where it was stated.
    noise_v, noise_source
        Standard uncertainty in V of a reading at the peak, and where it came from.
    n_readings
        How many readings the fit used.
    refused
        Indices of readings left out as glitches, in the trace's order.
    residual_v
        Reading less curve in V, for every reading of the trace, refused ones too.
    flags
        Reasons to doubt the result.
    others
        Further resonances that the trace shows.
    choice
        What the readings said for each family, where they were let choose.
    half_power
        The half-power points read without a model, or None.
    half_power_missing
        Why there are none, or an empty string.
    """

    response: Response
    resonant_frequency_hz: float
    u_resonant_frequency_hz: float
    loaded_q: float
    u_loaded_q: float
    bandwidth_hz: float
    u_bandwidth_hz: float
    amplitude_v: float
    u_amplitude_v: float
    covariance: FloatArray
    extra: tuple[ExtraParameter, ...]
    reduced_chi2: float | None
    degrees_of_freedom: float
    noise_v: float
    noise_source: NoiseSource
    n_readings: int
    refused: tuple[int, ...]
    residual_v: FloatArray
    flags: tuple[Flag, ...]
    others: tuple[OtherPeak, ...]
    choice: ModelChoice | None
    half_power: HalfPower | None
    half_power_missing: str

    def amplitude_at(self, frequency_hz: FloatArray) -> FloatArray:
        """Return the fitted amplitude in V at `frequency_hz` in Hz, any shape."""
        return self.response.amplitude(
            np.asarray(frequency_hz, dtype=np.float64), self.parameters
        )

    @property
    def parameters(self) -> FloatArray:
        """The family's parameter vector (f0, Q, A, extras), shape (p,)."""
        return np.array(
            [
                self.resonant_frequency_hz,
                self.loaded_q,
                self.amplitude_v,
                *(parameter.value for parameter in self.extra),
            ]
        )

    def coverage_factor(self, probability: float = 0.95) -> float:
        """Return Student's t that expands a standard uncertainty to `probability`."""
        two_sided = 0.5 * (1.0 + probability)
        if math.isinf(self.degrees_of_freedom):
            return float(special.ndtri(two_sided))
        return float(special.stdtrit(self.degrees_of_freedom, two_sided))
