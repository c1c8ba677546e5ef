"""Uncertainty against the published examples of JCGM 100, 101 and 102.

Sources:

* JCGM 100:2008, annex H.2 (resistance, reactance and impedance of one circuit
  element): inputs and results read in an open copy of the example.
* JCGM 101:2008, 9.2.2 and 9.2.3 (sums of four normal, of four rectangular
  quantities): read in an open copy, and exact values computed beside.
* JCGM 101:2008, 9.4 (comparison loss): the setting and its first-order results from
  memory; the expected limits are computed here from the noncentral chi-squared
  distribution, which is the exact answer.
* The last check has no published source: a whole budget against a Monte Carlo run
  that solves the circuit's complex frequency with its own arithmetic.
"""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from scipy import stats

from halfpower.analysis import Stated
from halfpower.analysis.tank import Tank, deduce_coil
from halfpower.analysis.uncertainty import Deduced, MeasuredPair, propagate
from halfpower.analysis.uncertainty.propagation import DRAWS

# JCGM 100, table H.2: five simultaneous observations.
VOLTS = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
AMPERES = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
RADIANS = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
# Two inputs that no deduction below uses.


def by_name(results: tuple[Deduced, ...]) -> dict[str, Deduced]:
    """The results by their names."""
    return {one.name: one for one in results}


def h2_results() -> dict[str, Deduced]:
    """Annex H.2 with the covariance of the means.

    Two inputs can be handed over as a correlated pair. The third, the phase, is its
    regression on the other two plus what that leaves, which is uncorrelated with
    them: the same covariance matrix. Sine and cosine are those of the mean phase,
    turned by the deviation with the series to its third order (it is below 4e-3).
    """
    observed = np.stack((VOLTS, AMPERES, RADIANS))
    mean, covariance = observed.mean(axis=1), np.cov(observed) / 5.0
    slope = np.linalg.solve(covariance[:2, :2], covariance[:2, 2])
    left = math.sqrt(covariance[2, 2] - slope @ covariance[:2, 2])
    cosine, sine = math.cos(mean[2]), math.sin(mean[2])

    def deduction(i: Mapping[str, Any]) -> Mapping[str, Any]:
        turn = slope[0] * (i["V"] - mean[0]) + slope[1] * (i["I"] - mean[1]) + i["rest"]
        cos_turn, sin_turn = 1.0 - turn**2 / 2.0, turn - turn**3 / 6.0
        impedance = i["V"] / i["I"]
        resistance = impedance * (cosine * cos_turn - sine * sin_turn)
        reactance = impedance * (sine * cos_turn + cosine * sin_turn)
        return {
            "R": resistance,
            "X": reactance,
            "Z": impedance,
            "R + X": resistance + reactance,
            "R + Z": resistance + impedance,
            "X + Z": reactance + impedance,
        }

    pair = MeasuredPair(
        names=("V", "I"), values=(mean[0], mean[1]), covariance=covariance[:2, :2]
    )
    rest = Stated(value=0.0, u=left)
    return by_name(propagate(deduction, stated={"rest": rest}, measured=(pair,)))


@pytest.mark.parametrize(
    ("name", "value", "u"),
    # JCGM 100, table H.4, approach 1.
    [("R", 127.732, 0.071), ("X", 219.847, 0.295), ("Z", 254.260, 0.236)],
)
def test_annex_h2_gives_its_published_results(
    name: str, value: float, u: float
) -> None:
    """To the last printed digit; X's own u is 0.29558, printed as 0.295."""
    got = h2_results()[name]
    assert got.value == pytest.approx(value, abs=0.0006)
    assert got.u == pytest.approx(u, abs=0.0006)


@pytest.mark.parametrize(
    ("first", "second", "r"),
    # JCGM 100, table H.4: correlations of the results.
    [("R", "X", -0.588), ("R", "Z", -0.485), ("X", "Z", 0.993)],
)
def test_annex_h2_keeps_the_results_correlations(
    first: str, second: str, r: float
) -> None:
    """From u^2 of the sum: r = (u^2(a + b) - u^2(a) - u^2(b)) / (2 u(a) u(b))."""
    got = h2_results()
    a, b = got[first].u, got[second].u
    both = got[f"{first} + {second}"].u
    assert (both**2 - a**2 - b**2) / (2.0 * a * b) == pytest.approx(r, abs=0.0006)


