"""A series tank across a line: a notch in what passes.

``S21 = (R + jX) / (R + jX + Z0/2)`` with ``X = wL - 1/(wC) = w0 L (x - 1/x)``. So with
``Q = w0 L / (R + Z0/2)`` loaded and ``r = R / (R + Z0/2)`` the depth,

    V = A |r + jq| / |1 + jq|,    q = Q (x - 1/x)

where A is what passes far away. The bandwidth f0/Q lies between the points at which
``V^2 = A^2 (1 + r^2)/2``. The tank alone has ``Q / r``.
"""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ...errors import InputError
from ...quantity import FloatArray
from .response import Response

__all__ = ["Notch", "SeriesTank"]

SMALLEST_DEPTH = 1e-6  # -120 dB: what no detector resolves


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesTank:
    """A series tank across a line, in ohm, H, F and as the Q it has alone."""

    series_resistance_ohm: float
    inductance_h: float
    capacitance_f: float
    unloaded_q: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Notch(Response):
    """The fall of transmission past a series tank across the line.

    The extra parameter is the depth r, the least fraction of A that passes.
    """

    extra_names: ClassVar[tuple[str, ...]] = ("depth",)
    is_peak: ClassVar[bool] = False

    @property
    def label(self) -> str:
        """The family in a few words, for a table or a message."""
        return "notch"

    def amplitude(self, frequency_hz: FloatArray, parameters: FloatArray) -> FloatArray:
        """Return the amplitude in V at `frequency_hz` in Hz, any shape."""
        q = self.detuning(frequency_hz, parameters)
        q2 = q * q
        result: FloatArray = parameters[2] * np.sqrt(
            (parameters[3] ** 2 + q2) / (1.0 + q2)
        )
        return result

    def amplitude_and_slopes(
        self, frequency_hz: FloatArray, parameters: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return the amplitudes, shape (N,), and their slopes per step, (4, N)."""
        f0, q_factor, height, depth = parameters
        x = frequency_hz / f0
        q = q_factor * (x - 1.0 / x)
        q2 = q * q
        top = np.maximum(depth * depth + q2, SMALLEST_DEPTH**2)
        v = height * np.sqrt(top / (1.0 + q2))
        d_q = v * q * (1.0 / top - 1.0 / (1.0 + q2))
        slopes = np.empty((4, v.size))
        slopes[0] = -0.5 * (x + 1.0 / x) * d_q
        slopes[1] = q * d_q
        slopes[2] = v
        slopes[3] = v * depth / top
        return v, slopes

    def starts(
        self,
        peak: FloatArray,  # noqa: ARG002 - a notch has its own start
        *,
        frequency_hz: FloatArray,
        amplitude_v: FloatArray,
    ) -> list[FloatArray]:
        """Return parameter vectors to start from: where and how wide the dip is."""
        order = np.argsort(frequency_hz, kind="stable")
        f, v = frequency_hz[order], amplitude_v[order]
        height = float(np.quantile(v, 0.95))
        bottom = int(np.argmin(v))
        level = np.sqrt(0.5 * (height**2 + float(v[bottom]) ** 2))
        below, above = np.flatnonzero(v[:bottom] > level), np.flatnonzero(v > level)
        above = above[above > bottom]
        low = f[below[-1]] if below.size else f[0]
        high = f[above[0]] if above.size else f[-1]
        width = max(float(high - low), 1e-9 * float(f[bottom]))
        depth = min(max(float(v[bottom]) / height, 0.01), 0.95) if height > 0.0 else 0.5
        return [
            np.array([f[bottom], f[bottom] / width, height, depth]),
            np.array([f[bottom], 2.0 * f[bottom] / width, height, 0.5 * depth]),
        ]

    def step(self, parameters: FloatArray, step: FloatArray) -> FloatArray:
        """Return the parameters moved by a step; the depth's sign means nothing."""
        moved = Response.step(self, parameters, step)
        moved[3] = max(abs(moved[3]), SMALLEST_DEPTH)
        return moved

    def tank(
        self, parameters: FloatArray, *, line_impedance_ohm: float = 50.0
    ) -> SeriesTank:
        """Return the tank that makes the notch.

        Parameters
        ----------
        parameters
            (f0, Q, A, depth), shape (4,).
        line_impedance_ohm
            Z0 on both sides, in ohm.

        Raises
        ------
        InputError
            A depth of one or more: nothing hangs on the line.
        """
        f0, q_factor, _, depth = (float(p) for p in parameters)
        if not depth < 1.0:
            raise InputError(f"a depth of {depth:.4g} is no notch; it must be below 1")
        load = 0.5 * line_impedance_ohm
        omega = 2.0 * np.pi * f0
        reactance = q_factor * load / (1.0 - depth)
        return SeriesTank(
            series_resistance_ohm=load * depth / (1.0 - depth),
            inductance_h=reactance / omega,
            capacitance_f=1.0 / (omega * reactance),
            unloaded_q=q_factor / depth,
        )
