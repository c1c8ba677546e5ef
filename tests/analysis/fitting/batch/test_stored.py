"""Stored readings fitted at once, and singly where they are doubtful."""

import numpy as np
import pytest
from numpy.typing import NDArray

from halfpower.analysis import InputError, Peak, Trace, fit
from halfpower.analysis.fitting.batch import StoredFits, fit_stored

Array = NDArray[np.float64]
N = 33


def invented_columns(count: int) -> dict[str, Array]:
    """Peaks near 7 MHz on two ranges, 0.3 % noise; the first readings are glances."""
    rng = np.random.default_rng(11)
    f0 = 7e6 * rng.uniform(0.9, 1.1, (count, 1))
    q = rng.uniform(80.0, 200.0, (count, 1))
    x = 1.0 + (np.linspace(-4.0, 4.0, N) + rng.uniform(-0.2, 0.2, (count, 1))) / (2 * q)
    clean = 0.3 * x / np.sqrt(1.0 + (q * (x - 1.0 / x)) ** 2)
    ranges = np.where(clean > 0.1, 0.5, 0.2)
    noisy = clean + 0.0018 * ranges * rng.standard_normal((count, N))
    used = np.ones((count, N), dtype=np.bool_)
    used[:, :3] = False
    noisy[:, :3] = 0.29  # whoever fits these too gets something else
    return {
        "frequency_hz": x * f0,
        "amplitude_v": noisy,
        "range_v": ranges,
        "used": used,
    }


def fitted(columns: dict[str, Array]) -> StoredFits:
    """Fit them with the fixture's k of 1."""
    return fit_stored(
        columns["frequency_hz"],
        amplitude_v=columns["amplitude_v"],
        range_v=columns["range_v"],
        used=columns["used"].astype(np.bool_),
        exponent=1.0,
    )


def assert_as_single(columns: dict[str, Array], found: StoredFits) -> None:
    """Compare with the public fit, to a fiftieth of its uncertainty."""
    for i in range(len(found.values)):
        keep = columns["used"][i].astype(np.bool_)
        ranges = columns["range_v"][i, keep]
        trace = Trace(
            frequency_hz=columns["frequency_hz"][i, keep],
            amplitude_v=columns["amplitude_v"][i, keep],
            u_amplitude_v=ranges if np.isfinite(ranges).all() else None,
            u_scale_known=False,
        )
        one = fit(trace, response=Peak(exponent=1.0))
        away = np.abs(found.values[i] - (one.resonant_frequency_hz, one.loaded_q))
        u = np.sqrt(np.diagonal(one.covariance)[:2])
        assert (away < 0.02 * u).all()
        np.testing.assert_allclose(np.sqrt(found.covariance[i, 1, 1]), u[1], rtol=0.01)


def test_are_the_single_fits() -> None:
    """Readings used, ranges and all."""
    columns = invented_columns(12)
    found = fitted(columns)
    assert not found.singly.any()
    assert (found.degrees_of_freedom == N - 3 - 3).all()
    assert_as_single(columns, found)


def test_parts_may_have_used_different_readings() -> None:
    """Each part's own choice counts, also where their numbers differ."""
    columns = invented_columns(6)
    columns["used"][2, 5] = columns["used"][4, [7, 20]] = False
    found = fitted(columns)
    assert found.degrees_of_freedom.tolist() == [27.0, 27.0, 26.0, 27.0, 25.0, 27.0]
    assert_as_single(columns, found)


def test_a_glitch_is_left_out_as_the_single_fit_does() -> None:
    """One reading 10 % of the peak off costs one degree of freedom and no more."""
    columns = invented_columns(5)
    columns["amplitude_v"][3, 15] += 0.03
    found = fitted(columns)
    assert not found.singly.any()
    assert found.degrees_of_freedom[3] == N - 3 - 3 - 1
    assert_as_single(columns, found)


def test_two_glitches_are_left_to_the_single_fit() -> None:
    """What one removal does not mend is fitted by itself."""
    columns = invented_columns(5)
    columns["amplitude_v"][1, [9, 24]] += (0.05, -0.04)
    found = fitted(columns)
    assert found.singly.tolist() == [False, True, False, False, False]
    assert_as_single(columns, found)


def test_half_a_peak_is_left_to_the_single_fit() -> None:
    """Read from a quarter of a half-bandwidth below the top, it is not bracketed."""
    columns = invented_columns(2)
    columns["used"][1, :15] = False
    found = fitted(columns)
    assert found.singly.tolist() == [False, True]


def test_no_peak_gives_no_value() -> None:
    """A slope is no resonance."""
    columns = invented_columns(3)
    columns["amplitude_v"][1] = 0.1 + 0.001 * np.arange(N)
    assert fitted(columns).fitted.tolist() == [True, False, True]


def test_three_readings_give_no_value() -> None:
    """Nor do fewer readings than unknowns and one more."""
    columns = invented_columns(2)
    columns["used"][0, 6:] = False
    assert fitted(columns).fitted.tolist() == [False, True]


def test_without_ranges_all_readings_weigh_the_same() -> None:
    """NaN stands for a detector without ranges; weights then change nothing."""
    columns = invented_columns(3)
    columns["range_v"][:] = np.nan
    found = fitted(columns)
    columns["range_v"][:] = 0.5
    np.testing.assert_allclose(found.values, fitted(columns).values, rtol=1e-12)


def test_columns_of_two_shapes_are_refused() -> None:
    """A reading needs its frequency."""
    columns = invented_columns(3)
    columns["frequency_hz"] = columns["frequency_hz"][:2]
    with pytest.raises(InputError, match="one shape"):
        fitted(columns)
