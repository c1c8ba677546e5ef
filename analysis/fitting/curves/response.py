"""Shapes of a resonance as a detector shows it, with their derivatives.

A parameter vector is ``(f0, Q, A, *extra)``: the undamped resonance in Hz, the
loaded Q, the height in V that the tank's own response has at f0, and what else the
family needs. With ``x = f/f0`` and ``q = Q (x - 1/x)`` (Q times what is called t),

* :class:`Peak`: ``A x^k / sqrt(1 + q^2)``
* :class:`PeakOnFloor`: ``sqrt(A^2 x^2k / (1 + q^2) + B)``, B a power that adds
* :class:`LeakyPeak`: ``A x^k |1 + (s + j sqrt(w)) q| / |1 + jq|``, leakage past it
* :class:`Notch` (in notch.py): ``A |r + jq| / |1 + jq|``

Derivatives are taken along *steps* in which all families are nearly linear and of
one size: f0 in half-bandwidths, ln Q, ln A, the extras relative to A. A fit moves
by steps; :meth:`Response.step` and :meth:`Response.scale` lead back.
"""

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ...errors import InputError
from ...quantity import FloatArray
from .abscissa import Abscissa

__all__ = ["LARGEST_EXPONENT", "LeakyPeak", "Peak", "PeakOnFloor", "Response"]

LARGEST_EXPONENT = 4.0  # two reactive couplings make 2; beyond 4 no fixture goes
MAX_DETUNING_STEP = 3.0  # half-bandwidths a single step may move f0 by
MAX_LOG_STEP = 1.0  # natural-log units a single step may move Q or A by
MAX_EXTRA_STEP = 0.5  # of A (or of A^2) a single step may move an extra by


