"""The choice of a family: right where the readings tell, honest where they do not."""

import numpy as np
import pytest

from halfpower.analysis import LeakyPeak, Peak, PeakOnFloor, Response, Trace, fit
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.resonance import AUTO, ResonanceFit

F0, A = 7.1e6, 0.4


def fitted(
    response: Response, extra: list[float], *, q: float, span: float, seed: int = 1
) -> ResonanceFit:
    """Return the fit, family left open, of a noisy trace of a known one."""
    f = F0 * np.exp(np.arcsinh(np.linspace(-span, span, 121) / (2 * q)))
    v = response.amplitude(f, np.array([F0, q, A, *extra]))
    noise = np.random.default_rng(seed).normal(0, 0.005 * A, f.size)
    return fit(Trace(frequency_hz=f, amplitude_v=np.abs(v + noise)), response=AUTO)


@pytest.mark.parametrize("k", [-1.0, 0.0, 1.0, 2.0])
def test_a_wide_sweep_tells_the_exponent(k: float) -> None:
    """At Q = 10 over +/-10 half-bandwidths x^k is far above 0.5 % of noise."""
    assert fitted(Peak(exponent=k), [], q=10, span=10).response == Peak(exponent=k)


def test_a_floor_is_found() -> None:
    """Power of 1 % of the peak's, seen from +/-12 half-bandwidths."""
    found = fitted(PeakOnFloor(), [0.01 * A * A], q=300, span=12)
    assert found.response == PeakOnFloor()
    assert found.extra[0].value == pytest.approx(0.01 * A * A, rel=0.1)


def test_leakage_is_found() -> None:
    """A lopsidedness of 5 %."""
    found = fitted(LeakyPeak(), [0.05, 0.0], q=300, span=8)
    assert found.response == LeakyPeak()


def test_a_plain_peak_stays_one() -> None:
    """A more complex family by chance: of 100 traces no more than five.

    A likelihood ratio of 6 + ln 121 has a chance of 1e-3 for one parameter more; the
    exponents compete at 6 alone, 1.4 %, where the sweep is narrow.
    """
    chosen = [fitted(Peak(), [], q=300, span=5, seed=i).response for i in range(100)]
    assert sum(response != Peak() for response in chosen) <= 5


def test_the_choice_is_shown() -> None:
    """Named, with every family's figure, and shares that sum to one."""
    choice = fitted(Peak(), [], q=100, span=5).choice
    assert choice is not None
    assert "BIC" in choice.criterion
    assert len(choice.candidates) == 7
    assert sum(row.share for row in choice.candidates) == pytest.approx(1.0)
    best = min(row.bic for row in choice.candidates if row.bic is not None)
    assert best == 0.0


def test_what_is_not_decided_goes_into_the_uncertainty() -> None:
    """At Q = 150 over +/-2 half-bandwidths the exponents differ in f0 by 0.6/Q^2.

    The spread of f0 between the families, by their shares, adds in quadrature.
    """
    found = fitted(Peak(exponent=1.0), [], q=150, span=2, seed=2)
    f = F0 * np.exp(np.arcsinh(np.linspace(-2, 2, 121) / 300))
    v = Peak(exponent=1.0).amplitude(f, np.array([F0, 150, A]))
    v = v + np.random.default_rng(2).normal(0, 0.005 * A, f.size)
    alone = fit(Trace(frequency_hz=f, amplitude_v=v), response=found.response)
    assert found.choice is not None
    spread = sum(
        row.share * (row.resonant_frequency_hz - alone.resonant_frequency_hz) ** 2
        for row in found.choice.candidates
        if row.resonant_frequency_hz is not None and row.response.is_peak
    )
    total = np.hypot(alone.u_resonant_frequency_hz, np.sqrt(spread))
    assert total > 1.25 * alone.u_resonant_frequency_hz  # there is something to see
    # f0 is given less its bias, the families' are not: a hundredth of u
    assert found.u_resonant_frequency_hz == pytest.approx(total, rel=0.02)
    assert Flag.MODEL_UNDECIDED in found.flags
    assert abs(found.resonant_frequency_hz - F0) < 3 * found.u_resonant_frequency_hz


