"""Stated values: what their limits and their draws amount to."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfpower.analysis import InputError, Stated

DRAWS = 200_000
FOUR_SIGMA = 4.0 / math.sqrt(DRAWS)


@given(st.floats(min_value=0.0, max_value=1e12))
def test_limits_are_root_three_standard_uncertainties(half_width: float) -> None:
    """The standard deviation of a rectangle is a/sqrt(3), on either sign of a."""
    stated = Stated.within(1.0, half_width=half_width)
    assert stated.u == pytest.approx(half_width / math.sqrt(3.0))
    assert stated == Stated.within(1.0, half_width=-half_width)


@pytest.mark.parametrize("distribution", ["normal", "rectangular"])
def test_draws_have_the_stated_mean_and_width(distribution: str) -> None:
    """Within four standard errors of 200 000 draws; u(s)/s = 1/sqrt(2N)."""
    stated = Stated(value=5.0, u=0.5, distribution=distribution)  # type: ignore[arg-type] # a str that is one
    drawn = stated.draw(np.random.default_rng(3), size=DRAWS)
    assert drawn.shape == (DRAWS,)
    assert drawn.mean() == pytest.approx(5.0, abs=0.5 * FOUR_SIGMA)
    assert drawn.std() == pytest.approx(0.5, rel=FOUR_SIGMA)


def test_a_rectangle_keeps_within_its_limits_and_fills_them() -> None:
    """150 pF +- 1 %: nothing outside 148.5 to 151.5, and nearly all of it used."""
    stated = Stated.within(150e-12, half_width=1.5e-12)
    drawn = stated.draw(np.random.default_rng(3), size=DRAWS)
    assert 148.5e-12 <= drawn.min() < 148.51e-12
    assert 151.49e-12 < drawn.max() <= 151.5e-12
    # A rectangle has a quarter of its draws in each quarter of its width.
    share = np.mean(drawn < 149.25e-12)
    assert share == pytest.approx(0.25, abs=FOUR_SIGMA)


def test_what_is_exact_is_drawn_exactly() -> None:
    """U = 0 means the value itself, every time."""
    drawn = Stated(value=50.0).draw(np.random.default_rng(3), size=7)
    assert set(drawn) == {50.0}


@pytest.mark.parametrize(
    ("value", "u"),
    [(math.nan, 0.0), (math.inf, 0.0), (1.0, math.nan), (1.0, math.inf), (1.0, -1e-9)],
)
def test_what_is_no_statement_is_refused(value: float, u: float) -> None:
    """No number, infinite, or a negative width."""
    with pytest.raises(InputError, match="finite"):
        Stated(value=value, u=u)


def test_limits_that_are_no_number_are_refused() -> None:
    """Through the other door too."""
    with pytest.raises(InputError, match="finite"):
        Stated.within(1.0, half_width=math.nan)
