"""Uncertainty against the published examples of JCGM 100, 101 and 102.

Sources:

* JCGM 100:2008, annex H.2 (resistance, reactance and impedance of one circuit
  element): inputs and results read in an open copy of the example.
* JCGM 100:2008, annex H.1 (end gauge): table H.1 and the first order's unrounded
  result read in an open copy of the example.
* JCGM 101:2008, 9.2.2 and 9.2.3 (sums of four normal, of four rectangular
  quantities): read in an open copy, and exact values computed beside.
* JCGM 101:2008, 9.4 (comparison loss): the setting and its first-order results from
  memory; the expected limits are computed here from the noncentral chi-squared
  distribution, which is the exact answer.
* The last check has no published source: a whole budget against a Monte Carlo run
  that solves the circuit's complex frequency with its own arithmetic.
"""

import math
from dataclasses import dataclass
from typing import Any, Generic

import numpy as np
import pytest
from scipy import stats

from halfpower.analysis import Stated
from halfpower.analysis.quantity import Quantity
from halfpower.analysis.tank import Resonance, Tank, deduce_coil
from halfpower.analysis.uncertainty import (
    Joint,
    Known,
    N,
    Number,
    first_order,
    propagate,
)
from halfpower.analysis.uncertainty.monte_carlo import DRAWS

# JCGM 100, table H.2: five simultaneous observations.
VOLTS = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
AMPERES = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
RADIANS = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def by_name(results: tuple[Quantity, ...]) -> dict[str, Quantity]:
    """The results by their names."""
    return {one.name: one for one in results}


@dataclass(frozen=True, slots=True, kw_only=True)
class Element(Generic[N]):
    """Annex H.2's circuit element: its voltage, current and phase."""

    voltage_v: N
    current_a: N
    phase_rad: N


H2_UNITS = {"R": "ohm", "X": "ohm", "Z": "ohm"}


def h2_deduction(at: Element[Number]) -> dict[str, Number]:
    """Equations H.7 to H.9 of the standard, as they stand there."""
    return {
        "R": at.voltage_v / at.current_a * np.cos(at.phase_rad),
        "X": at.voltage_v / at.current_a * np.sin(at.phase_rad),
        "Z": at.voltage_v / at.current_a,
    }


def h2_element(*, correlated: bool = True) -> Element[Known]:
    """The means of table H.2's five, with the covariance of means."""
    observed = np.stack((VOLTS, AMPERES, RADIANS))
    covariance = np.cov(observed) / 5.0
    if not correlated:
        covariance = np.diag(np.diagonal(covariance))
    voltage, current, phase = Joint.of_one(
        observed.mean(axis=1).tolist(), covariance=covariance
    ).members
    return Element(voltage_v=voltage, current_a=current, phase_rad=phase)


@pytest.mark.parametrize(
    ("name", "value", "u"),
    # JCGM 100, table H.4, approach 1.
    [("R", 127.732, 0.071), ("X", 219.847, 0.295), ("Z", 254.260, 0.236)],
)
def test_annex_h2_gives_its_published_results(
    name: str, value: float, u: float
) -> None:
    """To the last printed digit; X's own u is 0.29558, printed as 0.295."""
    got = by_name(propagate(h2_deduction, h2_element(), units=H2_UNITS))[name]
    assert got.value == pytest.approx(value, abs=0.0006)
    assert got.standard_uncertainty == pytest.approx(u, abs=0.0006)


def test_annex_h2_keeps_the_results_correlations() -> None:
    """JCGM 100, table H.4: r(R, X) = -0.588, r(R, Z) = -0.485, r(X, Z) = 0.993."""
    covariance = first_order(h2_deduction, h2_element()).covariance[0]
    u = np.sqrt(np.diagonal(covariance))
    r = covariance / np.outer(u, u)
    got = (r[0, 1], r[0, 2], r[1, 2])
    assert got == pytest.approx((-0.588, -0.485, 0.993), abs=0.0006)


