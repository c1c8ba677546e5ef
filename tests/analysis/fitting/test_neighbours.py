"""Neighbours: medians look past spikes, local scatter looks past slopes."""

import numpy as np
import pytest

from halfpower.analysis.fitting.neighbours import local_scatter, running_median


def test_a_lone_spike_goes_and_a_peak_of_three_stays() -> None:
    """By hand; the ends count twice."""
    values = np.array([0.0, 9.0, 0.0, 1.0, 2.0, 1.0, 5.0])
    expected = [0.0, 0.0, 1.0, 1.0, 1.0, 2.0, 5.0]
    assert running_median(values).tolist() == expected


def test_scatter_on_a_slope_is_that_of_the_noise() -> None:
    """A straight line has no second difference.

    A median absolute deviation of N independent normal values is known to 1.17/sqrt(N)
    (37 % efficiency): 1.8 % of 4000. Second differences overlap: four of that.
    """
    noise = np.random.default_rng(1).normal(0.0, 0.01, 4000)
    assert local_scatter(np.linspace(0.0, 50.0, 4000) + noise) == pytest.approx(
        0.01, rel=0.074
    )
