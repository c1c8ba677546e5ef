"""What a detector keeps of the reading before is seen, and noise is not taken for it.

The readings are made here from y = x + s (y_before - x) on a curve written out here.
"""

import math

import numpy as np
import pytest

from halfpower.analysis.fitting import Lag, ResonanceFit, Trace, fit, lag_of
from halfpower.analysis.fitting.curves import Peak
from halfpower.analysis.quantity import FloatArray

F0, Q, HEIGHT = 7e6, 150.0, 0.3
ROUND = (0.0, 1.732, -1.732, -1.732, 1.732, 0.0)  # half-bandwidths, there and back


def read(
    rng: np.random.Generator,
    *,
    share: float,
    noise: float,
    proportional: bool = False,
    rounds: int = 8,
) -> tuple[FloatArray, FloatArray]:
    """Read a tank up and down its peak with a display that keeps a share."""
    place = np.array(ROUND * rounds)
    frequency = F0 * (1.0 + place / (2.0 * Q))
    x = frequency / F0
    true = HEIGHT / np.hypot(1.0, Q * (x - 1.0 / x))
    shown = np.empty_like(true)
    before = 0.0
    for i, now in enumerate(true):
        before = shown[i] = now + share * (before - now)
    size = shown if proportional else HEIGHT
    return frequency, shown + noise * size * rng.standard_normal(shown.size)


def looked_at(frequency: FloatArray, amplitude: FloatArray) -> tuple[Lag, ResonanceFit]:
    """Fit the readings and look for a lag."""
    found = fit(Trace(frequency_hz=frequency, amplitude_v=amplitude), response=Peak())
    lag = lag_of(
        frequency,
        amplitude_v=amplitude,
        before_v=np.array([math.nan, *amplitude[:-1]]),
        used=range(frequency.size),
        found=found,
    )
    assert lag is not None
    return lag, found


@pytest.mark.parametrize("proportional", [False, True])
@pytest.mark.parametrize("share", [0.0, 0.02, 0.2])
def test_the_share_is_found_within_its_uncertainty(
    share: float, *, proportional: bool
) -> None:
    """Mean of 200 within 5 of its own deviations; stated and seen scatter alike.

    The scatter of 200 is known to 5 %, HC3 errs on the large side by a few per cent.
    """
    rng = np.random.default_rng(5)
    seen = [
        looked_at(*read(rng, share=share, noise=0.005, proportional=proportional))[0]
        for _ in range(200)
    ]
    shares = np.array([one.share for one in seen])
    stated = float(np.mean([one.u_share for one in seen]))
    assert abs(shares.mean() - share) < 5.0 * shares.std() / math.sqrt(200.0)
    assert 0.85 < stated / shares.std() < 1.35


def test_sound_readings_raise_no_alarm() -> None:
    """None in 300, at a risk of one in 10 000."""
    rng = np.random.default_rng(6)
    for _ in range(300):
        lag, _ = looked_at(*read(rng, share=0.0, noise=0.01))
        assert not lag.significant


def test_a_lag_is_told_with_what_it_did_to_q() -> None:
    """A tenth kept widens the peak; what is said of Q is what happened to it."""
    rng = np.random.default_rng(7)
    lag, found = looked_at(*read(rng, share=0.1, noise=0.002))
    assert lag.significant
    assert found.loaded_q / Q - 1.0 < -0.03
    assert lag.moved_q == pytest.approx(found.loaded_q / Q - 1.0, abs=0.01)


def test_a_drift_is_no_lag() -> None:
    """A level that falls by 1 % over the sweep leaves the share alone."""
    rng = np.random.default_rng(8)
    frequency, amplitude = read(rng, share=0.0, noise=0.002)
    falling = amplitude * np.linspace(1.0, 0.99, amplitude.size)
    assert not looked_at(frequency, falling)[0].significant


@pytest.mark.parametrize("case", ["few", "no step", "range"])
def test_what_cannot_tell_says_nothing(case: str) -> None:
    """Too few readings; none after another height; a range changed before each."""
    rng = np.random.default_rng(9)
    frequency, amplitude = read(rng, share=0.0, noise=0.002)
    before = np.array([math.nan, *amplitude[:-1]])
    used = range(frequency.size)
    found = fit(Trace(frequency_hz=frequency, amplitude_v=amplitude), response=Peak())
    if case == "few":
        used = range(7)
    elif case == "no step":
        before = amplitude.copy()
    else:
        before = np.full(amplitude.size, math.nan)
    lag = lag_of(
        frequency, amplitude_v=amplitude, before_v=before, used=used, found=found
    )
    assert lag is None
