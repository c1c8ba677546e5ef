"""A detector's law between, below and above its nodes."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import CubicHermiteSpline

from halfpower.analysis import InputError
from halfpower.analysis.detector import DetectorLaw

# Nodes of no detector in particular: square law at the bottom, linear at the top.
LAW = DetectorLaw(
    indicated_v=(0.01, 0.09, 0.5, 1.0),
    true_v=(0.1, 0.32, 0.9, 1.5),
    slope=(0.5, 0.6, 0.8, 1.0),
)


@given(st.floats(min_value=0.01, max_value=1.0))
def test_between_nodes_it_is_hermite_s_cubic_in_logarithms(indicated_v: float) -> None:
    """Against scipy's CubicHermiteSpline, which is written apart from it."""
    spline = CubicHermiteSpline(
        np.log(LAW.indicated_v), np.log(LAW.true_v), np.array(LAW.slope)
    )
    expected = math.exp(float(spline(math.log(indicated_v))))
    assert LAW.true_from(indicated_v) == pytest.approx(expected, rel=1e-12)


def test_below_the_lowest_node_its_power_law_goes_on() -> None:
    """Slope 1/2: a hundredth of the indication is a tenth of the amplitude."""
    assert LAW.true_from(0.0001) == pytest.approx(0.01)
    assert LAW.true_from(0.0) == 0.0
    assert LAW.true_from(-1e-5) == 0.0


def test_above_the_highest_node_it_goes_on_for_a_decibel() -> None:
    """Slope 1: 5 % more is 5 % more; 1 dB is a factor of 10^(1/20)."""
    assert LAW.true_from(1.05) == pytest.approx(1.575)
    assert LAW.highest_v == pytest.approx(1.1220185)


@given(st.lists(st.floats(min_value=1e-4, max_value=1.1), min_size=2, max_size=9))
def test_more_indicated_is_never_less_amplitude(indicated: list[float]) -> None:
    """These nodes' slopes are within Fritsch and Carlson's bound, so the law rises."""
    amplitudes = [LAW.true_from(one) for one in sorted(indicated)]
    assert amplitudes == sorted(amplitudes)


@pytest.mark.parametrize(
    ("change", "phrase"),
    [
        ({"slope": (0.5, 0.6, 0.8)}, "as many nodes"),
        ({"indicated_v": (0.01, 0.09, 0.09, 1.0)}, "indicated values do not"),
        ({"true_v": (0.1, 0.32, 0.3, 1.5)}, "true values do not"),
        ({"indicated_v": (0.0, 0.09, 0.5, 1.0)}, "indicated values do not"),
        ({"true_v": (0.1, 0.32, 0.9, math.inf)}, "true values do not"),
        ({"slope": (0.5, -0.6, 0.8, 1.0)}, "below zero"),
        ({"indicated_v": (0.1,), "true_v": (0.1,), "slope": (1.0,)}, "at least 2"),
    ],
)
def test_what_is_no_rising_law_is_refused(
    change: dict[str, tuple[float, ...]], phrase: str
) -> None:
    """It would give two amplitudes for one indication, or none."""
    columns = {
        "indicated_v": LAW.indicated_v,
        "true_v": LAW.true_v,
        "slope": LAW.slope,
    }
    with pytest.raises(InputError, match=phrase):
        DetectorLaw(**{**columns, **change})