def test_annex_h2_without_correlations_is_what_the_standard_warns_of() -> None:
    """Table H.5: u of R, X and Z would be 0.195, 0.201 and 0.204."""
    got = first_order(h2_deduction, h2_element(correlated=False)).u[0]
    assert got == pytest.approx((0.195, 0.201, 0.204), abs=0.0006)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge(Generic[N]):
    """Annex H.1's end gauge of 50 mm: lengths in nm, temperatures in kelvin."""

    standard_nm: N
    difference_nm: N
    expansion: N
    off_20_k: N
    expansions_apart: N
    temperatures_apart_k: N


def gauge_length(at: Gauge[Number]) -> dict[str, Number]:
    """Equation H.3: l = ls + d - ls (da theta + as dtheta)."""
    apart = at.expansions_apart * at.off_20_k + at.expansion * at.temperatures_apart_k
    return {"length": at.standard_nm + at.difference_nm - at.standard_nm * apart}


def test_annex_h1_has_its_first_order_uncertainty() -> None:
    """JCGM 100, H.1: 50.000838 mm and u = 32 nm, which is 31.71 nm.

    The inputs are those of table H.1, in its digits: 25^2 + 9.7^2 + 2.9^2 + 16.7^2.
    """
    gauge = Gauge(
        standard_nm=Stated(value=50_000_623.0, u=25.0),
        difference_nm=Stated(value=215.0, u=9.7),
        expansion=Stated(value=11.5e-6, u=1.2e-6),
        off_20_k=Stated(value=-0.1, u=0.41),
        expansions_apart=Stated(value=0.0, u=0.58e-6),
        temperatures_apart_k=Stated(value=0.0, u=0.029),
    )
    (got,) = propagate(gauge_length, gauge, units={"length": "nm"})
    assert got.value == pytest.approx(50_000_838.0, abs=0.5)
    assert got.standard_uncertainty == pytest.approx(31.71, abs=0.006)


@dataclass(frozen=True, slots=True, kw_only=True)
class Two(Generic[N]):
    """Two inputs."""

    x1: N
    x2: N


def lossy(x1: float) -> Joint:
    """Annex 9.4's two, of u = 0.005 and without correlation."""
    return Joint.of_one((x1, 0.0), covariance=np.diag([0.005**2] * 2))


def comparison_loss(at: Two[Number]) -> dict[str, Number]:
    """Y = X1^2 + X2^2."""
    return {"loss": at.x1 * at.x1 + at.x2 * at.x2}


@pytest.mark.parametrize(
    ("distribution", "limit"),
    # JCGM 101, 9.2.2: [-3.92, 3.92]; 9.2.3: [-3.88, 3.88].
    [("normal", 3.92), ("rectangular", 3.88)],
)
def test_sums_of_four_have_their_published_interval(
    distribution: str, limit: float
) -> None:
    """Each of standard deviation 1, so u = 2.00.

    An end of the interval repeats from run to run with sqrt(p (1 - p) / N) over the
    density there, 0.029: 0.017 at N = 100 000; three of these are allowed.
    """
    one = Stated(value=0.0, u=1.0, distribution=distribution)  # type: ignore[arg-type] # a str that is one
    first: Two[Any] = Two(x1=Two(x1=one, x2=one), x2=Two(x1=one, x2=one))

    def deduction(at: Two[Any]) -> dict[str, Number]:
        return {"Y": at.x1.x1 + at.x1.x2 + at.x2.x1 + at.x2.x2}

    (got,) = propagate(deduction, first, units={"Y": "1"})
    assert got.value == 0.0
    assert got.standard_uncertainty == pytest.approx(2.0)
    allowed = 3.0 * math.sqrt(0.975 * 0.025 / DRAWS) / 0.029
    assert got.limits == pytest.approx((-limit, limit), abs=allowed)