def test_annex_h2_without_correlations_is_what_the_standard_warns_of() -> None:
    """Table H.5's lesson: u(R) is 0.195 then, not 0.071."""
    mean = [x.mean() for x in (VOLTS, AMPERES, RADIANS)]
    u = [x.std(ddof=1) / math.sqrt(5.0) for x in (VOLTS, AMPERES, RADIANS)]
    cosine, sine = math.cos(mean[2]), math.sin(mean[2])
    got = propagate(
        lambda i: {"R": i["V"] / i["I"] * (cosine - sine * i["turn"])},
        stated={"turn": Stated(value=0.0, u=u[2])},
        measured=(
            MeasuredPair(
                names=("V", "I"),
                values=(mean[0], mean[1]),
                covariance=np.diag([u[0] ** 2, u[1] ** 2]),
            ),
        ),
    )
    assert got[0].u == pytest.approx(0.195, abs=0.0006)


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
    stated = {
        f"X{n}": Stated(value=0.0, u=1.0, distribution=distribution)  # type: ignore[arg-type] # a str that is one
        for n in range(1, 5)
    }
    (got,) = propagate(
        lambda i: {"Y": i["X1"] + i["X2"] + i["X3"] + i["X4"]},
        stated=stated,
    )
    assert got.value == 0.0
    assert got.u == pytest.approx(2.0)
    allowed = 3.0 * math.sqrt(0.975 * 0.025 / DRAWS) / 0.029
    assert got.interval == pytest.approx((-limit, limit), abs=allowed)


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
    pair = MeasuredPair(
        names=("X1", "X2"), values=(x1, 0.0), covariance=np.diag([0.005**2] * 2)
    )
    (got,) = propagate(
        lambda i: {"loss": i["X1"] * i["X1"] + i["X2"] * i["X2"]},
        stated={},
        measured=(pair,),
    )
    assert got.value == pytest.approx(x1**2)
    assert got.u == pytest.approx(first_order_u, abs=1e-12)
    centre = (x1 / 0.005) ** 2
    exact = stats.ncx2 if centre else stats.chi2
    shape = (2, centre) if centre else (2,)
    limits = [0.005**2 * exact.ppf(p, *shape) for p in (0.025, 0.975)]
    assert got.interval == pytest.approx(limits, rel=0.03)


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
    pair = MeasuredPair(
        names=("X1", "X2"), values=(x1, 0.0), covariance=np.diag([0.005**2] * 2)
    )
    drawn = pair.draw(np.random.default_rng(4), size=400_000)
    loss = drawn[0] ** 2 + drawn[1] ** 2
    assert loss.mean() == pytest.approx(mean, abs=4.0 * u / math.sqrt(400_000))
    assert loss.std() == pytest.approx(u, rel=0.012)


def test_comparison_loss_at_zero_has_its_published_upper_limit() -> None:
    """The shortest 95 % interval is [0, 150e-6]: the 95 % quantile of the loss."""
    pair = MeasuredPair(
        names=("X1", "X2"), values=(0.0, 0.0), covariance=np.diag([0.005**2] * 2)
    )
    drawn = pair.draw(np.random.default_rng(4), size=400_000)
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
def deduced() -> dict[str, Deduced]:
    """What is to be compared with them."""
    return by_name(
        deduce_coil(
            TANK,
            measured=MeasuredPair(
                names=("resonant_frequency", "loaded_q"),
                values=(F0, Q),
                covariance=COVARIANCE,
            ),
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
    drawn: dict[str, np.ndarray], deduced: dict[str, Deduced], name: str
) -> None:
    """Value, standard uncertainty and interval, by other arithmetic and other draws.

    u repeats to 0.2 % here and an end of the interval to 0.8 % of u in either run.
    A mean differs from the value at the means by the second order: the probe's limits
    of 15 % are (8.7 %)^2 of its conductance, which is 2.4 % of the loss, and 1/R adds
    (1 %)^2: 2.8e-4 of Q or R in all, 0.03 of their u; 0.01 more for the draws.
    """
    got, sample = deduced[name], drawn[name]
    assert got.value == pytest.approx(sample.mean(), abs=0.04 * got.u)
    assert got.u == pytest.approx(sample.std(), rel=0.01)
    limits = np.quantile(sample, (0.025, 0.975))
    assert got.interval == pytest.approx(tuple(limits), abs=0.04 * got.u)
