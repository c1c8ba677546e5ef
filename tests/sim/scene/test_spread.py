"""Nominal values with a spread, and the streams they are drawn from."""

import numpy as np
import pytest
from pydantic import ValidationError

from halfpower.sim.scene import Spread, stream

N = 4000


def draws(spread):
    """Draw from many seeds."""
    return np.array([spread.draw(stream(seed, "x")) for seed in range(N)])


@pytest.mark.parametrize(
    "spread",
    [
        Spread(nominal=150e-12, half_width=1.5e-12),
        Spread(nominal=150e-12, half_width_relative=0.01),
    ],
)
def test_a_half_width_is_rectangular(spread):
    """Nothing outside it, and the sd is a / sqrt(3) (JCGM 100, 4.3.7)."""
    x = draws(spread)
    assert np.abs(x - 150e-12).max() <= 1.5e-12
    # the sd of N rectangular draws scatters by about 0.45 / sqrt(N)
    assert x.std() == pytest.approx(1.5e-12 / np.sqrt(3.0), rel=0.04, abs=0.0)
    assert spread.standard_uncertainty == pytest.approx(
        1.5e-12 / np.sqrt(3.0), rel=1e-9, abs=0.0
    )


@pytest.mark.parametrize(
    "spread", [Spread(nominal=-2.0, sd=0.1), Spread(nominal=-2.0, sd_relative=0.05)]
)
def test_a_standard_deviation_is_normal(spread):
    """Two thirds lie within one, and some lie beyond two."""
    x = (draws(spread) + 2.0) / 0.1
    assert x.std() == pytest.approx(1.0, rel=0.05)  # scatters by 1 / sqrt(2 N)
    assert np.mean(np.abs(x) < 1.0) == pytest.approx(0.683, abs=0.03)
    assert spread.standard_uncertainty == pytest.approx(0.1)


def test_an_exact_value_is_not_drawn():
    """Without a spread the nominal value is the true one."""
    assert Spread(nominal=3.3e-6).draw(stream(1, "x")) == 3.3e-6


def test_two_spreads_or_a_negative_one_are_refused():
    """One kind of spread, not below nothing."""
    with pytest.raises(ValidationError, match="give one of"):
        Spread(nominal=1.0, sd=0.1, half_width=0.2)
    with pytest.raises(ValidationError, match="cannot be negative"):
        Spread(nominal=1.0, sd=-0.1)


def test_streams_differ_by_name_and_by_seed():
    """So that a value more in a scene leaves the others alone."""
    values = {stream(s, n).random() for s in (0, 1) for n in ("a", "b")}
    assert len(values) == 4
    assert stream(7, "a").random() == stream(7, "a").random()
