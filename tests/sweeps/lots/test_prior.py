"""A prior saves readings and never decides what is found."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from halfpower.analysis import InputError, Reading, Setting
from halfpower.sweeps import PeakPlanner
from halfpower.sweeps.errors import EdgeError, NoResonanceError
from halfpower.sweeps.lots import PriorBook
from halfpower.sweeps.lots.prior import LedSpan
from halfpower.sweeps.plan.peak_planner import PeakGoal, PeakPrior

Detector = Callable[[Setting], float]
HALF_BANDWIDTH = 1.0 / (2.0 * 100.0)  # of f0, at Q = 100


def peak(f0_hz: float, *, q: float = 100.0, height_v: float = 1.0) -> Detector:
    """Give a driven tank's response, V = A x / sqrt(1 + Q^2 t^2) (DESIGN: k = 1)."""

    def read(setting: Setting) -> float:
        x = setting.frequency_hz / f0_hz
        return height_v * x / math.hypot(1.0, q * (x - 1.0 / x))

    return read


def noisy(detector: Detector, *, seed: int = 0, noise_v: float = 1e-3) -> Detector:
    """Add white noise."""
    rng = np.random.default_rng(seed)
    return lambda setting: abs(detector(setting) + noise_v * rng.standard_normal())


def run(detector: Detector, prior: PeakPrior | None, **changes: float) -> PeakPlanner:
    """Carry out a plan between 4 and 12 MHz."""
    given = {"lowest_hz": 4e6, "highest_hz": 12e6, "exponent": 1.0} | changes
    given = {"target": 0.005, "most_readings": 200} | given
    planner = PeakPlanner(
        PeakGoal(prior=prior, **given)  # type: ignore[arg-type] # whole floats
    )
    while (setting := planner.ask()) is not None:
        planner.tell(
            Reading(frequency_hz=setting.frequency_hz, amplitude_v=detector(setting))
        )
    return planner


def expected(f0_hz: float, *, spread: float = 0.01, q: float = 100.0) -> PeakPrior:
    """Give a prior."""
    return PeakPrior(resonant_frequency_hz=f0_hz, spread_relative=spread, loaded_q=q)


@pytest.mark.parametrize("off", [-2.5, -1.0, 0.0, 1.0, 2.5])
def test_a_good_prior_halves_the_readings(off: float) -> None:
    """A part within 2.5 spreads of the others: about 37 readings instead of 85."""
    led, blind = 0, 0
    for seed in range(6):
        part = peak(7e6 * (1.0 + 0.01 * off))
        led += len(run(noisy(part, seed=seed), expected(7e6)).readings)
        blind += len(run(noisy(part, seed=seed), None).readings)
    assert led < 0.6 * blind


@pytest.mark.parametrize("off", [-0.4, -0.05, -0.015, 0.0, 0.02, 0.1, 0.6])
def test_f0_and_q_come_out_the_same_however_wrong_the_prior(off: float) -> None:
    """Within four standard uncertainties of the truth, 40 % off or right on it.

    These are the 0.5 % asked for, and for f0 the 2.83/Q of noise/sqrt(readings) of the
    best plan for Q, and half as much again: 20 free readings tell the noise to 16 %.
    """
    for seed in range(5):
        part = noisy(peak(7e6), seed=seed)
        planner = run(part, expected(7e6 * (1.0 + off)))
        found, limit = planner.found, 1e-3 / len(planner.used) ** 0.5
        assert abs(found.resonant_frequency_hz - 7e6) < (
            4.0 * found.u_resonant_frequency_hz
        )
        assert abs(found.loaded_q - 100.0) < 4.0 * found.u_loaded_q
        assert found.u_resonant_frequency_hz < 1.5 * 2.83 * limit * 7e6 / 100.0
        assert found.u_loaded_q <= 0.005 * found.loaded_q


@pytest.mark.parametrize("q", [10.0, 40.0, 400.0])
def test_another_q_than_expected_is_found_as_well(q: float) -> None:
    """A shorted turn takes Q to a third: the peak is wider than foretold."""
    found = run(noisy(peak(7e6, q=q)), expected(7.02e6)).found
    assert abs(found.loaded_q - q) < 4.0 * found.u_loaded_q
    assert found.u_loaded_q <= 0.005 * found.loaded_q


def test_no_resonance_ends_as_without_a_prior() -> None:
    """An open part, a floor of noise alone: nothing to measure."""
    rng = np.random.default_rng(3)

    def floor(setting: Setting) -> float:
        del setting
        return 1e-3 * abs(1.0 + 0.1 * rng.standard_normal())

    with pytest.raises((NoResonanceError, EdgeError)):
        run(floor, expected(7e6))


