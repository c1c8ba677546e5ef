"""Does a display still show part of what stood before? Told from the readings' order.

A detector that has not settled shows, at reading i, not the amplitude x_i but

    y_i = x_i + s (y_i-1 - x_i),

a share s of what it showed before. A planned sweep goes up and down the peak many
times, so that the same place is read after a higher and after a lower reading: what
the residuals have in common with y_i-1 - x_i is s. The share is estimated beside the
curve's own parameters by one linear step of least squares; its uncertainty is the one
that holds whatever law the noise follows.

References
----------
MacKinnon and White (1985), J. Econometrics 29, 305: the covariance HC3.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from ..quantity import FloatArray
from .resonance_fit import ResonanceFit

__all__ = ["Lag", "lag_of"]

RISK = 1e-4  # of a false alarm in one sound sweep
# A gross lag leaves residuals that are no noise, and hides behind them.
GROSS, GROSSLY = 0.1, 3.0  # a share, and the standard deviations it then takes
LEAST_FREE = 6  # degrees of freedom that the test takes
LEAST_STEP = 0.2  # of the peak's height: steps that a lag would show in
LEAST_STEPS = 4
LEAST_LEFT = 1e-3  # of a residual, by a reading that draws the curve to itself


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """What a detector keeps of the reading before.

    Attributes
    ----------
    share, u_share
        s and its standard uncertainty: 0 for a detector that has settled.
    significant
        Whether noise alone would show it less than once in 10 000 sweeps, or a tenth
        and more of it less than once in 700.
    moved_q
        By how much of itself it has moved Q, estimated: 0.05 for 5 % too high.
    """

    share: float
    u_share: float
    significant: bool
    moved_q: float


def lag_of(
    setting: FloatArray,
    *,
    amplitude_v: FloatArray,
    before_v: FloatArray,
    used: Sequence[int],
    found: ResonanceFit,
) -> Lag | None:
    """Estimate what the detector kept of the reading before, in one sweep.

    Parameters
    ----------
    setting
        Of every reading in the order taken, in the unit of the fit's abscissa,
        shape (N,).
    amplitude_v
        What was read, in V, shape (N,).
    before_v
        What the detector showed before each, in V, shape (N,); nan where it showed
        nothing that it could have kept.
    used
        Indices of the readings that were fitted, in the fit's order.
    found
        The fit.

    Returns
    -------
    Lag or None
        None where the readings cannot tell: too few of them, or too few that follow
        on another height.
    """
    refused = set(found.refused)
    rows = np.array(
        [
            index
            for k, index in enumerate(used)
            if k not in refused and np.isfinite(before_v[index])
        ]
    )
    if rows.size == 0:
        return None
    curve, slopes = found.response.amplitude_and_slopes(setting[rows], found.parameters)
    step = before_v[rows] - curve
    steps = int(np.count_nonzero(np.abs(step) > LEAST_STEP * found.amplitude_v))
    n_free = rows.size - slopes.shape[0] - 1
    if steps < LEAST_STEPS or n_free < LEAST_FREE:
        return None
    residual = amplitude_v[rows] - curve
    size = _noise_law(residual, curve)
    design = np.vstack((step, slopes)) / size
    inverse = np.linalg.pinv(design @ design.T)
    gain = inverse @ design
    moved = gain @ (residual / size)
    leverage = np.einsum("ij,ij->j", design, gain)
    left = (residual / size - moved @ design) / np.maximum(1.0 - leverage, LEAST_LEFT)
    u_share = float(np.sqrt(np.sum((gain[0] * left) ** 2)))
    share = float(moved[0])
    surely = GROSSLY if share > GROSS else float(special.stdtrit(n_free, 1.0 - RISK))
    return Lag(
        share=share,
        u_share=u_share,
        significant=share > surely * u_share,
        moved_q=-float(moved[2]),
    )


def _noise_law(residual: FloatArray, curve: FloatArray) -> FloatArray:
    """Tell whether the noise goes with the reading; give its size but for a factor.

    By the likelihood of either law, each with its own scatter.
    """
    relative = curve / curve.max()
    alike = residual.size * np.log(np.mean(residual**2))
    going = residual.size * np.log(np.mean((residual / relative) ** 2))
    going += 2.0 * np.sum(np.log(relative))
    return relative if going < alike else np.ones_like(curve)
