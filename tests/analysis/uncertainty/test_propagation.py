"""Propagation on deductions whose answer is known in closed form."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic

import numpy as np
import pytest

from halfpower.analysis import AnalysisError, Stated
from halfpower.analysis.quantity import Quantity
from halfpower.analysis.uncertainty import Joint, N, Number, propagate
from halfpower.analysis.uncertainty.monte_carlo import DRAWS

# Of a 97.5 % quantile from N draws of a normal distribution, in standard deviations:
# sqrt(p (1 - p) / N) / phi(1.96) = sqrt(0.0244 / N) / 0.0584; four of them.
QUANTILE = 4.0 * math.sqrt(0.975 * 0.025 / DRAWS) / 0.05845


@dataclass(frozen=True, slots=True, kw_only=True)
class Given(Generic[N]):
    """Two that were measured together, and up to three that were stated."""

    a: N
    b: N
    c: N | None = None
    d: N | None = None
    e: N | None = None


def pair(
    *,
    covariance: list[list[float]],
    dof: float = math.inf,
    values: tuple[float, float] = (10.0, 20.0),
) -> Joint:
    """Two measured inputs, a and b."""
    return Joint.of_one(values, covariance=np.array(covariance), degrees_of_freedom=dof)


def deduced(
    deduction: Callable[[Given[Number]], Number],
    measured: Joint,
    **stated: Stated,
) -> Quantity:
    """Propagate to one result, y."""
    a, b = measured.members
    given: Given[Any] = Given(a=a, b=b, **stated)
    (result,) = propagate(lambda at: {"y": deduction(at)}, given, units={"y": "1"})
    return result


def test_a_sum_adds_its_variances_with_the_covariance() -> None:
    """u^2(a + b + c) = 4 + 9 + 2 x 3 + 16 = 35."""
    got = deduced(
        lambda i: i.a + i.b + i.c,
        pair(covariance=[[4.0, 3.0], [3.0, 9.0]]),
        c=Stated(value=5.0, u=4.0),
    )
    assert got.value == 35.0
    assert got.standard_uncertainty == pytest.approx(math.sqrt(35.0))
    assert got.limits == pytest.approx(
        (
            35.0 - 1.95996 * got.standard_uncertainty,
            35.0 + 1.95996 * got.standard_uncertainty,
        ),
        abs=QUANTILE * got.standard_uncertainty,
    )


def test_a_difference_of_what_hangs_together_is_sure() -> None:
    """Fully correlated, a and b cancel: u^2 = 4 + 4 - 2 x 4 = 0."""
    got = deduced(
        lambda i: i.a - i.b + i.c,
        pair(covariance=[[4.0, 4.0], [4.0, 4.0]]),
        c=Stated(value=0.0, u=1e-3),
    )
    assert got.standard_uncertainty == pytest.approx(1e-3, rel=1e-6)
    assert got.limits[1] - got.limits[0] < 5e-3


def test_a_budget_names_every_source_the_largest_first() -> None:
    """2c and 3d bring 2 u_c and 3 u_d, the readings 1; squares add to u^2."""
    got = deduced(
        lambda i: i.a + 2.0 * i.c + 3.0 * i.d + i.e,
        pair(covariance=[[1.0, 0.0], [0.0, 1.0]]),
        c=Stated(value=0.0, u=5.0),
        d=Stated.within(0.0, half_width=7.0),
        e=Stated(value=1.0),
    )
    expected = {"d": 3 * 7 / math.sqrt(3), "c": 10.0, "readings and fit": 1.0}
    assert {part.source: part.u for part in got.budget} == pytest.approx(expected)
    assert [part.source for part in got.budget] == list(expected)
    assert math.hypot(*(part.u for part in got.budget)) == pytest.approx(
        got.standard_uncertainty
    )


def test_a_rectangle_s_interval_is_95_per_cent_of_its_width() -> None:
    """Of +/- 1 the middle 95 % are +/- 0.95, not +/- 1.96 x 0.577 = 1.13."""
    got = deduced(
        lambda i: i.c + 0.0 * i.a,
        pair(covariance=[[1e-12, 0.0], [0.0, 1e-12]]),
        c=Stated.within(0.0, half_width=1.0),
    )
    # sqrt(p (1 - p) / N) over the density 1/2, four of them: 0.004.
    assert got.limits == pytest.approx((-0.95, 0.95), abs=0.004)
    assert got.standard_uncertainty == pytest.approx(1.0 / math.sqrt(3.0), rel=1e-6)


def test_an_interval_of_an_inverse_is_skewed_as_it_should_be() -> None:
    """1/a of a = 10 +/- 2 (normal): limits at 1/(10 +/- 3.92), for 1/x is monotone."""
    got = deduced(lambda i: 1.0 / i.a, pair(covariance=[[4.0, 0.0], [0.0, 1e-9]]))
    assert got.limits[0] == pytest.approx(1.0 / 13.92, rel=0.01)
    assert got.limits[1] == pytest.approx(1.0 / 6.08, rel=0.02)
    assert got.standard_uncertainty == pytest.approx(2.0 / 100.0)  # first order: u/a^2


@pytest.mark.parametrize(
    ("dof", "t_95"),
    # Student's t for 95 %: JCGM 100:2008, table G.2.
    [(1, 12.71), (2, 4.30), (3, 3.18), (5, 2.57), (10, 2.23), (30, 2.04)],
)
def test_few_degrees_of_freedom_widen_the_interval_by_student_s_t(
    dof: int, t_95: float
) -> None:
    """And u by the t distribution's own standard deviation, sqrt(n/(n - 2))."""
    got = deduced(lambda i: i.a, pair(covariance=[[1.0, 0.0], [0.0, 1.0]], dof=dof))
    half = (got.limits[1] - got.limits[0]) / 2.0
    assert half == pytest.approx(t_95, rel=0.06 if dof == 1 else 0.03)
    wider = math.sqrt(dof / (dof - 2.0)) if dof >= 3 else 1.0
    assert got.standard_uncertainty == pytest.approx(wider)


