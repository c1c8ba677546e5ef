"""Glitches: found, listed, and never invented."""

import numpy as np
import pytest

from halfpower.analysis import Peak, Trace, fit
from halfpower.analysis.fitting import Flag

F0, Q, A, SIGMA = 7.1e6, 120.0, 0.4, 0.004
F = F0 * np.exp(np.arcsinh((np.linspace(-5, 5, 61) + 0.4) / (2 * Q)))
CLEAN = A / np.sqrt(1 + (Q * (F / F0 - F0 / F)) ** 2)


def noisy(seed: int, n: int = 61) -> np.ndarray:
    """Return noisy amplitudes."""
    return np.abs(CLEAN + np.random.default_rng(seed).normal(0, SIGMA, n))


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("value", [0.0, 3 * A, 50 * A])
def test_planted_glitches_are_the_ones_that_are_listed(value: float, seed: int) -> None:
    """Three readings replaced, anywhere; the fit is then as good as without them."""
    bad = np.sort(np.random.default_rng(100 + seed).choice(61, 3, replace=False))
    v = noisy(seed)
    planted = v.copy()
    planted[bad] = value
    far = np.abs(planted - CLEAN) > 8 * SIGMA  # a zero far down a skirt is no glitch
    found = fit(Trace(frequency_hz=F, amplitude_v=planted), response=Peak())
    rest = np.delete(np.arange(61), found.refused)
    alone = fit(Trace(frequency_hz=F[rest], amplitude_v=v[rest]), response=Peak())
    assert found.refused == tuple(np.flatnonzero(far))
    assert found.loaded_q == pytest.approx(alone.loaded_q, rel=1e-6)
    assert found.n_readings == 61 - len(found.refused)
    assert Flag.GLITCHES_REFUSED in found.flags


def test_sound_traces_seldom_lose_a_reading() -> None:
    """One in a thousand is meant; of 300 no more than 3 (binomial, 99.97 %)."""
    lost = 0
    for seed in range(300):
        found = fit(Trace(frequency_hz=F, amplitude_v=noisy(seed)), response=Peak())
        lost += bool(found.refused)
    assert lost <= 3


def test_refusing_can_be_switched_off() -> None:
    """Then every reading counts."""
    v = noisy(1)
    v[10] = A
    trace = Trace(frequency_hz=F, amplitude_v=v)
    found = fit(trace, response=Peak(), refuse_glitches=False)
    assert found.refused == ()
    assert found.n_readings == 61


def test_order_does_not_change_what_is_refused() -> None:
    """Indices are those of the trace as it was given."""
    v = noisy(2)
    v[[7, 30]] = 3 * A
    shuffled = np.random.default_rng(3).permutation(61)
    found = fit(
        Trace(frequency_hz=F[shuffled], amplitude_v=v[shuffled]), response=Peak()
    )
    assert sorted(shuffled[list(found.refused)]) == [7, 30]


def test_many_glitches_are_flagged_as_such() -> None:
    """Eight of 61 readings."""
    v = noisy(4)
    v[[3, 9, 15, 21, 38, 44, 50, 56]] = 2 * A
    flags = fit(Trace(frequency_hz=F, amplitude_v=v), response=Peak()).flags
    assert Flag.MANY_GLITCHES in flags


def test_stated_uncertainties_set_the_scale() -> None:
    """Twenty times their noise is refused, twice is not."""
    v = CLEAN + 0.5 * SIGMA * np.cos(np.arange(61.0) * 2.4)
    v[12] += 20 * SIGMA
    v[47] += 2 * SIGMA
    u = np.full(61, SIGMA)
    trace = Trace(frequency_hz=F, amplitude_v=v, u_amplitude_v=u)
    assert fit(trace, response=Peak()).refused == (12,)


@pytest.mark.parametrize("seed", range(16))
def test_a_reading_that_the_others_do_not_foretell_is_no_glitch(seed: int) -> None:
    """Sixteen readings down the skirts and one on the top: only the planted one goes.

    The skirts foretell the top to fifty standard deviations and more (scipy's
    least squares on those sixteen), so that it may lie ten off the curve through them.
    """
    place = np.concatenate(
        (np.linspace(-7.4, -4.7, 8), [0.5], np.linspace(3.1, 6.1, 8))
    )
    f = F0 * np.exp(np.arcsinh(place / (2 * Q)))
    v = A / np.sqrt(1 + (Q * (f / F0 - F0 / f)) ** 2)
    v = v + np.random.default_rng(seed).normal(0, 0.5 * SIGMA, f.size)
    v[13] += 12.5 * SIGMA
    trace = Trace(
        frequency_hz=f, amplitude_v=v, u_amplitude_v=np.full(f.size, 0.5 * SIGMA)
    )
    assert fit(trace, response=Peak()).refused == (13,)


def test_another_shape_is_not_taken_for_glitches() -> None:
    """Five neighbours lifted together stay in the fit, and are flagged."""
    v = noisy(5)
    v[10:15] += 0.1 * A
    found = fit(Trace(frequency_hz=F, amplitude_v=v), response=Peak())
    assert not set(found.refused) & set(range(10, 15))
    assert found.flags


@pytest.mark.parametrize("seed", [5, 7, 11, 19])
def test_a_sixth_of_the_readings_lifted_cannot_hide_together(seed: int) -> None:
    """Ten of 61 lifted by 25 times the noise draw a plain fit, not a robust one.

    The seeds are ones where refusing the worst of a plain fit, round after round,
    ends with the wrong readings.
    """
    bad = np.sort(np.random.default_rng(seed).choice(61, 10, replace=False))
    v = noisy(seed)
    v[bad] += 0.1 * A
    found = fit(Trace(frequency_hz=F, amplitude_v=v), response=Peak())
    assert found.refused == tuple(bad)