def test_a_leaky_peak_s_k_is_not_taken_for_known() -> None:
    """Made with k = 1, 5 % of leakage and Q = 15, a leaky peak of k = 0 fits as well.

    Its f0 is 2.7 of its own u off. The leaky peaks of k = -1 and 1 differ by their
    residuals alone, so that a share goes as S^(-N/2) of the sum of squares S (Schwarz's
    criterion for equally many unknowns); with the spread it is 1.1 u.
    """
    f = F0 * np.exp(np.arcsinh(np.linspace(-4, 4, 121) / 30))
    v = LeakyPeak(exponent=1.0).amplitude(f, np.array([F0, 15.0, A, 0.05, 0.0]))
    v = v + np.random.default_rng(1).normal(0, 0.003 * A, f.size)
    trace = Trace(frequency_hz=f, amplitude_v=v)
    found = fit(trace, response=AUTO)
    assert found.response == LeakyPeak(exponent=0.0)
    rivals = [fit(trace, response=LeakyPeak(exponent=k)) for k in (0.0, -1.0, 1.0)]
    squares = np.array([one.residual_v @ one.residual_v for one in rivals])
    shares = (squares / squares.min()) ** (-0.5 * f.size)
    apart = np.array([one.resonant_frequency_hz for one in rivals])
    spread = np.sqrt(shares @ (apart - apart[0]) ** 2 / shares.sum())
    total = np.hypot(rivals[0].u_resonant_frequency_hz, spread)
    assert total > 2.0 * rivals[0].u_resonant_frequency_hz  # there is something to see
    # f0 is given less its bias, the families' are not: a hundredth of u
    assert found.u_resonant_frequency_hz == pytest.approx(total, rel=0.02)
    assert Flag.MODEL_UNDECIDED in found.flags
    off = abs(found.resonant_frequency_hz - F0)
    assert off > 2.5 * rivals[0].u_resonant_frequency_hz
    assert off < 1.5 * found.u_resonant_frequency_hz


def test_few_readings_leave_k_wholly_open() -> None:
    """Eight readings say nothing of k: its four values count alike.

    Made with k = 1 at Q = 30, to 1e-4: the plain fit's f0 is 4.9 kHz off with a u of
    1.4 kHz, which the spread about it, a quarter each, makes 6.1 kHz.
    """
    f = F0 * np.exp(np.arcsinh(np.linspace(-2.5, 2.5, 8) / 60))
    v = Peak(exponent=1.0).amplitude(f, np.array([F0, 30.0, A]))
    trace = Trace(frequency_hz=f, amplitude_v=v * (1 + 1e-4 * (-1.0) ** np.arange(8)))
    found = fit(trace, response=AUTO)
    each = [fit(trace, response=Peak(exponent=k)) for k in (0.0, 1.0, -1.0, 2.0)]
    apart = np.array([one.resonant_frequency_hz for one in each])
    spread = np.sqrt(np.mean((apart - apart[0]) ** 2))
    total = np.hypot(each[0].u_resonant_frequency_hz, spread)
    assert found.u_resonant_frequency_hz == pytest.approx(total, rel=0.02)
    assert Flag.MODEL_UNDECIDED in found.flags
    assert abs(found.resonant_frequency_hz - F0) > 3 * each[0].u_resonant_frequency_hz
    assert abs(found.resonant_frequency_hz - F0) < found.u_resonant_frequency_hz


def test_a_known_family_makes_no_choice() -> None:
    """Then nothing is added to its uncertainty."""
    f = F0 * np.exp(np.arcsinh(np.linspace(-5, 5, 61) / 200))
    v = Peak().amplitude(f, np.array([F0, 100.0, A]))
    assert fit(Trace(frequency_hz=f, amplitude_v=v), response=Peak()).choice is None
