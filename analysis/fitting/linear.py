"""A resonance from its readings by linear algebra alone: no start, no iteration.

With ``x_r = f/f_r`` for any reference f_r near the peak, the reciprocal power
``y = x_r^2k / V^2`` is, exactly and at every Q, ``c0 + c1 v + c2 u`` in
``u = x_r^2 - 2 + x_r^-2`` and ``v = x_r^2 - x_r^-2``. So three readings or more give
c0, c1, c2 by linear least squares, and with ``a = c2 + c1``, ``b = c2 - c1``

    f0 = f_r (b/a)^(1/4),   A'^-2 = c0 - 2 c2 + 2 sqrt(ab),   Q^2 = sqrt(ab) A'^2

where ``A' = A (f_r/f0)^k``. The weight ``V^3 / u(V)``, that makes y's errors those of
V, is first the readings' own and then the curve's.
"""

from dataclasses import dataclass

import numpy as np

from ..errors import FitError
from ..quantity import FloatArray

__all__ = ["PeakEstimate", "closed_form", "peak_of_coefficients"]

UNKNOWNS = 3
HIGHEST = 3.0  # the curve is not taken to rise above this many highest readings
RELATIVE_FLOOR = 1e-9  # of the largest amplitude: below it 1/V^2 has no use


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakEstimate:
    """A resonance without uncertainties: a start value, or a place to look.

    Attributes
    ----------
    resonant_frequency_hz
        f0 in Hz.
    loaded_q, amplitude_v
        Q and the height A in V; both None where the readings place f0 but say
        nothing of the width, as readings far down the skirts do.
    """

    resonant_frequency_hz: float
    loaded_q: float | None
    amplitude_v: float | None


def closed_form(
    frequency_hz: FloatArray,
    *,
    amplitude_v: FloatArray,
    u_amplitude_v: FloatArray | None = None,
    exponent: float = 0.0,
    passes: int = 2,
) -> PeakEstimate:
    """Estimate a peak ``A x^k / sqrt(1 + Q^2 (x - 1/x)^2)`` without a start value.

    Parameters
    ----------
    frequency_hz
        Frequencies in Hz, shape (N,), N >= 3, at least three of them different.
    amplitude_v, u_amplitude_v
        Amplitudes and, where known, their standard uncertainties in V, shape (N,).
    exponent
        The fixture's k.
    passes
        How often the weights are taken again from the curve itself.

    Raises
    ------
    FitError
        Fewer than three usable readings, or readings that curve the wrong way: no
        resonance lies near them.

    Notes
    -----
    Exact for exact readings, wherever they lie. With two passes its scatter is
    within 4 % of the information bound at 1 % noise. A floor makes the skirts shallow
    and draws Q down. One glitch above the peak spoils it: nothing here is robust.
    """
    top = float(amplitude_v.max()) if amplitude_v.size else 0.0
    use = amplitude_v > RELATIVE_FLOOR * top
    n_usable = int(np.count_nonzero(use))
    if n_usable < UNKNOWNS:
        raise FitError(
            f"{n_usable} readings above zero cannot place a resonance; it takes 3",
            n_usable=n_usable,
        )
    f, v = frequency_hz[use], amplitude_v[use] / top
    u_v = np.ones_like(v) if u_amplitude_v is None else u_amplitude_v[use] / top
    reference = float(f[np.argmax(v)])
    xi = np.log1p((f - reference) / reference)  # u and v without cancellation
    basis = np.stack(
        (np.ones_like(xi), 2.0 * np.sinh(2.0 * xi), 4.0 * np.sinh(xi) ** 2)
    )
    gain = (f / reference) ** (2.0 * exponent)
    y = gain / (v * v)
    coefficients = _solve(basis, y, v**3 / (gain * u_v))
    for _ in range(passes):
        curve = np.sqrt(gain / np.maximum(coefficients @ basis, HIGHEST**-2.0))
        coefficients = _solve(basis, y, curve**3 / (gain * u_v))
    return peak_of_coefficients(
        coefficients, reference_hz=reference, exponent=exponent, unit_v=top
    )


def _solve(basis: FloatArray, y: FloatArray, root_weight: FloatArray) -> FloatArray:
    """Solve the weighted linear least squares for c0, c1, c2."""
    columns = basis * root_weight
    size = np.sqrt(np.einsum("ij,ij->i", columns, columns))
    if not np.all(size > 0.0):
        raise FitError("readings at one frequency only cannot place a resonance")
    solution, _, rank, _ = np.linalg.lstsq(
        (columns / size[:, None]).T, y * root_weight, rcond=None
    )
    if rank < UNKNOWNS:
        raise FitError("readings at fewer than 3 frequencies cannot place a resonance")
    result: FloatArray = solution / size
    return result


def peak_of_coefficients(
    coefficients: FloatArray, *, reference_hz: float, exponent: float, unit_v: float
) -> PeakEstimate:
    """Return the peak whose reciprocal power is ``c0 + c1 v + c2 u``.

    Parameters
    ----------
    coefficients
        c0, c1, c2 in 1/unit_v^2, shape (3,).
    reference_hz
        f_r in Hz.
    exponent
        The fixture's k.
    unit_v
        The unit in V that amplitudes were measured in.

    Raises
    ------
    FitError
        The reciprocal power does not curve upwards: there is no resonance in it.
    """
    c0, c1, c2 = (float(c) for c in coefficients)
    if not c2 > abs(c1):
        raise FitError(
            "the readings do not curve like a resonance; sweep where one is expected"
        )
    root = float(np.sqrt((c2 - c1) * (c2 + c1)))
    f0 = reference_hz * ((c2 - c1) / (c2 + c1)) ** 0.25
    # c0 - 2 c2 + 2 root, written so that nothing cancels at a high Q
    inverse_power = c0 - 2.0 * c1 * c1 / (c2 + root)
    if inverse_power <= 0.0:
        return PeakEstimate(resonant_frequency_hz=f0, loaded_q=None, amplitude_v=None)
    height = unit_v / float(np.sqrt(inverse_power)) * (f0 / reference_hz) ** exponent
    return PeakEstimate(
        resonant_frequency_hz=f0,
        loaded_q=float(np.sqrt(root / inverse_power)),
        amplitude_v=height,
    )
