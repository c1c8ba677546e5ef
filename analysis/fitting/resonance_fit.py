"""What a fit of one resonance hands back."""

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from ..quantity import FloatArray
from .choice import ModelChoice
from .curves import Abscissa, OtherPeak, Response
from .flags import Flag
from .half_power import HalfPower
from .noise import NoiseSource

__all__ = ["ExtraParameter", "ResonanceFit"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraParameter:
    """A parameter beyond centre, Q and height.

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
    centre, u_centre
        The undamped resonance in the unit of the `abscissa`: f0, or the total
        capacitance T0 where a capacitor was turned.
    loaded_q, u_loaded_q
        Q with everything on the tank that loads it.
    half_width, u_half_width
        From the centre to a half-power point, in the same unit, the correlation of
        centre and Q taken in.
    amplitude_v, u_amplitude_v
        Height A of the tank's response at f0 in V.
    covariance
        Of (centre, Q, A), in their units, shape (3, 3).
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
    centre: float
    u_centre: float
    loaded_q: float
    u_loaded_q: float
    half_width: float
    u_half_width: float
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

    @property
    def abscissa(self) -> Abscissa:
        """What was swept, with its unit."""
        return self.response.abscissa

    @property
    def resonant_frequency_hz(self) -> float:
        """f0 in Hz; there is none (`AttributeError`) where a capacitor was turned."""
        return self._in_hertz(self.centre)

    @property
    def u_resonant_frequency_hz(self) -> float:
        """Standard uncertainty of f0 in Hz."""
        return self._in_hertz(self.u_centre)

    @property
    def bandwidth_hz(self) -> float:
        """f0/Q in Hz: the half-power points' distance."""
        return self._in_hertz(2.0 * self.half_width)

    @property
    def u_bandwidth_hz(self) -> float:
        """Standard uncertainty of the bandwidth in Hz."""
        return self._in_hertz(2.0 * self.u_half_width)

    def _in_hertz(self, value: float) -> float:
        if self.abscissa is not Abscissa.FREQUENCY:
            raise AttributeError(
                f"a fit over {self.abscissa.quantity} has a centre and a half-width in "
                f"{self.abscissa.unit}, none in Hz"
            )
        return value

    def amplitude_at(self, setting: FloatArray) -> FloatArray:
        """Return the fitted amplitude in V at settings of the abscissa, any shape."""
        return self.response.amplitude(
            np.asarray(setting, dtype=np.float64), self.parameters
        )

    @property
    def parameters(self) -> FloatArray:
        """The family's parameter vector (centre, Q, A, extras), shape (p,)."""
        return np.array(
            [
                self.centre,
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
