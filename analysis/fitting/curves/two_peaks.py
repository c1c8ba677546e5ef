"""Two resonances in one trace.

Two tanks driven by one source add as phasors, so the response is

    V = A |x^k / (1 + jq) + (a + jb) / (1 + jq')|

with a + jb the second's height and phase relative to the first's.
"""

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ...quantity import FloatArray
from .response import Peak

__all__ = ["OtherPeak", "TwoPeaks"]


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherPeak:
    """A resonance beside the fitted one.

    Attributes
    ----------
    frequency_hz
        Where it stands, in Hz.
    amplitude_v
        How high the curve stands there, in V, the fitted one's skirt included.
    loaded_q
        Its Q, or None where it was only seen, not fitted.
    """

    frequency_hz: float
    amplitude_v: float
    loaded_q: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoPeaks(Peak):
    """Two tanks on one source; f0, Q and A are the first's.

    The extras are ln(f0'/f0), ln Q' and the second's height relative to the first's,
    in phase and in quadrature. A detector of amplitude leaves two sets of heights and
    phases open that make the same curve; frequencies and Qs are the same in both.
    """

    extra_names: ClassVar[tuple[str, ...]] = (
        "log_frequency_ratio",
        "log_second_q",
        "second_in_phase",
        "second_quadrature",
    )

    @property
    def label(self) -> str:
        """The family in a few words, for a table or a message."""
        return f"two peaks, k = {self.exponent:g}"

    def amplitude(self, frequency_hz: FloatArray, parameters: FloatArray) -> FloatArray:
        """Return the amplitude in V at `frequency_hz` in Hz, any shape."""
        result: FloatArray = self.amplitude_and_slopes(frequency_hz, parameters)[0]
        return result

    def amplitude_and_slopes(
        self, frequency_hz: FloatArray, parameters: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return the amplitudes, shape (N,), and their slopes per step, (7, N)."""
        f0, q1, height, log_ratio, log_q2, a, b = (float(p) for p in parameters)
        q2, second = math.exp(log_q2), complex(a, b)
        x1 = frequency_hz / f0
        x2 = x1 * math.exp(-log_ratio)
        color = x1**self.exponent
        one = 1.0 / (1.0 + 1j * q1 * (x1 - 1.0 / x1))
        two = 1.0 / (1.0 + 1j * q2 * (x2 - 1.0 / x2))
        total = color * one + second * two
        size = np.abs(total)
        along = height * np.conj(total) / np.maximum(size, 1e-9)
        d_one = np.real(along * color * (-1j * one * one))
        d_two = np.real(along * second * (-1j * two * two))
        pull = q2 * (x2 + 1.0 / x2) * d_two  # -dV/d(ln f0')
        slopes = np.empty((7, size.size))
        slopes[0] = (
            -0.5 * (x1 + 1.0 / x1) * d_one
            - np.real(along * color * one) * (self.exponent / (2.0 * q1))
            - pull / (2.0 * q1)
        )
        slopes[1] = q1 * (x1 - 1.0 / x1) * d_one
        slopes[2] = height * size
        slopes[3] = -pull / (2.0 * q2)
        slopes[4] = q2 * (x2 - 1.0 / x2) * d_two
        slopes[5] = np.real(along * two)
        slopes[6] = -np.imag(along * two)
        return height * size, slopes

    def extra_units(self, parameters: FloatArray) -> FloatArray:
        """Return the size of a unit step of each extra: f0' in half-bandwidths."""
        return np.array([0.5 * math.exp(-float(parameters[4])), 1.0, 1.0, 1.0])

    def starts(
        self,
        peak: FloatArray,  # noqa: ARG002 - other families need it
        *,
        frequency_hz: FloatArray,  # noqa: ARG002 - other families need it
        amplitude_v: FloatArray,  # noqa: ARG002 - other families need it
    ) -> list[FloatArray]:
        """Return nothing: one peak is no start for two; see `starts_beside`."""
        return []

    def starts_beside(self, first: FloatArray, second: FloatArray) -> list[FloatArray]:
        """Return start vectors for two peaks (f0, Q, A) seen apart, in four phases."""
        ratio = float(second[2] / first[2])
        extras = (math.log(second[0] / first[0]), math.log(second[1]))
        return [
            np.array([*first[:3], *extras, ratio * a, ratio * b])
            for a, b in ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0))
        ]

    def swapped(self, parameters: FloatArray) -> FloatArray:
        """Return the vector of the same curve at k = 0 with the second peak first."""
        f0, q1, height, log_ratio, log_q2, a, b = (float(p) for p in parameters)
        second = complex(a, b)
        turned = 1.0 / second
        return np.array(
            [
                f0 * math.exp(log_ratio),
                math.exp(log_q2),
                height * abs(second),
                -log_ratio,
                math.log(q1),
                turned.real,
                turned.imag,
            ]
        )

    def other(self, parameters: FloatArray) -> OtherPeak:
        """Return the second peak of a parameter vector, shape (7,)."""
        second_hz = float(parameters[0]) * math.exp(float(parameters[3]))
        return OtherPeak(
            frequency_hz=second_hz,
            amplitude_v=float(self.amplitude(np.array([second_hz]), parameters)[0]),
            loaded_q=math.exp(float(parameters[4])),
        )