@dataclass(frozen=True, slots=True, kw_only=True)
class Response(ABC):
    """A family of resonance curves over frequency.

    Attributes
    ----------
    extra_names
        Names of the parameters beyond f0, Q and A.
    is_peak
        Whether the curve rises to a peak (a notch falls instead).
    abscissa
        What is swept.
    """

    extra_names: ClassVar[tuple[str, ...]] = ()
    is_peak: ClassVar[bool] = True
    abscissa: ClassVar[Abscissa] = Abscissa.FREQUENCY

    @property
    def n_parameters(self) -> int:
        """Number of parameters, f0, Q and A included."""
        return 3 + len(self.extra_names)

    @property
    @abstractmethod
    def label(self) -> str:
        """The family in a few words, for a table or a message."""

    @abstractmethod
    def amplitude(self, frequency_hz: FloatArray, parameters: FloatArray) -> FloatArray:
        """Return the amplitude in V at `frequency_hz` in Hz, any shape."""

    @abstractmethod
    def amplitude_and_slopes(
        self, frequency_hz: FloatArray, parameters: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return the amplitudes, shape (N,), and their slopes per step, (p, N)."""

    def starts(
        self,
        peak: FloatArray,
        *,
        frequency_hz: FloatArray,  # noqa: ARG002 - other families need it
        amplitude_v: FloatArray,  # noqa: ARG002 - other families need it
    ) -> list[FloatArray]:
        """Return parameter vectors to start from, given a peak's (f0, Q, A)."""
        return [peak[:3]]

    def detuning(self, frequency_hz: FloatArray, parameters: FloatArray) -> FloatArray:
        """Return q = Q (x - 1/x): -1 and +1 at the half-power points."""
        x = frequency_hz / parameters[0]
        result: FloatArray = parameters[1] * (x - 1.0 / x)
        return result

    def step(self, parameters: FloatArray, step: FloatArray) -> FloatArray:
        """Return the parameters moved by a step, cut to what the shape bears."""
        moved = parameters.copy()
        d0 = min(max(step[0], -MAX_DETUNING_STEP), MAX_DETUNING_STEP)
        d0 /= 2.0 * parameters[1]
        moved[0] *= math.exp(min(max(d0, -MAX_LOG_STEP), MAX_LOG_STEP))
        for i in (1, 2):
            moved[i] *= math.exp(min(max(step[i], -MAX_LOG_STEP), MAX_LOG_STEP))
        if parameters.size > 3:  # noqa: PLR2004 - f0, Q, A
            cut = np.clip(step[3:], -MAX_EXTRA_STEP, MAX_EXTRA_STEP)
            moved[3:] += cut * self.extra_units(parameters)
        return moved

    def scale(self, parameters: FloatArray) -> FloatArray:
        """Return d(parameter)/d(step), shape (p,)."""
        scale = np.empty(parameters.size)
        scale[:3] = 0.5 * parameters[0] / parameters[1], parameters[1], parameters[2]
        scale[3:] = self.extra_units(parameters)
        return scale

    def extra_units(self, parameters: FloatArray) -> FloatArray:
        """Return the size of a unit step of each extra parameter, shape (p - 3,)."""
        return np.ones(parameters.size - 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak(Response):
    """The tank alone: ``V = A x^k / sqrt(1 + Q^2 (x - 1/x)^2)``.

    Attributes
    ----------
    exponent
        k, which the fixture sets: +1 for a tank driven through a small capacitor and
        read by a high-impedance probe, +2 when it is also read through a small
        capacitor into a low impedance, 0 when driven by a resistance, -1 for a small
        voltage injected in series and read across the capacitor.

    Raises
    ------
    InputError
        An exponent beyond +/-4.

    Notes
    -----
    A k that is wrong by one moves f0 by about 0.64/Q^2 of itself; with the right one
    about 0.55/Q^4 is left for a coil with a constant loss in series. A loss that rises
    as sqrt(f) leaves about 0.13/Q^2 over +/-2.5 half-bandwidths whatever the k
    (test_circuit.py): negligible at noise of 1 % above Q = 30, not at Q = 10.
    """

    exponent: float = 0.0

    def __post_init__(self) -> None:
        if not abs(self.exponent) <= LARGEST_EXPONENT:
            raise InputError(
                f"exponent is {self.exponent}; a fixture's k lies within "
                f"+/-{LARGEST_EXPONENT:g}"
            )

    @property
    def label(self) -> str:
        """The family in a few words, for a table or a message."""
        return f"peak, k = {self.exponent:g}"

    def amplitude(self, frequency_hz: FloatArray, parameters: FloatArray) -> FloatArray:
        """Return the amplitude in V at `frequency_hz` in Hz, any shape."""
        f0, q_factor, height = parameters[:3]
        x = frequency_hz / f0
        q = q_factor * (x - 1.0 / x)
        result: FloatArray = height / np.sqrt(1.0 + q * q)
        return result if self.exponent == 0.0 else result * x**self.exponent

    def amplitude_and_slopes(
        self, frequency_hz: FloatArray, parameters: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return the amplitudes, shape (N,), and their slopes per step, (3, N)."""
        f0, q_factor, height = parameters[:3]
        x = frequency_hz / f0
        x_inverse = 1.0 / x
        q = q_factor * (x - x_inverse)
        d_inverse = 1.0 / (1.0 + q * q)
        v = height * np.sqrt(d_inverse)
        if self.exponent != 0.0:
            v = v * x**self.exponent
        slopes = np.empty((3, v.size))
        fall = q * d_inverse
        # dq/d(ln f0) = -Q (x + 1/x), and ln f0 moves by 1/2Q per half-bandwidth
        slopes[0] = v * (
            (0.5 * fall) * (x + x_inverse) - self.exponent / (2.0 * q_factor)
        )
        slopes[1] = -v * q * fall
        slopes[2] = v
        return v, slopes


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakOnFloor(Peak):
    """A peak to whose power a constant adds: rectified noise, a meter's offset.

    The extra parameter is the floor's power B in V^2, which may be negative for an
    offset: ``V = sqrt(A^2 x^2k / (1 + q^2) + B)``.
    """

    extra_names: ClassVar[tuple[str, ...]] = ("floor_power_v2",)

    @property
    def label(self) -> str:
        """The family in a few words, for a table or a message."""
        return f"peak on a power floor, k = {self.exponent:g}"

    def amplitude(self, frequency_hz: FloatArray, parameters: FloatArray) -> FloatArray:
        """Return the amplitude in V at `frequency_hz` in Hz, any shape."""
        peak = Peak.amplitude(self, frequency_hz, parameters)
        power: FloatArray = peak * peak + parameters[3]
        return np.sqrt(np.maximum(power, 0.0))

    def amplitude_and_slopes(
        self, frequency_hz: FloatArray, parameters: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return the amplitudes, shape (N,), and their slopes per step, (4, N)."""
        peak, peak_slopes = Peak.amplitude_and_slopes(self, frequency_hz, parameters)
        unit = parameters[2] ** 2
        v = np.sqrt(np.maximum(peak * peak + parameters[3], 0.0))
        # A clipped root has no slope; the floor of 1e-6 A keeps the quotient finite.
        v_inverse = 1.0 / np.maximum(v, 1e-6 * parameters[2])
        slopes = np.empty((4, v.size))
        slopes[:3] = peak_slopes * (peak * v_inverse)
        slopes[3] = 0.5 * unit * v_inverse
        return v, slopes

    def starts(
        self, peak: FloatArray, *, frequency_hz: FloatArray, amplitude_v: FloatArray
    ) -> list[FloatArray]:
        """Return parameter vectors to start from, given a peak's (f0, Q, A)."""
        low = float(np.quantile(amplitude_v, 0.1)) ** 2
        skirt = float(np.min(Peak.amplitude(self, frequency_hz, peak))) ** 2
        floor = max(low - skirt, 0.0)
        height = math.sqrt(max(peak[2] ** 2 - floor, 0.1 * peak[2] ** 2))
        return [
            np.array([peak[0], peak[1], peak[2], 0.0]),
            np.array([peak[0], 1.5 * peak[1], height, floor]),
        ]

    def extra_units(self, parameters: FloatArray) -> FloatArray:
        """Return the size of a unit step of the floor: A^2."""
        return parameters[2:3] ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakyPeak(Peak):
    """A peak with coherent leakage past the tank, which makes it lopsided.

    Leakage c, relative to the tank's own height, adds as ``|1/(1 + jq) + c|``. A
    detector of amplitude cannot tell two such c apart, so what is fitted is what it
    can see, with A the height of the whole at f0:

        V = A x^k sqrt(((1 + s q)^2 + w q^2) / (1 + q^2))

    The extras are the lopsidedness s and the excess w. Coherent leakage has w >= 0;
    a floor of power B alone has s = 0 and w = B/A^2, so this family holds that too.
    :meth:`leakage` leads back to c.
    """

    extra_names: ClassVar[tuple[str, ...]] = ("lopsidedness", "excess")

    @property
    def label(self) -> str:
        """The family in a few words, for a table or a message."""
        return f"peak with leakage, k = {self.exponent:g}"

    def amplitude(self, frequency_hz: FloatArray, parameters: FloatArray) -> FloatArray:
        """Return the amplitude in V at `frequency_hz` in Hz, any shape."""
        x = frequency_hz / parameters[0]
        q = parameters[1] * (x - 1.0 / x)
        top = (1.0 + parameters[3] * q) ** 2 + parameters[4] * (q * q)
        result: FloatArray = parameters[2] * np.sqrt(
            np.maximum(top, 0.0) / (1.0 + q * q)
        )
        return result if self.exponent == 0.0 else result * x**self.exponent

    def amplitude_and_slopes(
        self, frequency_hz: FloatArray, parameters: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return the amplitudes, shape (N,), and their slopes per step, (5, N)."""
        f0, q_factor, height, s, w = parameters
        x = frequency_hz / f0
        q = q_factor * (x - 1.0 / x)
        inverse = 1.0 / (1.0 + q * q)
        lean = 1.0 + s * q
        top = np.maximum(lean * lean + w * (q * q), 1e-12)
        v = height * np.sqrt(top * inverse)
        if self.exponent != 0.0:
            v = v * x**self.exponent
        # d(ln V)/dq of the fraction under the root
        d_q = v * ((s * lean + w * q) / top - q * inverse)
        slopes = np.empty((5, v.size))
        slopes[0] = -0.5 * (x + 1.0 / x) * d_q - v * (self.exponent / (2.0 * q_factor))
        slopes[1] = q * d_q
        slopes[2] = v
        slopes[3] = v * lean * q / top
        slopes[4] = 0.5 * v * q * q / top
        return v, slopes

    def starts(
        self,
        peak: FloatArray,
        *,
        frequency_hz: FloatArray,  # noqa: ARG002 - other families need it
        amplitude_v: FloatArray,  # noqa: ARG002 - other families need it
    ) -> list[FloatArray]:
        """Return parameter vectors to start from, given a peak's (f0, Q, A)."""
        return [
            np.array([*peak[:3], 0.0, 0.0]),
            np.array([peak[0], 1.5 * peak[1], peak[2], 0.0, 0.02]),
        ]

    def leakage(self, parameters: FloatArray) -> tuple[complex, complex]:
        """Return the two leakages c, relative to the tank's height, that fit alike.

        Parameters
        ----------
        parameters
            (f0, Q, A, s, w), shape (5,).

        Returns
        -------
        tuple of complex
            The smaller in size first. Both have the tank's phase at f0 as reference.

        Notes
        -----
        With H the tank's height, ``A = H |1 + c|``, ``s = -Im c / |1 + c|^2`` and
        ``s^2 + w = |c|^2 / |1 + c|^2``: a quadratic in ``1/|1 + c|^2``. A slightly
        negative w, as noise can give, counts as zero.
        """
        s, w = float(parameters[3]), max(float(parameters[4]), 0.0)
        far = s * s + w  # |c|^2 over |1 + c|^2
        # g = 1/|1+c|^2: g = 1 - 2 Re(c) g - far and (Re(c) g)^2 = far g - s^2
        half = 1.0 + far
        root = math.sqrt(max(half * half - (1.0 - far) ** 2 - 4.0 * s * s, 0.0))
        found = []
        for g in (half + root, half - root):
            real = (1.0 - far - g) / (2.0 * g)
            found.append(complex(real, -s / g))
        first, second = sorted(found, key=abs)
        return first, second
