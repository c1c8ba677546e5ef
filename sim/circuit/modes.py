"""Natural modes of a circuit: how it rings, and how strongly it is heard.

A mode is a complex frequency p at which the nodal matrix A(s) is singular. Near
it A(s)^-1 = x y^T / ((s - p) y^T A'(p) x) with its right and left null vectors x
and y, so that the response has the residue (c.x)(y.b) / (y^T A'(p) x).
"""

import math
from dataclasses import dataclass

import numpy as np

from .nodal import Circuit, ComplexArray, Scale

__all__ = ["Mode", "follow_mode", "natural_modes"]

STEP = 1e-5  # relative, of the central difference for A'(s): error about 1e-10
LOWEST_Q = 0.5  # below it a pole pair does not ring
CONVERGED = 1e-13


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """One damped oscillation of the circuit.

    Attributes
    ----------
    pole_rad_per_s
        -alpha + j omega, omega > 0.
    residue_per_s
        Residue of the response (detector volts per volt of e.m.f.) at the pole.
    """

    pole_rad_per_s: complex
    residue_per_s: complex

    @property
    def frequency_hz(self) -> float:
        """Undamped resonance, |p| / 2 pi."""
        return abs(self.pole_rad_per_s) / (2.0 * math.pi)

    @property
    def q(self) -> float:
        """Q of the mode, |p| / 2 alpha; infinite without loss."""
        alpha = -self.pole_rad_per_s.real
        return math.inf if alpha <= 0.0 else abs(self.pole_rad_per_s) / (2.0 * alpha)


def _local(
    circuit: Circuit, s: ComplexArray, scale: Scale | None
) -> tuple[ComplexArray, ComplexArray]:
    """Give A(s) and A'(s), shape (F, size, size) each."""
    step = STEP * s
    stacked = circuit.matrix(np.concatenate([s - step, s, s + step]), scale)
    below, here, above = stacked.reshape(3, len(s), circuit.size, circuit.size)
    return here, (above - below) / (2.0 * step[:, None, None])


def _near(circuit: Circuit, s: ComplexArray, scale: Scale | None) -> list[ComplexArray]:
    """Give the poles of the circuit linearised about each s."""
    here, slope = _local(circuit, s, scale)
    mu = np.linalg.eigvals(np.linalg.solve(here, slope))
    return [
        at - 1.0 / found[np.abs(found) > 1e-12 / abs(at)]
        for at, found in zip(s, mu, strict=True)
    ]


def _refine(circuit: Circuit, s: complex, scale: Scale | None) -> complex | None:
    """Walk to the pole that lies nearest; None where there is none."""
    for _ in range(40):
        try:
            (poles,) = _near(circuit, np.array([s]), scale)
        except np.linalg.LinAlgError:  # s is the pole, to the last digit
            return s
        step = poles[np.argmin(np.abs(poles - s))] - s
        s = complex(s + step)
        if abs(step) < CONVERGED * abs(s):
            return s
    return None


def _residue(circuit: Circuit, pole: complex, scale: Scale | None) -> complex:
    (here,), (slope,) = _local(circuit, np.array([pole]), scale)
    # Row and column scales differ by twelve decades; SVD of the raw matrix loses
    # the null vector, so both sides are first brought to one.
    rows = 1.0 / np.abs(here).max(axis=1)
    columns = 1.0 / (np.abs(here) * rows[:, None]).max(axis=0)
    u, _, vh = np.linalg.svd(here * rows[:, None] * columns[None, :])
    right = columns * vh[-1].conj()
    left = rows * u[:, -1].conj()
    gain = right[circuit.detector_index] * (left @ circuit.excitation)
    return complex(gain / (left @ slope @ right))


def follow_mode(circuit: Circuit, mode: Mode, scale: Scale) -> Mode:
    """Find where a mode has gone once the values have moved a little."""
    pole = _refine(circuit, mode.pole_rad_per_s, scale)
    if pole is None:
        return mode
    return Mode(pole_rad_per_s=pole, residue_per_s=_residue(circuit, pole, scale))


def _is_near(start: complex, shift_hz: float) -> bool:
    """Tell whether a pole linearised about a frequency is worth walking to."""
    hz = start.imag / (2.0 * math.pi)
    return shift_hz / 3.0 < hz < shift_hz * 3.0 and abs(start.real) <= hz * 6.0


def _rings(pole: complex) -> bool:
    return pole.real < 0.0 and abs(pole) > -2.0 * LOWEST_Q * pole.real


def natural_modes(
    circuit: Circuit,
    *,
    low_hz: float = 1e3,
    high_hz: float = 3e9,
    scale: Scale | None = None,
) -> tuple[Mode, ...]:
    """Find the modes that ring (Q > 0.5) between two frequencies.

    Parameters
    ----------
    circuit
        The circuit.
    low_hz, high_hz
        Where to look.
    scale
        Drift factors; None for 1.

    Returns
    -------
    tuple of Mode
        By rising frequency; empty where nothing rings.
    """
    found: list[complex] = []

    def is_known(pole: complex, within: float) -> bool:
        return any(abs(pole - old) < within * abs(old) for old in found)

    shifts_hz = np.geomspace(
        low_hz, high_hz, 2 + int(2.0 * math.log10(high_hz / low_hz))
    )
    axis = np.asarray(2j * math.pi * shifts_hz, np.complex128)
    linearised = _near(circuit, axis, scale)
    for shift_hz, starts in zip(shifts_hz, linearised, strict=True):
        for start in starts:
            if not _is_near(start, shift_hz) or is_known(start, 1e-4):
                continue
            pole = _refine(circuit, complex(start), scale)
            if pole is None or is_known(pole, 1e-9):
                continue
            if low_hz <= pole.imag / (2.0 * math.pi) <= high_hz and _rings(pole):
                found.append(pole)
    found.sort(key=lambda pole: pole.imag)
    return tuple(
        Mode(pole_rad_per_s=p, residue_per_s=_residue(circuit, p, scale)) for p in found
    )