def test_both_of_a_pair_share_one_chi_squared() -> None:
    """In JCGM 102's bivariate t, |a| and |b| are large together, r = 0 or not."""
    drawn = pair(covariance=[[1.0, 0.0], [0.0, 1.0]], dof=5, values=(0.0, 0.0)).draw(
        np.random.default_rng(1), size=DRAWS
    )
    # For n degrees of freedom E(a^2 b^2) / E(a^2)^2 = (n - 2)/(n - 4) = 3 at n = 5.
    together = (
        np.mean(np.abs(drawn[0]) * np.abs(drawn[1])) / np.mean(np.abs(drawn[0])) ** 2
    )
    assert together > 1.1
    assert abs(np.corrcoef(drawn)[0, 1]) < 0.05


@pytest.mark.parametrize("r", [-0.99, 0.0, 0.7, 1.0])
def test_drawn_pairs_have_their_covariance(r: float) -> None:
    """Of very different sizes, as a frequency and a Q are."""
    u_a, u_b = 40.0, 0.2
    covariance = [[u_a**2, r * u_a * u_b], [r * u_a * u_b, u_b**2]]
    drawn = pair(covariance=covariance, values=(7e6, 150.0)).draw(
        np.random.default_rng(1), size=DRAWS
    )
    got = np.cov(drawn)
    allowed = 4.0 * math.sqrt(2.0 / DRAWS)
    assert got[0, 0] == pytest.approx(u_a**2, rel=allowed)
    assert got[1, 1] == pytest.approx(u_b**2, rel=allowed)
    assert got[0, 1] == pytest.approx(r * u_a * u_b, abs=allowed * u_a * u_b)


def test_readings_without_noise_leave_the_stated_doubt_alone() -> None:
    """A covariance of zeros is a legal one."""
    got = deduced(
        lambda i: i.a * i.c,
        pair(covariance=[[0.0, 0.0], [0.0, 0.0]]),
        c=Stated(value=1.0, u=0.1),
    )
    assert got.standard_uncertainty == pytest.approx(1.0)
    assert [part.source for part in got.budget] == ["c"]


def test_the_same_inputs_give_the_same_interval() -> None:
    """To the last digit: a record can be checked against a second run."""

    def again() -> Quantity:
        return deduced(
            lambda i: i.a / i.b, pair(covariance=[[1.0, 0.1], [0.1, 1.0]], dof=7)
        )

    assert again() == again()


@pytest.mark.filterwarnings("ignore:divide by zero")
@pytest.mark.parametrize("power", [400.0])
def test_a_result_that_is_not_finite_is_refused(power: float) -> None:
    """Overflow is no number to report."""
    with (
        np.errstate(all="ignore"),
        pytest.raises(AnalysisError, match="without a finite value"),
    ):
        deduced(
            lambda i: (i.c * 1e250) * (i.c * 10.0 ** (power - 200.0)),
            pair(covariance=[[1.0, 0.0], [0.0, 1.0]]),
            c=Stated(value=1.0, u=0.1),
        )


def test_a_deduction_without_a_derivative_or_a_value_is_refused() -> None:
    """A root of what may be below zero has draws that are no numbers."""
    with pytest.raises(AnalysisError, match="leaves y without a finite value"):
        deduced(
            lambda i: np.sqrt(i.a),
            pair(covariance=[[1.0, 0.0], [0.0, 1.0]], values=(0.1, 1.0)),
        )


def test_what_is_exact_has_no_doubt() -> None:
    """Its value, no uncertainty, no budget, an interval without width."""
    got = deduced(
        lambda i: i.c**2,
        pair(covariance=[[1.0, 0.0], [0.0, 1.0]]),
        c=Stated(value=3.0),
    )
    assert (got.value, got.standard_uncertainty, got.budget) == (9.0, 0.0, ())
    assert got.interval == (9.0, 9.0)
