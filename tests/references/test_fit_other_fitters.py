"""The fit against other people's fitters of the same readings: lmfit and scikit-rf.

lmfit (Newville et al.): least squares by MINPACK with its own model and covariance.
scikit-rf: fits of Q to complex S-parameters; its 'ring slot' data come with its wheel,
its measured stripline resonator with its documentation (BSD-3-Clause, tests/data/).
"""

from pathlib import Path

import numpy as np
import pytest

from halfpower.analysis import (
    FitError,
    LeakyPeak,
    Notch,
    Peak,
    PeakOnFloor,
    Response,
    Trace,
    fit,
)
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.resonance import AUTO

lmfit = pytest.importorskip("lmfit")
DATA = Path(__file__).parent.parent / "data"


def lorentzian(f: np.ndarray, f0: float, q: float, a: float) -> np.ndarray:
    """Return a tank's amplitude, for lmfit to fit."""
    return a / np.sqrt(1 + (q * (f / f0 - f0 / f)) ** 2)


def with_floor(f: np.ndarray, f0: float, q: float, a: float, b: float) -> np.ndarray:
    """Return the same on a floor of power b."""
    return np.sqrt(lorentzian(f, f0, q, a) ** 2 + b)


@pytest.mark.parametrize("seed", range(5))
def test_lmfit_finds_the_same_peak_and_uncertainty(seed: int) -> None:
    """To 1e-3 of u; ours is less its bias, which is below 0.02 u at 0.3 % noise."""
    f = 7.1e6 * np.exp(np.arcsinh((np.linspace(-5, 5, 61) + 1) / 240))
    rng = np.random.default_rng(seed)
    v = lorentzian(f, 7.1e6, 120.0, 0.4) + rng.normal(0, 0.0012, f.size)
    ours = fit(Trace(frequency_hz=f, amplitude_v=np.abs(v)), response=Peak())
    model = lmfit.Model(lorentzian)
    theirs = model.fit(v, f=f, f0=7.1e6, q=120.0, a=0.4)
    for name, value, u in (
        ("f0", ours.resonant_frequency_hz, ours.u_resonant_frequency_hz),
        ("q", ours.loaded_q, ours.u_loaded_q),
        ("a", ours.amplitude_v, ours.u_amplitude_v),
    ):
        assert abs(value - theirs.params[name].value) < 0.02 * u
        # lmfit takes its slopes by finite differences: a percent
        assert u == pytest.approx(theirs.params[name].stderr, rel=0.01)


def test_lmfit_finds_the_same_peak_on_a_floor() -> None:
    """Four parameters, stated uncertainties."""
    f = 7.1e6 * np.exp(np.arcsinh(np.linspace(-9, 9, 91) / 240))
    rng = np.random.default_rng(7)
    v = with_floor(f, 7.1e6, 120.0, 0.4, 0.004) + rng.normal(0, 0.001, f.size)
    u = np.full(f.size, 0.001)
    ours = fit(
        Trace(frequency_hz=f, amplitude_v=v, u_amplitude_v=u), response=PeakOnFloor()
    )
    theirs = lmfit.Model(with_floor).fit(
        v, f=f, weights=1 / u, scale_covar=False, f0=7.1e6, q=110.0, a=0.4, b=0.003
    )
    assert abs(ours.loaded_q - theirs.params["q"].value) < 0.02 * ours.u_loaded_q
    assert ours.u_loaded_q == pytest.approx(theirs.params["q"].stderr, rel=0.01)
    assert ours.extra[0].value == pytest.approx(theirs.params["b"].value, rel=1e-3)
    assert ours.reduced_chi2 == pytest.approx(theirs.redchi, rel=1e-3)


STRIPLINES = [("a", 1.960227e9, 72.475), ("b", 3.927484e9, 74.018)]


def stripline(name: str) -> Trace:
    """Return a measured stripline resonator's amplitude about one resonance."""
    table = np.loadtxt(DATA / f"stripline-36mm-{name}.csv", delimiter=",", skiprows=4)
    return Trace(frequency_hz=table[:, 0], amplitude_v=table[:, 1])


@pytest.mark.parametrize(("name", "f0", "q"), STRIPLINES)
def test_amplitude_alone_agrees_with_a_complex_fit(
    name: str, f0: float, q: float
) -> None:
    """Scikit-rf fits the complex S21 of the same window; its figures are in the file.

    Leakage makes the skirts lopsided, and the choice among families finds that. The
    two models differ (theirs is linear in frequency, ours not): f0 agrees to 1/200 of
    the bandwidth, Q to 0.5 %.
    """
    found = fit(stripline(name), response=AUTO)
    assert found.response == LeakyPeak()
    assert found.resonant_frequency_hz == pytest.approx(f0, abs=f0 / q / 200)
    assert found.loaded_q == pytest.approx(q, rel=0.005)


@pytest.mark.parametrize(("name", "f0", "q"), STRIPLINES)
def test_a_plain_peak_is_wrong_about_leakage_and_says_so(
    name: str, f0: float, q: float
) -> None:
    """The same windows without the leakage: f0 is off by 1/60 of the bandwidth.

    It is flagged, and neighbours that go together widen u until it covers that, but to
    no more than twice of what it has to cover.
    """
    found = fit(stripline(name), response=Peak())
    assert Flag.RESIDUAL_PATTERN in found.flags
    off = abs(found.resonant_frequency_hz - f0)
    assert off > f0 / q / 60
    assert off < 3 * found.u_resonant_frequency_hz < 3 * 2 * off
    assert found.loaded_q == pytest.approx(q, rel=0.02)


@pytest.mark.parametrize(
    "response", [AUTO, Peak(), Peak(exponent=1.0), PeakOnFloor(), LeakyPeak()]
)
def test_the_simulated_ring_slot_is_refused_as_not_bracketed(
    response: Response | str,
) -> None:
    """Q about 3.4 at 86 GHz: a half-power point lies outside 75 to 110 GHz."""
    skrf = pytest.importorskip("skrf")
    network = skrf.Network(Path(skrf.__file__).parent / "data" / "ring slot.s2p")
    trace = Trace(frequency_hz=network.f, amplitude_v=np.abs(network.s[:, 1, 0]))
    with pytest.raises(FitError, match="not bracketed"):
        fit(trace, response=response)  # type: ignore[arg-type] # "auto" among them


@pytest.mark.parametrize("response", [AUTO, Notch()])
def test_the_measured_ring_slot_is_refused_as_not_bracketed(
    response: Response | str,
) -> None:
    """Its reflection dips at 85.9 GHz, with Q of 3.1 to 3.7 by others' fits."""
    skrf = pytest.importorskip("skrf")
    path = Path(skrf.__file__).parent / "data" / "ring slot measured.s1p"
    network = skrf.Network(path)
    trace = Trace(frequency_hz=network.f, amplitude_v=np.abs(network.s[:, 0, 0]))
    with pytest.raises(FitError, match="not bracketed"):
        fit(trace, response=response)  # type: ignore[arg-type] # "auto" among them
