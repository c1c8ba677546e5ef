"""A resonance found by turning a calibrated capacitor at one frequency.

With all of T = C + stray across the coil, the tank's voltage at a fixed frequency is an
exact Lorentzian in C, whether the coil is driven in parallel (``|G + j(wT - B)|``) or
a voltage is injected in series with it (``|1 - w^2 L T + j w R T|``): the half-width is
``T0/Q`` in both, T0 the total capacitance at the peak. So

    V = A / sqrt(1 + q^2),    q = Q (T/T0 - 1)

and ``Q = (C2 + C1 + 2 stray)/(C2 - C1)`` from the half-power settings C1 and C2.
"""

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ..errors import InputError
from ..quantity import FloatArray, checked_column
from .curves import Abscissa, Response
from .noise import NoiseModel
from .resonance import fit
from .resonance_fit import ResonanceFit
from .trace import Trace

__all__ = [
    "CapacitanceFit",
    "PeakInCapacitance",
    "capacitance_fit",
    "fit_in_capacitance",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakInCapacitance(Response):
    """A Lorentzian in total capacitance: ``A / sqrt(1 + Q^2 (T/T0 - 1)^2)``.

    Its first parameter is T0 in F where other families have f0.
    """

    abscissa: ClassVar[Abscissa] = Abscissa.CAPACITANCE

    @property
    def label(self) -> str:
        """The family in a few words, for a table or a message."""
        return "peak in capacitance"

    def detuning(self, frequency_hz: FloatArray, parameters: FloatArray) -> FloatArray:
        """Return q = Q (T/T0 - 1), T being passed in the place of a frequency."""
        result: FloatArray = parameters[1] * (frequency_hz / parameters[0] - 1.0)
        return result

    def amplitude(self, frequency_hz: FloatArray, parameters: FloatArray) -> FloatArray:
        """Return the amplitude in V at total capacitances in F, any shape."""
        q = self.detuning(frequency_hz, parameters)
        result: FloatArray = parameters[2] / np.sqrt(1.0 + q * q)
        return result

    def amplitude_and_slopes(
        self, frequency_hz: FloatArray, parameters: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return the amplitudes, shape (N,), and their slopes per step, (3, N)."""
        q = self.detuning(frequency_hz, parameters)
        fall = q / (1.0 + q * q)
        v = self.amplitude(frequency_hz, parameters)
        slopes = np.empty((3, v.size))
        # dq/d(ln T0) = -(q + Q), and a step moves ln T0 by 1/2Q
        slopes[0] = v * fall * (q + parameters[1]) / (2.0 * parameters[1])
        slopes[1] = -v * q * fall
        slopes[2] = v
        return v, slopes

    def starts(
        self,
        peak: FloatArray,
        *,
        frequency_hz: FloatArray,  # noqa: ARG002 - other families need it
        amplitude_v: FloatArray,  # noqa: ARG002 - other families need it
    ) -> list[FloatArray]:
        """Return parameter vectors to start from, given a peak's (f0, Q, A)."""
        # Near the peak x - 1/x is twice x - 1: Q counts double here.
        return [np.array([peak[0], 2.0 * peak[1], peak[2]])]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CapacitanceFit:
    """A resonance in capacitance; `u_x` is the standard uncertainty of `x` (k = 1).

    Attributes
    ----------
    resonant_capacitance_f, u_resonant_capacitance_f
        The capacitor's setting at the peak, in F, stray not included.
    half_width_f, u_half_width_f
        Half the distance of the half-power settings, in F; no stray is in it.
    loaded_q, u_loaded_q
        Total capacitance over half-width, the stray's uncertainty included.
    resonance
        The fit in total capacitance, its `centre` T0 in F. It holds the flags, the
        residuals, the glitches and the half-power settings.
    """

    resonant_capacitance_f: float
    u_resonant_capacitance_f: float
    half_width_f: float
    u_half_width_f: float
    loaded_q: float
    u_loaded_q: float
    resonance: ResonanceFit


def fit_in_capacitance(
    capacitance_f: FloatArray,
    *,
    amplitude_v: FloatArray,
    u_amplitude_v: FloatArray | None = None,
    u_scale_known: bool = True,
    stray_capacitance_f: float = 0.0,
    u_stray_capacitance_f: float = 0.0,
    noise: NoiseModel | None = None,
) -> CapacitanceFit:
    """Fit a resonance to readings over the settings of a calibrated capacitor.

    Parameters
    ----------
    capacitance_f
        Settings in F, shape (N,), N >= 4, >= 0.
    amplitude_v, u_amplitude_v
        Amplitudes and, where known, their standard uncertainties in V, shape (N,).
    u_scale_known
        False: the uncertainties give the readings' weights alone, and the scatter
        gives their scale.
    stray_capacitance_f, u_stray_capacitance_f
        What else is across the coil, its own capacitance included, in F.
    noise
        How uncertain a reading is, as for `fit`.

    Raises
    ------
    InputError
        Settings or stray that are negative or not finite.
    FitError
        As `fit`: too few readings, no peak, half-power settings outside the readings.

    Notes
    -----
    Forgetting the stray makes Q too small by stray/T. A capacitor's own loss is in Q.
    """
    for name, value in (
        ("stray_capacitance_f", stray_capacitance_f),
        ("u_stray_capacitance_f", u_stray_capacitance_f),
    ):
        if not 0.0 <= value < math.inf:
            raise InputError(f"{name} is {value}; it must be finite and >= 0")
    setting = checked_column(capacitance_f, name="capacitance_f", positive=False)
    trace = Trace(
        frequency_hz=setting + stray_capacitance_f,
        amplitude_v=amplitude_v,
        u_amplitude_v=u_amplitude_v,
        u_scale_known=u_scale_known,
    )
    resonance = fit(trace, response=PeakInCapacitance(), noise=noise)
    return capacitance_fit(
        resonance,
        stray_capacitance_f=stray_capacitance_f,
        u_stray_capacitance_f=u_stray_capacitance_f,
    )


def capacitance_fit(
    resonance: ResonanceFit,
    *,
    stray_capacitance_f: float = 0.0,
    u_stray_capacitance_f: float = 0.0,
) -> CapacitanceFit:
    """Read a fit in total capacitance as one over a capacitor's settings.

    Parameters
    ----------
    resonance
        The fit, its abscissa the setting and the stray.
    stray_capacitance_f, u_stray_capacitance_f
        As for `fit_in_capacitance`.
    """
    doubt_of_stray = u_stray_capacitance_f / resonance.half_width
    return CapacitanceFit(
        resonant_capacitance_f=resonance.centre - stray_capacitance_f,
        u_resonant_capacitance_f=resonance.u_centre,
        half_width_f=resonance.half_width,
        u_half_width_f=resonance.u_half_width,
        loaded_q=resonance.loaded_q,
        u_loaded_q=math.hypot(resonance.u_loaded_q, doubt_of_stray),
        resonance=resonance,
    )
