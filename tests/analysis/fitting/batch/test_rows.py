"""Many traces with frequencies of their own, against the single fit."""

import numpy as np
import pytest
from numpy.typing import NDArray

from halfpower.analysis import InputError, Peak, Trace, fit
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.batch.rows import fit_rows

Array = NDArray[np.float64]
N = 41


def invented_traces(
    count: int, *, seed: int = 1, exponent: float = 1.0, ranges: bool = False
) -> tuple[Array, Array, Array]:
    """Peaks of f0 near 7 MHz and Q of 60 to 300, each read about itself.

    The noise is 0.3 % of the peak; with ranges, the readings below a third of it stand
    on a range with a third of the noise.
    """
    rng = np.random.default_rng(seed)
    f0 = 7e6 * rng.uniform(0.9, 1.1, (count, 1))
    q = rng.uniform(60.0, 300.0, (count, 1))
    place = np.linspace(-4.0, 4.0, N) + rng.uniform(-0.3, 0.3, (count, 1))
    x = 1.0 + place / (2.0 * q)
    amplitude = 0.3 * x**exponent / np.sqrt(1.0 + (q * (x - 1.0 / x)) ** 2)
    size = np.where(amplitude > 0.1, 0.5, 0.5 / 3.0) if ranges else np.full_like(x, 0.5)
    noise = 0.0018 * size * rng.standard_normal((count, N))
    return x * f0, amplitude + noise, size


@pytest.mark.parametrize("ranges", [False, True])
def test_is_the_single_fit_to_a_twentieth_of_u(*, ranges: bool) -> None:
    """The public fit of the same readings and weights agrees far within u."""
    f, amplitude, size = invented_traces(25, ranges=ranges)
    rows = fit_rows(
        f, amplitude_v=amplitude, relative_u=size if ranges else None, exponent=1.0
    )
    for i in range(25):
        trace = Trace(
            frequency_hz=f[i],
            amplitude_v=amplitude[i],
            u_amplitude_v=size[i],
            u_scale_known=False,
        )
        single = fit(trace, response=Peak(exponent=1.0))
        away = single.resonant_frequency_hz - rows.resonant_frequency_hz[i]
        assert abs(away) < 0.05 * single.u_resonant_frequency_hz
        assert abs(single.loaded_q - rows.loaded_q[i]) < 0.05 * single.u_loaded_q
        assert rows.u_loaded_q[i] == pytest.approx(single.u_loaded_q, rel=0.01)


def test_scatters_as_it_says() -> None:
    """(Q - true)/u(Q) has unit spread over 3000 traces: 4 sigma of that is 0.05."""
    rng = np.random.default_rng(3)
    count = 3000
    q = rng.uniform(60.0, 300.0, (count, 1))
    x = 1.0 + (np.linspace(-4.0, 4.0, N) + rng.uniform(-1, 1, (count, 1))) / (2.0 * q)
    clean = 0.3 * x / np.sqrt(1.0 + (q * (x - 1.0 / x)) ** 2)
    noisy = clean + 0.0015 * rng.standard_normal(clean.shape)
    found = fit_rows(7e6 * x, amplitude_v=noisy, exponent=1.0)
    pull = (found.loaded_q - q[:, 0]) / found.u_loaded_q
    # Student's t with 38 degrees of freedom has a standard deviation of 1.027.
    assert pull.std() == pytest.approx(1.027, abs=0.053)
    assert abs(pull.mean()) < 4.0 / np.sqrt(count)


def test_a_glitch_is_seen() -> None:
    """A reading 10 % of the peak off the curve is called a glitch, and no other."""
    f, amplitude, _ = invented_traces(20)
    amplitude[7, 12] += 0.03
    assert np.flatnonzero(fit_rows(f, amplitude_v=amplitude).glitchy).tolist() == [7]


def test_no_peak_is_not_fitted() -> None:
    """Readings of noise alone give no numbers, and no warning."""
    f, amplitude, _ = invented_traces(3)
    amplitude[1] = 0.1 + 1e-3 * np.arange(N)
    found = fit_rows(f, amplitude_v=amplitude)
    assert found.fitted.tolist() == [True, False, True]
    assert np.isnan(found.loaded_q[1])


def test_half_a_peak_is_flagged() -> None:
    """Readings that begin at the top do not bracket the peak."""
    f, amplitude, _ = invented_traces(2)
    found = fit_rows(f[:, 18:], amplitude_v=amplitude[:, 18:], exponent=1.0)
    assert found.flag_masks[Flag.NOT_BRACKETED][0]


@pytest.mark.parametrize(
    ("f", "amplitude", "said"),
    [
        ((2, 3), (2, 3), "cannot fix"),
        ((3,), (2, 3), "cannot fix"),
        ((2, 5), (3, 5), "of shapes"),
        ((5,), (3, 6), "of shapes"),
        ((5,), (5,), "of shapes"),
    ],
)
def test_refuses(f: tuple[int, ...], amplitude: tuple[int, ...], said: str) -> None:
    """Too few readings and shapes that do not match are refused."""
    with pytest.raises(InputError, match=said):
        fit_rows(np.ones(f), amplitude_v=np.ones(amplitude))


def test_refuses_a_doubt_of_nothing_and_a_frequency_that_is_none() -> None:
    """A relative uncertainty of zero would weigh without limit."""
    f, amplitude, size = invented_traces(2)
    for wrong in (0.0, np.nan):
        with pytest.raises(InputError, match="above zero"):
            fit_rows(np.where(f > f[1, 3], wrong, f), amplitude_v=amplitude)
    size[1, 3] = 0.0
    with pytest.raises(InputError, match="above zero"):
        fit_rows(f, amplitude_v=amplitude, relative_u=size)
