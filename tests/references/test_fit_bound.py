"""The fit against the Cramer-Rao bound and a published comparison's findings.

Sources: Coakley, Splett, Janezic and Kaiser, IEEE Trans. MTT 51(3) 862 (2003) and
Robinson and Clegg, IEEE Trans. EMC 47(2) 399 (2005) for methods and their ranking
(abstracts read); the bound is the inverse of the Fisher information of a Lorentzian in
constant Gaussian noise, written out below; its percentages for 51 readings over four
bandwidths were computed independently of this package.
"""

import numpy as np
import pytest

from halfpower.analysis import Peak, Trace, fit
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.batch.rows import fit_rows
from halfpower.analysis.fitting.half_power import half_power

F0, Q = 1e6, 100.0


def narrow_bound(q: np.ndarray, snr: float) -> np.ndarray:
    """Return u(f0)/bandwidth and u(Q)/Q at the bound, for unit height.

    With x = 2 (f - f0)/B and A = 1/sqrt(1 + x^2): dA/df0 = 2 x A^3/B,
    dA/dQ = -A^3 x^2/Q, dA/dA0 = A.
    """
    a = 1 / np.sqrt(1 + q * q)
    j = np.stack((2 * q * a**3, -(a**3) * q * q, a))
    return np.sqrt(np.diagonal(np.linalg.inv(j @ j.T)))[:2] / snr


def even(n: int, span: float) -> tuple[np.ndarray, np.ndarray]:
    """Return detunings even over +/-span half-bandwidths, and frequencies."""
    q = np.linspace(-span, span, n)
    return q, F0 * (1 + q / (2 * Q))


@pytest.mark.parametrize(
    ("snr", "q_percent", "f0_ppm"),
    [(30, 2.61, None), (100, 0.783, 32.3), (300, 0.261, None), (1000, 0.078, 3.23)],
)
def test_stated_uncertainty_is_the_bound(
    snr: float, q_percent: float, f0_ppm: float | None
) -> None:
    """51 readings over four bandwidths: percentages computed independently."""
    q, f = even(51, 4.0)
    v = 1 / np.sqrt(1 + (Q * (f / F0 - F0 / f)) ** 2)
    u = np.full(f.size, 1 / snr)
    found = fit(Trace(frequency_hz=f, amplitude_v=v, u_amplitude_v=u), response=Peak())
    assert 100 * found.u_loaded_q / Q == pytest.approx(q_percent, rel=0.01)
    assert found.u_loaded_q / Q == pytest.approx(narrow_bound(q, snr)[1], rel=0.005)
    if f0_ppm is not None:
        assert 1e6 * found.u_resonant_frequency_hz / F0 == pytest.approx(
            f0_ppm, rel=0.01
        )


@pytest.mark.parametrize(
    ("n", "span", "snr"),
    [(51, 4.0, 30), (51, 4.0, 300), (201, 2.0, 65), (21, 2.0, 100)],
)
def test_scatter_is_at_the_bound_without_bias(n: int, span: float, snr: float) -> None:
    """Within 3 % of it over 40 000 traces (known to 0.35 %), bias below a tenth."""
    q, f = even(n, span)
    v = 1 / np.sqrt(1 + (Q * (f / F0 - F0 / f)) ** 2)
    noise = np.random.default_rng(1).normal(0, 1 / snr, (40_000, n))
    got = fit_rows(f, amplitude_v=np.abs(v + noise))
    bound = narrow_bound(q, snr)
    assert got.loaded_q.std() / Q / bound[1] < 1.03
    assert got.resonant_frequency_hz.std() / (F0 / Q) / bound[0] < 1.03
    assert abs(got.loaded_q.mean() - Q) < 0.1 * got.loaded_q.std()


def test_reciprocal_power_and_half_power_reading_are_biased_where_the_fit_is_not() -> (
    None
):
    """SNR 30, 51 readings over four bandwidths: -3.8 % and about +5 %, seen elsewhere.

    (The published ranking: a weighted fit beats the 3 dB reading.)
    """
    _, f = even(51, 4.0)
    v = 1 / np.sqrt(1 + (Q * (f / F0 - F0 / f)) ** 2)
    drawn = np.abs(v + np.random.default_rng(2).normal(0, 1 / 30, (1000, 51)))
    parabola, read = [], []
    x = f / F0 - 1
    for row in drawn:
        c2, c1, c0 = np.polyfit(x, row**-2.0, 2, w=row**3)
        parabola.append(0.5 * np.sqrt(c2 / (c0 - c1**2 / (4 * c2))))
        read.append(half_power(Trace(frequency_hz=f, amplitude_v=row)).loaded_q)
    # 1000 traces know a mean to 2.7 %/sqrt(1000) = 0.09 %, a reading's to 0.24 %
    assert np.mean(parabola) - Q == pytest.approx(-3.8, abs=0.4)
    assert np.mean(read) - Q == pytest.approx(5.0, abs=1.0)
    assert np.mean(fit_rows(f, amplitude_v=drawn).loaded_q) - Q == pytest.approx(
        0.0, abs=0.35
    )


def test_the_best_plan_reaches_the_least_uncertainty_of_q() -> None:
    """u(Q)/Q = 4 (s/A)/sqrt(N) with thirds at the peak and at Qt = +/-sqrt(3).

    The minimum follows from the Fisher matrix: by symmetry f0 drops out, and of the
    rest the best two amplitudes are 1 and 1/2.
    """
    q = np.repeat([-np.sqrt(3), 0.0, np.sqrt(3)], 10)
    assert narrow_bound(q, 100)[1] == pytest.approx(4 / 100 / np.sqrt(30), rel=1e-12)
    f = F0 * np.exp(np.arcsinh(q / (2 * Q)))
    v = 1 / np.sqrt(1 + q * q)
    u = np.full(30, 0.01)
    found = fit(Trace(frequency_hz=f, amplitude_v=v, u_amplitude_v=u), response=Peak())
    assert found.u_loaded_q / Q == pytest.approx(4 / 100 / np.sqrt(30), rel=1e-3)
    # Exact readings scatter by less than was stated; nothing else is amiss.
    assert found.flags == (Flag.CHI2_LOW,)