def test_a_response_that_only_falls_ends_as_without_a_prior() -> None:
    """A part whose resonance is far below the span: the same sentence."""
    said = []
    for prior in (expected(7e6), None):
        with pytest.raises(EdgeError) as caught:
            run(peak(1e6), prior)
        said.append(str(caught.value))
    assert said[0] == said[1]


def test_a_ghost_where_the_peak_was_expected_is_passed_over() -> None:
    """The harmonic rings the tank at 5 MHz; the part itself is at 10 MHz."""

    def ghostly(setting: Setting) -> float:
        doubled = Setting(frequency_hz=2.0 * setting.frequency_hz)
        return math.hypot(peak(10e6)(setting), 0.05 * peak(10e6)(doubled))

    with pytest.raises(NoResonanceError, match="ghost"):
        run(noisy(ghostly), expected(5e6), highest_hz=6e6, generator_highest_hz=60e6)
    led = run(noisy(ghostly), expected(5e6), generator_highest_hz=60e6)
    assert led.found.resonant_frequency_hz == pytest.approx(10e6, rel=1e-3)


def test_the_first_looks_are_where_the_peak_is_expected() -> None:
    """The middle, and out to three spreads where that is beyond the flanks."""
    planner = PeakPlanner(
        PeakGoal(lowest_hz=4e6, highest_hz=12e6, exponent=1.0, prior=expected(7e6))
    )
    asked = []
    for _ in range(3):
        setting = planner.ask()
        assert setting is not None
        asked.append(setting.frequency_hz)
        planner.tell(Reading(frequency_hz=setting.frequency_hz, amplitude_v=1.0))
    assert asked == pytest.approx([7e6, 7e6 * 1.03, 7e6 / 1.03], rel=1e-9)


def test_the_reading_budget_holds_with_a_misleading_prior() -> None:
    """The readings that the prior cost are counted, and enough is kept for a search."""
    planner = run(noisy(peak(11e6)), expected(5e6), most_readings=120, target=1e-5)
    assert len(planner.readings) <= 120
    assert planner.found.resonant_frequency_hz == pytest.approx(11e6, rel=1e-3)


def test_too_few_readings_for_both_leave_the_prior_aside() -> None:
    """A search takes 40 + 18 readings here; 60 leave nothing for a prior."""
    led = run(noisy(peak(7e6)), expected(7e6), most_readings=60)
    assert led.readings[0].frequency_hz == pytest.approx(4e6, rel=1e-12)


@pytest.mark.parametrize(
    "given", [(0.0, 0.01, 100.0), (7e6, -0.1, 100.0), (7e6, 1.0, 100.0), (7e6, 0.0, 0)]
)
def test_an_impossible_prior_is_refused(given: tuple[float, float, float]) -> None:
    """Nobody expects a peak at 0 Hz, or one with no Q."""
    f0_hz, spread, q = given
    with pytest.raises(InputError, match="cannot be expected"):
        expected(f0_hz, spread=spread, q=q)


def test_the_book_goes_by_medians() -> None:
    """Ten parts at 7 MHz +- 1 %, and three bad ones: the prior is the good ones'."""
    book = PriorBook()
    for off in np.linspace(-0.01, 0.01, 10):
        book.add(7e6 * (1.0 + off), 100.0)
    for bad in (4e6, 4.1e6, 12e6):
        book.add(bad, 10.0)
    prior = book.prior
    assert prior is not None
    assert prior.resonant_frequency_hz == pytest.approx(7e6, rel=0.005)
    assert 0.002 < prior.spread_relative < 0.02
    assert prior.loaded_q == 100.0


def test_two_parts_foretell_nothing() -> None:
    """A spread cannot be had from them."""
    book = PriorBook()
    book.add(7e6, 100.0)
    book.add(7e6, 100.0)
    assert book.prior is None


def test_a_led_span_does_not_lead_a_reference_sweep(
    open_on_scene: Callable[..., object],
) -> None:
    """The tank without a part resonates elsewhere."""
    with open_on_scene("kit-coil") as (bench, _):  # type: ignore[attr-defined] # a context
        span = LedSpan(
            lowest_hz=4e6,
            highest_hz=12e6,
            prior=expected(7e6),
            not_within_hz=(4e6, 12e6),
        )
        assert span.goal(bench.file).prior is None
        other = LedSpan(lowest_hz=4e6, highest_hz=12e6, prior=expected(7e6))
        assert other.goal(bench.file).prior == expected(7e6)
