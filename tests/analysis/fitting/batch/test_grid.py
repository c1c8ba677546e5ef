"""The batch fit on one grid: the same answers as one fit at a time."""

import tracemalloc

import numpy as np
import pytest

from halfpower.analysis import Peak, Trace, fit
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.batch.grid import BatchFit
from halfpower.analysis.fitting.batch.rows import fit_rows

F0, Q, A = 7.1e6, 120.0, 0.4
F = F0 * np.exp(np.arcsinh((np.linspace(-5, 5, 61) + 1.0) / (2 * Q)))


def tank(k: float = 0.0) -> np.ndarray:
    """Return the tank's amplitude, by complex arithmetic."""
    return np.abs(A * (F / F0) ** k / (1 + 1j * Q * (F / F0 - F0 / F)))


def drawn(count: int, sigma: float, k: float = 0.0, seed: int = 1) -> np.ndarray:
    """Return noisy traces, shape (count, 61)."""
    rng = np.random.default_rng(seed)
    return np.abs(tank(k) + rng.normal(0, sigma, (count, F.size)))


def flagged(batch: BatchFit) -> np.ndarray:
    """Tell which traces raise any flag at all."""
    return np.any(list(batch.flag_masks.values()), axis=0)


@pytest.mark.parametrize("k", [-1.0, 0.0, 1.0, 2.0])
@pytest.mark.parametrize("snr", [30, 1000])
def test_the_answers_are_those_of_single_fits(snr: float, k: float) -> None:
    """To a hundredth of a standard uncertainty, uncertainties to 1 %."""
    v = drawn(40, A / snr, k)
    batch = fit_rows(F, amplitude_v=v, exponent=k)
    for i, row in enumerate(v):
        one = fit(
            Trace(frequency_hz=F, amplitude_v=row),
            response=Peak(exponent=k),
            refuse_glitches=False,
        )
        for name in ("resonant_frequency_hz", "loaded_q", "amplitude_v"):
            u = getattr(one, f"u_{name}")
            apart = getattr(batch, name)[i] - getattr(one, name)
            assert abs(apart) < 0.01 * u
            assert getattr(batch, f"u_{name}")[i] == pytest.approx(u, rel=0.01)


def test_covariance_and_noise_are_those_of_single_fits() -> None:
    """All of the matrix, to 2 % of the product of its uncertainties."""
    v = drawn(10, 0.01 * A)
    batch = fit_rows(F, amplitude_v=v)
    for i, row in enumerate(v):
        trace = Trace(frequency_hz=F, amplitude_v=row)
        one = fit(trace, response=Peak(), refuse_glitches=False)
        u = np.sqrt(np.diagonal(one.covariance))
        apart = (batch.covariance[i] - one.covariance) / np.outer(u, u)
        assert np.abs(apart).max() < 0.02
        assert batch.noise_v[i] == pytest.approx(one.noise_v, rel=1e-3)


def test_uncertainty_and_bias_are_honest_at_low_signal() -> None:
    """SNR 30, 20 000 traces: bias below 0.03 and ratio within 2 % (four sigma)."""
    batch = fit_rows(F, amplitude_v=drawn(20_000, A / 30))
    for got, u, truth in (
        (batch.loaded_q, batch.u_loaded_q, Q),
        (batch.resonant_frequency_hz, batch.u_resonant_frequency_hz, F0),
    ):
        assert abs(got.mean() - truth) < 0.03 * got.std()
        assert np.sqrt(np.mean(u**2)) == pytest.approx(got.std(), rel=0.02)


def test_no_term_of_the_bias_is_left_out_or_taken_twice() -> None:
    """SNR 30, 5000 traces and their mirror images: Q and A within four standard errors.

    What is odd in the noise cancels in a pair. The standard error is 1.3e-5 of Q;
    half the variance of ln Q alone (u = 2.5 %) would be 3.2e-4.
    """
    noise = np.random.default_rng(4).normal(0, A / 30, (5000, F.size))
    pair = [fit_rows(F, amplitude_v=np.abs(tank() + one)) for one in (noise, -noise)]
    for name, truth in (("loaded_q", Q), ("amplitude_v", A)):
        off = sum(getattr(one, name) for one in pair) / (2.0 * truth) - 1.0
        spread = off.std() / 5000**0.5
        assert spread < 1.5e-5
        assert abs(off.mean()) < 4.0 * spread


def test_the_neighbours_do_not_matter() -> None:
    """Nor where a chunk ends: 3000 traces at once are as the last 50 by themselves."""
    v = drawn(3000, 0.01 * A)
    whole = fit_rows(F, amplitude_v=v)
    part = fit_rows(F, amplitude_v=v[-50:])
    # Settling stops within 0.02 u; the steps are the same, only sums differ.
    assert part.loaded_q == pytest.approx(whole.loaded_q[-50:], rel=1e-9)


def test_traces_without_a_resonance_do_not_spoil_their_neighbours() -> None:
    """NaN, zero, constant, a slope and a peak elsewhere among sound ones."""
    v = drawn(7, 0.01 * A)
    sound = fit_rows(F, amplitude_v=v[[1, 3]]).loaded_q
    v[0] = np.nan
    v[2] = 0.0
    v[4] = 0.3
    v[5] = np.linspace(0.1, 0.4, 61)
    v[6, 3] = np.inf
    batch = fit_rows(F, amplitude_v=v)
    assert batch.fitted[[1, 3]].all()
    assert not batch.fitted[[0, 2, 6]].any()
    assert (~batch.fitted | flagged(batch))[[4, 5]].all()
    assert batch.loaded_q[[1, 3]] == pytest.approx(sound, rel=1e-9)


def test_doubtful_traces_are_flagged() -> None:
    """A sweep whose upper end is above half power, at one hundredth of noise."""
    part = F[:36]
    v = drawn(20, 0.01 * A)[:, :36]
    low = fit_rows(part, amplitude_v=v)
    open_end = Q * (part[-1] / F0 - F0 / part[-1])
    assert open_end < 2.0
    shorter = fit_rows(part[:30], amplitude_v=v[:, :30])
    assert flagged(shorter)[shorter.fitted].all()
    assert shorter.flag_masks[Flag.NOT_BRACKETED][np.argmax(shorter.fitted)]
    assert not flagged(low).all()


def test_few_readings_are_flagged_for_all() -> None:
    """Eight readings leave five degrees of freedom."""
    batch = fit_rows(F[::8], amplitude_v=drawn(5, 1e-3)[:, ::8])
    assert batch.flag_masks[Flag.FEW_READINGS].all()


def test_an_empty_batch_is_empty() -> None:
    """No traces, no results, no error."""
    batch = fit_rows(F, amplitude_v=np.empty((0, 61)))
    assert batch.fitted.size == 0


def test_memory_is_that_of_a_chunk() -> None:
    """Beyond input and output, 8 times the traces take no more than they did."""
    v = drawn(16_000, 0.01 * A)
    beyond = []
    for count in (2000, 16_000):
        tracemalloc.start()
        batch = fit_rows(F, amplitude_v=v[:count])
        now, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert batch.fitted.all()
        beyond.append(peak - now)
    # The judgement holds a dozen numbers a trace, the chunk 61 and more a reading.
    assert beyond[1] < beyond[0] + 16_000 * 8 * 16
