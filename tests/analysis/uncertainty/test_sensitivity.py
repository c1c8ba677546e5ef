"""The first order: all of the covariance, against a kept library and against draws."""

import math
from dataclasses import dataclass, field
from typing import Any, Generic

import numpy as np
import pytest
import uncertainties
from uncertainties import umath

from halfpower.analysis import InputError, Stated
from halfpower.analysis.uncertainty import (
    FirstOrder,
    Joint,
    Known,
    N,
    Number,
    first_order,
    named,
    stated_in,
    values_of,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part(Generic[N]):
    """Two numbers of a named part."""

    name: str
    r: N = field(metadata=named("resistance, {0.name}"))
    l: N = field(metadata=named("inductance of {0.name}"))  # noqa: E741 - a letter in a formula


@dataclass(frozen=True, slots=True, kw_only=True)
class Whole(Generic[N]):
    """Three that were measured together, two named parts, and one that is exact."""

    a: N
    b: N
    c: N
    parts: tuple[Part[N], ...]
    exact: N


CENTRE = (1.3, 0.4, 2.2)
# Any positive definite matrix will do: this is A A' of a random A, scaled to doubts of
# a few per cent.
ROOT = np.random.default_rng(8).normal(size=(3, 3)) * 0.02
COVARIANCE = ROOT @ ROOT.T


def whole(
    covariance: np.ndarray = COVARIANCE, *, dof: float = math.inf
) -> Whole[Known]:
    """What is known of it."""
    a, b, c = Joint.of_one(
        CENTRE, covariance=covariance, degrees_of_freedom=dof
    ).members
    parts: tuple[Part[Known], ...] = (
        Part(name="one", r=Stated(value=2.0, u=0.03), l=Stated(value=0.7, u=0.01)),
        Part(name="two", r=Stated(value=1.1), l=Stated.within(0.9, half_width=0.03)),
    )
    return Whole(a=a, b=b, c=c, parts=parts, exact=3.0)


def deduction(at: Whole[Number], *, by: Any = np) -> dict[str, Number]:
    """Every elementary function, and powers of what is in doubt."""
    one, two = at.parts
    return {
        "x": by.sin(at.a) * one.r / by.sqrt(at.c),
        "y": by.exp(-at.b) * by.log(at.c * two.r) + one.l**at.b,
        "z": at.a**-1.5 * by.cos(at.b * two.l) + at.exact * one.r,
    }


def by_the_library(dof: float = math.inf) -> np.ndarray:
    """The covariance of the results that the `uncertainties` package propagates."""
    wider = dof / (dof - 2.0) if math.isfinite(dof) else 1.0
    a, b, c = uncertainties.correlated_values(CENTRE, COVARIANCE * wider)
    parts = (
        Part(name="one", r=uncertainties.ufloat(2.0, 0.03),
             l=uncertainties.ufloat(0.7, 0.01)),
        Part(name="two", r=1.1, l=uncertainties.ufloat(0.9, 0.03 / math.sqrt(3.0))),
    )  # fmt: skip
    at: Whole[Any] = Whole(a=a, b=b, c=c, parts=parts, exact=3.0)
    found = deduction(at, by=umath)
    return np.array(uncertainties.covariance_matrix(list(found.values())))


@pytest.mark.parametrize("dof", [math.inf, 7.0])
def test_the_covariance_is_that_of_a_kept_library(dof: float) -> None:
    """Independent code, another way to a derivative: what is left is rounding."""
    got = first_order(deduction, whole(dof=dof))
    expected = by_the_library(dof)
    np.testing.assert_allclose(got.covariance[0], expected, rtol=1e-9)
    np.testing.assert_allclose(got.u[0], np.sqrt(np.diagonal(expected)), rtol=1e-9)


def test_a_central_difference_gives_the_same() -> None:
    """Steps of u/1000: its error is that share's square of the third derivative."""
    complex_step = first_order(deduction, whole())
    differences = first_order(deduction, whole(), share=1e-3)
    np.testing.assert_allclose(differences.values, complex_step.values, rtol=1e-15)
    np.testing.assert_allclose(
        differences.covariance, complex_step.covariance, rtol=1e-6
    )


def test_a_difference_over_a_whole_u_takes_in_what_a_result_bends() -> None:
    """x^3 over one u: (3 x^2 u + u^3), by hand."""
    x: Sized[Known] = Sized(x=Stated(value=2.0, u=0.5))
    got = first_order(lambda at: {"y": at.x**3}, x, share=1.0)
    assert got.u[0, 0] == pytest.approx(3.0 * 4.0 * 0.5 + 0.125, rel=1e-12)


def test_the_covariance_is_that_of_drawn_values() -> None:
    """Of 400 000 draws: a variance repeats to 0.22 %, four of these, and what bends.

    With doubts of 3 % or less the second order is below 0.2 % of a variance.
    """
    rng = np.random.default_rng(12)
    size = 400_000
    a, b, c = rng.multivariate_normal(CENTRE, COVARIANCE, size=size).T
    normal = rng.standard_normal((2, size))
    parts = (
        Part(name="one", r=2.0 + 0.03 * normal[0], l=0.7 + 0.01 * normal[1]),
        Part(name="two", r=1.1, l=rng.uniform(0.87, 0.93, size)),
    )
    at: Whole[Any] = Whole(a=a, b=b, c=c, parts=parts, exact=3.0)
    expected = np.cov(np.stack(list(deduction(at).values())))
    got = first_order(deduction, whole())
    scale = np.outer(got.u[0], got.u[0])
    np.testing.assert_allclose(
        got.covariance[0] / scale, expected / scale, atol=0.012, rtol=0.0
    )


def test_sources_are_named_by_their_records() -> None:
    """A phrase may hold the record's own name; what is exact is in no budget."""
    found = first_order(deduction, whole())
    assert list(found.contributions) == [
        "readings and fit",
        "resistance, one",
        "inductance of one",
        "inductance of two",
    ]
    assert list(stated_in(whole())) == [
        "resistance, one",
        "inductance of one",
        "resistance, two",
        "inductance of two",
    ]
    squares = sum(part**2 for part in found.contributions.values())
    np.testing.assert_allclose(np.sqrt(squares), found.u, rtol=1e-12)


def test_plain_values_stand_in_the_same_record() -> None:
    """With the same types, the text and the exact number left alone."""
    plain: Whole[float] = values_of(whole())
    assert (plain.a, plain.b, plain.c) == CENTRE
    assert [part.name for part in plain.parts] == ["one", "two"]
    assert plain.parts[1].l == 0.9
    assert plain.exact == 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sized(Generic[N]):
    """One number."""

    x: N


def summed(covariance: list[list[float]]) -> FirstOrder:
    """Of three that were measured together: their sum, and each."""
    given: Whole[Known] = whole(np.array(covariance))
    return first_order(
        lambda at: {"sum": at.a + at.b + at.c, "a": at.a, "b": at.b, "c": at.c}, given
    )


@pytest.mark.parametrize(
    ("covariance", "u"),
    [
        (
            [[4.0, 6.0, 2.0], [6.0, 9.0, 3.0], [2.0, 3.0, 1.0]],
            6.0,
        ),  # all one: 2 + 3 + 1
        ([[4.0, -4.0, 0.0], [-4.0, 4.0, 0.0], [0.0, 0.0, 0.0]], 0.0),  # they cancel
        ([[0.0, 0.0, 0.0], [0.0, 9.0, 0.0], [0.0, 0.0, 16.0]], 5.0),  # one is exact
        # The third is the sum of the other two: u(2 (a + b)) = 2 sqrt(5 + 2).
        ([[2.0, 1.0, 3.0], [1.0, 3.0, 4.0], [3.0, 4.0, 7.0]], 2.0 * math.sqrt(7.0)),
    ],
)
def test_a_singular_covariance_is_a_legal_one(
    covariance: list[list[float]], u: float
) -> None:
    """And comes out as it went in; cancelling leaves the rounding of a square root."""
    found = summed(covariance)
    assert found.u[0, 0] == pytest.approx(u, rel=1e-7, abs=1e-7)
    np.testing.assert_allclose(found.covariance[0, 1:, 1:], covariance, atol=1e-7)


@pytest.mark.parametrize(
    "covariance",
    [
        # r = -0.9 thrice: two of them make the third positive.
        [[1.0, -0.9, -0.9], [-0.9, 1.0, -0.9], [-0.9, -0.9, 1.0]],
        [[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [[math.nan, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
    ],
)
def test_a_matrix_that_is_no_covariance_is_refused(
    covariance: list[list[float]],
) -> None:
    """Correlations that contradict one another, or beyond 1; no variance."""
    with pytest.raises(InputError, match="no quantities have such a covariance"):
        Joint.of_one(CENTRE, covariance=np.array(covariance))


def test_parts_of_different_numbers_are_refused() -> None:
    """Two of one quantity and three of another are no rows."""
    two, three = (
        Joint(
            values=np.ones((m, 1)),
            covariance=np.ones((m, 1, 1)),
            degrees_of_freedom=np.full(m, math.inf),
        ).members[0]
        for m in (2, 3)
    )
    given: tuple[Sized[Known], ...] = (Sized(x=two), Sized(x=three))
    with pytest.raises(InputError, match="as many parts everywhere"):
        first_order(lambda at: {"y": at[0].x}, given)


def test_rows_have_each_its_own_covariance() -> None:
    """A single part is a row: two of them at once are each as alone."""
    joint = Joint(
        values=np.array([[1.0, 2.0], [3.0, 5.0]]),
        covariance=np.array([[[0.04, 0.01], [0.01, 0.09]], [[0.25, 0.0], [0.0, 0.01]]]),
        degrees_of_freedom=np.array([math.inf, 6.0]),
    )

    def product(at: tuple[Sized[Number], ...]) -> dict[str, Number]:
        first, second = at
        return {"p": first.x * second.x, "q": first.x / second.x}

    def found(some: slice) -> FirstOrder:
        one, two = joint.select(some).members
        given: tuple[Sized[Known], ...] = (Sized(x=one), Sized(x=two))
        return first_order(product, given)

    both = found(slice(None))
    for i in range(2):
        alone = found(slice(i, i + 1))
        np.testing.assert_allclose(both.covariance[i], alone.covariance[0], rtol=1e-14)
    # By hand: u^2(p) = (5 x 0.5)^2 + (3 x 0.1)^2, times 6/4 for 6 degrees of freedom.
    assert both.u[1, 0] ** 2 == pytest.approx((6.25 + 0.09) * 1.5, rel=1e-12)