@pytest.mark.parametrize(
    ("x1", "first_order_u"),
    # JCGM 101, 9.4: u(x1) = u(x2) = 0.005, r = 0; first order u(y) = 2 x1 u(x1).
    [(0.0, 0.0), (0.010, 100e-6), (0.050, 500e-6)],
)
def test_comparison_loss_shows_where_first_order_fails(
    x1: float, first_order_u: float
) -> None:
    """Y = X1^2 + X2^2 is u^2 times a noncentral chi-squared: its exact quantiles.

    They repeat within 3 % at 100 000 draws (0.0024 of probability at most, against a
    density that falls off no faster than the exponential's).
    """
    first, second = lossy(x1).members
    given: Two[Known] = Two(x1=first, x2=second)
    (got,) = propagate(comparison_loss, given, units={"loss": "1"})
    assert got.value == pytest.approx(x1**2)
    assert got.standard_uncertainty == pytest.approx(first_order_u, abs=1e-12)
    centre = (x1 / 0.005) ** 2
    exact = stats.ncx2 if centre else stats.chi2
    shape = (2, centre) if centre else (2,)
    limits = [0.005**2 * exact.ppf(p, *shape) for p in (0.025, 0.975)]
    assert got.limits == pytest.approx(limits, rel=0.03)


@pytest.mark.parametrize(
    ("x1", "mean", "u"),
    # JCGM 101, 9.4, Monte Carlo (from memory; exactly x1^2 + 2 u^2 = 50, 150 and
    # 2550 e-6, and 2 u sqrt(u^2 + x1^2) = 50, 111.8 and 502.5 e-6).
    [(0.0, 50e-6, 50e-6), (0.010, 150e-6, 112e-6), (0.050, 2550e-6, 502e-6)],
)
def test_drawn_comparison_loss_has_its_published_mean_and_width(
    x1: float, mean: float, u: float
) -> None:
    """Within four standard errors of 400 000 draws, and the printed digits."""
    drawn = lossy(x1).draw(np.random.default_rng(4), size=400_000)
    loss = drawn[0] ** 2 + drawn[1] ** 2
    assert loss.mean() == pytest.approx(mean, abs=4.0 * u / math.sqrt(400_000))
    assert loss.std() == pytest.approx(u, rel=0.012)


def test_comparison_loss_at_zero_has_its_published_upper_limit() -> None:
    """The shortest 95 % interval is [0, 150e-6]: the 95 % quantile of the loss."""
    drawn = lossy(0.0).draw(np.random.default_rng(4), size=400_000)
    limit = np.quantile(drawn[0] ** 2 + drawn[1] ** 2, 0.95)
    assert limit == pytest.approx(150e-6, rel=0.01)


TANK = Tank(  # invented: 150 pF +- 1 %, a probe of about 1 Mohm
    kind="coupled-tank",
    capacitor_f=Stated.within(150e-12, half_width=1.5e-12),
    capacitor_loss=Stated.within(2e-4, half_width=1e-4),
    self_capacitance_f=Stated.within(2e-12, half_width=0.3e-12),
    stray_f=Stated(value=5e-12, u=0.3e-12),
    stray_loss=Stated.within(1e-3, half_width=5e-4),
    lead_h=Stated.within(10e-9, half_width=2e-9),
    lead_ohm=Stated.within(5e-3, half_width=2e-3),
    coupling_f=Stated.within(1e-12, half_width=0.1e-12),
    source_ohm=Stated(value=50.0, u=1.0),
    probe_ohm=Stated.within(1e6, half_width=0.15e6),
    probe_f=Stated.within(10e-12, half_width=1e-12),
    frequency_reference=Stated.within(0.0, half_width=2e-5),
    linearity=Stated.within(0.0, half_width=2e-3),
    loss_exponent=Stated(value=0.5, u=0.25),
)
F0, Q = 6.75e6, 160.0
COVARIANCE = np.array([[100.0**2, 0.4 * 100.0 * 0.5], [0.4 * 100.0 * 0.5, 0.5**2]])


