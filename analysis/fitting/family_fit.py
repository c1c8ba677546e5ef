"""One family of curves fitted to one set of readings: start, weights, minimum.

What is common to the first fit, the search for glitches and the choice among
families; judging the outcome is left to others.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..errors import FitError
from ..quantity import FloatArray
from .curves import Peak, Response
from .gauss_newton import Minimum, minimise
from .linear import closed_form
from .neighbours import running_median
from .noise import NoiseModel, NoiseSource
from .trace import Trace

__all__ = [
    "CARRYING",
    "ROUNDING",
    "FamilyFit",
    "fit_family",
    "peak_starts",
    "rough_peak",
]

SMALLEST_V = 1e-50  # below any reading, and squares of it do not vanish
CARRYING = 0.5  # leverage from which on a reading draws the curve to itself
ROUNDING = 1e-24  # of the readings' power: residuals below it are arithmetic
REWEIGHTINGS = 3  # weights taken again from the curve: the third changes nothing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FamilyFit:
    """A family's least-squares fit to readings.

    Attributes
    ----------
    response, minimum
        The family, and where least squares ended.
    weight
        1/u^2 of the readings, shape (N,), in units of 1/variance.
    variance
        Variance of a reading of unit weight: 1 where the noise is known.
    degrees_of_freedom
        Of the noise that the uncertainties rest on; infinite where it is known.
    noise_source
        Where that noise came from.
    """

    response: Response
    minimum: Minimum
    weight: FloatArray
    variance: float
    degrees_of_freedom: float
    noise_source: NoiseSource

    @property
    def n_free(self) -> int:
        """Readings beyond the number of parameters."""
        return int(self.weight.size - self.minimum.parameters.size)

    def cost_of_noise(self, amplitude_v: FloatArray) -> float:
        """Return the cost, not below what arithmetic leaves of exact readings."""
        floor = ROUNDING * float(self.weight @ amplitude_v**2)
        return max(self.minimum.cost, floor)

    @property
    def u_log_q(self) -> float:
        """Standard uncertainty of ln Q."""
        return math.sqrt(self.minimum.inverse_normal[1, 1] * self.variance)

    def leverage(self, index: int) -> float:
        """Return how far a reading draws the curve to itself, 0 to 1."""
        slope = self.minimum.slopes[:, index]
        pull = slope @ self.minimum.inverse_normal @ slope
        return float(pull * self.weight[index])

    @property
    def noise_known(self) -> bool:
        """Whether the noise was known apart from the residuals."""
        return not self.noise_source.from_residuals


def fit_family(
    trace: Trace,
    *,
    response: Response,
    noise: NoiseModel | None = None,
    starts: list[FloatArray] | None = None,
) -> FamilyFit:
    """Fit one family to a trace by weighted least squares.

    Parameters
    ----------
    trace
        The readings.
    response
        The family of curves.
    noise
        How uncertain a reading is; goes before the trace's own uncertainties.
    starts
        Parameter vectors to start from; by default from the closed form.

    Raises
    ------
    FitError
        Fewer readings than parameters (one more where the noise must be found from
        the readings too), or nothing that curves like a resonance.
    """
    _enough(trace, response, noise)
    weight = _first_weights(trace, noise)
    if starts is not None:
        minimum = _best(response, starts, trace, weight)
    else:
        minimum = _from_the_readings(response, trace, weight)
    if noise is not None and noise.proportional > 0.0:
        for _ in range(REWEIGHTINGS):
            weight = noise.u_v(minimum.amplitude_v) ** -2.0
            minimum = _best(response, [minimum.parameters], trace, weight)
    return _with_noise(trace, response, noise, minimum, weight)


def _from_the_readings(response: Response, trace: Trace, weight: FloatArray) -> Minimum:
    """Return the minimum that the closed form leads to, or else the eye."""

    def leading_from(peaks: list[FloatArray]) -> Minimum:
        starts = [
            start
            for peak in peaks
            for start in response.starts(
                peak, frequency_hz=trace.frequency_hz, amplitude_v=trace.amplitude_v
            )
        ]
        return _best(response, starts, trace, weight)

    try:
        return leading_from(peak_starts(trace, response=response))
    except FitError:
        # A spike can lead the closed form astray; the eye looks past it.
        return leading_from([rough_peak(trace)])


def _enough(trace: Trace, response: Response, noise: NoiseModel | None) -> None:
    """Refuse fewer readings than the fit has unknowns."""
    known = trace.states_noise or (noise is not None and noise.scale_known)
    n, p = trace.n_readings, response.n_parameters
    if n < p:
        raise FitError(
            f"{n} readings cannot fix the {p} unknowns of a {response.label}; "
            f"take at least {p + 1}",
            n_readings=n,
        )
    if n == p and not known:
        raise FitError(
            f"{n} readings fix the {p} unknowns of a {response.label} and leave none "
            "to judge the noise by; take one more or state u_amplitude_v",
            n_readings=n,
        )
    if trace.amplitude_v.max() <= SMALLEST_V:
        raise FitError("every amplitude is zero: there is no peak")


def _first_weights(trace: Trace, noise: NoiseModel | None) -> FloatArray:
    """Return the weights before any curve is known."""
    if noise is not None:
        return noise.u_v(trace.amplitude_v) ** -2.0
    if trace.u_amplitude_v is not None:
        result: FloatArray = trace.u_amplitude_v**-2.0
        return result
    return np.full(trace.n_readings, float(trace.amplitude_v.max()) ** -2.0)


def _best(
    response: Response, starts: list[FloatArray], trace: Trace, weight: FloatArray
) -> Minimum:
    """Return the lowest minimum that the starts lead to."""
    best: Minimum | None = None
    failure: FitError | None = None
    for start in starts:
        try:
            found = minimise(
                response,
                start,
                frequency_hz=trace.frequency_hz,
                amplitude_v=trace.amplitude_v,
                weight=weight,
            )
        except FitError as error:
            failure = error
            continue
        if best is None or found.cost < best.cost:
            best = found
    if best is None:
        raise failure or FitError("there is nothing to start the fit from")
    return best


def _with_noise(
    trace: Trace,
    response: Response,
    noise: NoiseModel | None,
    minimum: Minimum,
    weight: FloatArray,
) -> FamilyFit:
    """Settle how large the noise is and where that is known from."""
    n_free = trace.n_readings - response.n_parameters
    if noise is not None and noise.scale_known:
        variance, dof, source = 1.0, noise.degrees_of_freedom, noise.source
    elif noise is None and trace.states_noise:
        variance, dof, source = 1.0, math.inf, NoiseSource.GIVEN
    else:
        if n_free < 1:
            raise FitError("no reading is left to judge the noise by; take more")
        variance, dof = minimum.cost / n_free, float(n_free)
        source = NoiseSource.RESIDUALS if noise is None else noise.residual_source
    return FamilyFit(
        response=response,
        minimum=minimum,
        weight=weight,
        variance=variance,
        degrees_of_freedom=dof,
        noise_source=source,
    )


def peak_starts(trace: Trace, *, response: Response) -> list[FloatArray]:
    """Return (f0, Q, A) to start from: the closed form, else what the eye sees."""
    exponent = response.exponent if isinstance(response, Peak) else 0.0
    try:
        peak = closed_form(
            trace.frequency_hz,
            amplitude_v=trace.amplitude_v,
            u_amplitude_v=trace.u_amplitude_v,
            exponent=exponent,
        )
    except FitError:
        return [rough_peak(trace)]
    if peak.loaded_q is None or peak.amplitude_v is None:
        return [rough_peak(trace)]
    low, high = trace.span
    start = np.array([peak.resonant_frequency_hz, peak.loaded_q, peak.amplitude_v])
    if not low <= start[0] <= high or not np.all(np.isfinite(start)):
        return [rough_peak(trace), start]
    return [start]


def rough_peak(trace: Trace) -> FloatArray:
    """Return (f0, Q, A) as the eye takes them, a lone spike apart.

    The highest median of three neighbours is the peak; the stretch of readings above
    seven tenths of it is the bandwidth.
    """
    order = trace.order
    frequency, amplitude = trace.frequency_hz[order], trace.amplitude_v[order]
    smooth = running_median(amplitude)
    top = int(np.argmax(smooth))
    high = smooth > math.sqrt(0.5) * smooth[top]
    below, above = np.flatnonzero(~high[:top]), np.flatnonzero(~high[top:])
    lower = frequency[below[-1]] if below.size else frequency[0]
    upper = frequency[top + above[0]] if above.size else frequency[-1]
    span = max(float(upper - lower), 1e-9 * float(frequency[top]))
    height = max(float(smooth[top]), 1e-3 * float(amplitude.max()))
    return np.array([frequency[top], max(frequency[top] / span, 0.5), height])
