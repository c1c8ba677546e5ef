"""3x3 algebra for many traces, against numpy's own."""

import numpy as np
import pytest

from halfpower.analysis.fitting.batch.algebra import (
    PAIRS,
    invert_symmetric,
    times_symmetric,
)

RNG = np.random.default_rng(1)
ROOT = RNG.normal(size=(20, 3, 3))
FULL = ROOT @ ROOT.transpose(0, 2, 1) + 0.1 * np.eye(3)
SIX = np.array([FULL[:, i, j] for i, j in PAIRS])


def test_inverses_are_numpys() -> None:
    """Condition numbers here are below 1e3."""
    theirs = np.linalg.inv(FULL)
    ours = invert_symmetric(SIX)
    for (i, j), entry in zip(PAIRS, ours, strict=True):
        assert entry == pytest.approx(theirs[:, i, j], rel=1e-9, abs=1e-9)


def test_products_are_numpys() -> None:
    """A matrix times a vector, for each trace."""
    x = RNG.normal(size=(20, 3))
    assert times_symmetric(SIX, x) == pytest.approx(np.einsum("mij,mj->mi", FULL, x))