def monte_carlo(n: int) -> dict[str, np.ndarray]:
    """Draw every input and solve the loop at the tank's complex frequency.

    At the natural frequency s the admittances of coil and everything else cancel:
    R + sL = -1/Y(s), with Re s = -w0/2Q, |s| = w0; real and imaginary parts give R
    and L.
    """
    rng = np.random.default_rng(2024)
    rectangle = lambda value, half: value + half * rng.uniform(-1.0, 1.0, n)  # noqa: E731 - two draws by name
    normal = lambda value, u: value + u * rng.standard_normal(n)  # noqa: E731 - two draws by name
    f0, q = rng.multivariate_normal([F0, Q], COVARIANCE, size=n).T
    f0 = f0 * (1.0 + rectangle(0.0, 2e-5))
    q = q * (1.0 + 2.0 * rectangle(0.0, 2e-3))
    f0 = f0 + f0 * normal(0.5, 0.25) / (2.0 * q) ** 2  # a loss that goes as w^n
    w0 = 2.0 * np.pi * f0
    s = w0 * (-0.5 / q + 1j * np.sqrt(1.0 - 0.25 / q**2))
    capacitor, stray = rectangle(150e-12, 1.5e-12), normal(5e-12, 0.3e-12)
    loss_s = w0 * (capacitor * rectangle(2e-4, 1e-4) + stray * rectangle(1e-3, 5e-4))
    coupling, source = rectangle(1e-12, 0.1e-12), normal(50.0, 1.0)
    self_f = rectangle(2e-12, 0.3e-12)
    across = s * (capacitor + stray + self_f + rectangle(10e-12, 1e-12))
    across = across + loss_s + 1.0 / rectangle(1e6, 0.15e6)
    across = across + s * coupling / (1.0 + s * coupling * source)
    loop = -1.0 / across
    inductance = loop.imag / s.imag
    resistance = loop.real - inductance * s.real - rectangle(5e-3, 2e-3)
    inductance = inductance - rectangle(10e-9, 2e-9)
    return {
        "inductance": inductance,
        "series_resistance": resistance,
        "unloaded_q": w0 * inductance / resistance,
        "loaded_q": q,
        "bandwidth": f0 / q,
        "resonant_frequency": f0,
    }


@pytest.fixture(scope="module")
def drawn() -> dict[str, np.ndarray]:
    """Two hundred thousand coils."""
    return monte_carlo(200_000)


@pytest.fixture(scope="module")
def deduced() -> dict[str, Quantity]:
    """What is to be compared with them."""
    return by_name(
        deduce_coil(
            TANK,
            measured=Resonance.of(Joint.of_one((F0, Q), covariance=COVARIANCE)),
        )
    )


@pytest.mark.parametrize(
    "name",
    [
        "inductance",
        "series_resistance",
        "unloaded_q",
        "loaded_q",
        "bandwidth",
        "resonant_frequency",
    ],
)
def test_a_whole_budget_agrees_with_monte_carlo(
    drawn: dict[str, np.ndarray], deduced: dict[str, Quantity], name: str
) -> None:
    """Value, standard uncertainty and interval, by other arithmetic and other draws.

    u repeats to 0.2 % here and an end of the interval to 0.8 % of u in either run.
    A mean differs from the value at the means by the second order: the probe's limits
    of 15 % are (8.7 %)^2 of its conductance, which is 2.4 % of the loss, and 1/R adds
    (1 %)^2: 2.8e-4 of Q or R in all, 0.03 of their u; 0.01 more for the draws.
    """
    got, sample = deduced[name], drawn[name]
    u = got.standard_uncertainty
    assert got.value == pytest.approx(sample.mean(), abs=0.04 * u)
    assert u == pytest.approx(sample.std(), rel=0.01)
    limits = np.quantile(sample, (0.025, 0.975))
    assert got.limits == pytest.approx(tuple(limits), abs=0.04 * u)
