"""How stated doubts reach a prediction."""

import math
from contextlib import nullcontext
from dataclasses import dataclass
from typing import Any, Generic

import numpy as np
import pytest

from halfpower.analysis import InputError, Stated
from halfpower.analysis.predict.prediction import predicted, refuse_wide
from halfpower.analysis.uncertainty import N


@dataclass(frozen=True, slots=True, kw_only=True)
class Given(Generic[N]):
    """Up to three inputs, in the order in which a test wants them drawn."""

    a: N | None = None
    b: N | None = None
    h: N | None = None


def given(**stated: Stated) -> Given[Any]:
    """What is known of them; mypy is not to ask of each whether it is there."""
    return Given(**stated)


def quotient(at: Given[Any]) -> dict[str, Any]:
    """Give a ratio and a power, whose doubts follow by hand."""
    return {"ratio": at.a / (at.b or 1.0), "cube": at.a**3}


A, B = Stated(value=4.0, u=0.04), Stated.within(2.0, half_width=0.03)


def test_relative_doubts_add_in_squares() -> None:
    """u(a/b)/(a/b) is the root of the squares (JCGM 100:2008, 5.1.6)."""
    (ratio,) = predicted(quotient, given(a=A, b=B), units={"ratio": "1"})
    relative = math.hypot(0.01, 0.015 / math.sqrt(3.0))
    assert ratio.standard_uncertainty == pytest.approx(2.0 * relative, rel=1e-3)


def test_the_budget_names_the_larger_first() -> None:
    """1 % of a against 0.87 % of b."""
    (ratio,) = predicted(quotient, given(b=B, a=A), units={"ratio": "1"})
    assert [part.source for part in ratio.budget] == ["a", "b"]


def test_the_doubt_is_that_of_drawn_inputs() -> None:
    """Independent: the standard deviation of 200 000 draws, to 1 %."""
    rng = np.random.default_rng(7)
    a, b = A.draw(rng, size=200_000), B.draw(rng, size=200_000)
    got = predicted(quotient, given(a=A, b=B), units={"ratio": "1", "cube": "1"})
    for one, drawn in zip(got, (a / b, a**3), strict=True):
        assert one.standard_uncertainty == pytest.approx(float(np.std(drawn)), rel=0.01)


def ring(at: Given[Any]) -> dict[str, Any]:
    """Give a ring's h ln(b/a), which is no product of functions of one input each."""
    return {"size": at.h * np.log(at.b / at.a)}


@pytest.mark.parametrize(("share", "closeness"), [(0.02, 0.04), (0.10, 0.20)])
def test_the_interval_is_that_of_the_deduction_on_every_draw(
    share: float, closeness: float
) -> None:
    """Independent: JCGM 101 by brute force, 400 000 draws of three rectangles."""
    stated = {
        name: Stated.within(value, half_width=share * value)
        for name, value in (("a", 7e-3), ("b", 11.5e-3), ("h", 7e-3))
    }
    rng = np.random.default_rng(3)
    drawn = {name: one.draw(rng, size=400_000) for name, one in stated.items()}
    expected = np.quantile(ring(Given(**drawn))["size"], (0.025, 0.975))
    (size,) = predicted(ring, given(**stated), units={"size": "m"})
    assert size.interval == pytest.approx(
        tuple(expected), abs=closeness * size.standard_uncertainty, rel=0.0
    )


def test_one_rectangular_input_leaves_95_percent_of_its_limits() -> None:
    """Not 2 u, which would be beyond them: 0.95 of the half-width to each side."""
    (a,) = predicted(lambda at: {"y": 3.0 * at.b}, given(b=B), units={"y": "1"})
    assert a.interval == pytest.approx((6.0 - 0.0855, 6.0 + 0.0855), abs=1e-3)


def test_a_wide_reciprocal_has_its_own_skew_interval() -> None:
    """1/x of x between 1 and 3: from 1/2.95 to 1/1.05, exactly."""
    (y,) = predicted(
        lambda at: {"y": 1.0 / at.a},
        given(a=Stated.within(2.0, half_width=1.0)),
        units={"y": "1"},
    )
    assert y.interval == pytest.approx((1.0 / 2.95, 1.0 / 1.05), rel=0.005)


def test_a_normal_input_leaves_1_96_u() -> None:
    """JCGM 101, annex: the normal distribution's own quantiles."""
    (a,) = predicted(lambda at: {"y": at.a}, given(a=A), units={"y": "1"})
    assert a.interval == pytest.approx((4.0 - 0.0784, 4.0 + 0.0784), abs=1.5e-3)


def test_the_same_inputs_give_the_same_interval() -> None:
    """To the last digit."""
    first, second = (
        predicted(quotient, given(a=A, b=B), units={"ratio": "1"}) for _ in range(2)
    )
    assert first[0].interval == second[0].interval


@pytest.mark.parametrize(
    ("doubt", "refused"), [(1.9, True), (2.1, True), (1.3, False), (0.0, False)]
)
def test_a_doubt_of_a_third_is_refused(doubt: float, *, refused: bool) -> None:
    """Of 4: from 1.33 on; the sentence names whose and which."""
    stated = {"gap": Stated(value=4.0, u=doubt)}
    with (
        pytest.raises(InputError, match="the plates' gap is stated so widely")
        if refused
        else nullcontext()
    ):
        refuse_wide(stated, whose="plates'")


def test_exact_inputs_leave_no_doubt() -> None:
    """No contribution, no budget."""
    (cube,) = predicted(
        quotient,
        given(a=Stated(value=4.0), b=Stated(value=2.0)),
        units={"cube": "1"},
    )
    assert (cube.value, cube.standard_uncertainty, cube.budget) == (64.0, 0.0, ())
    assert cube.interval is None


def test_a_result_without_a_finite_doubt_is_refused() -> None:
    """A step that lands on a pole has no finite difference."""

    def pole(at: Given[Any]) -> dict[str, float]:
        return {"y": math.inf if at.a > 4.0 else 1.0}

    with pytest.raises(InputError, match="without a finite value"):
        predicted(pole, given(a=A), units={"y": "1"})
