"""The planner finds and brackets a peak, stops as asked, and refuses what it must."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from halfpower.analysis import InputError, Reading, Setting
from halfpower.sweeps import PeakPlanner
from halfpower.sweeps.errors import EdgeError, NoResonanceError, SweepError
from halfpower.sweeps.plan.peak_planner import PeakGoal

EMF_V, COUPLING_F, CAPACITANCE_F = 1.0, 1e-12, 167e-12


class CoupledCoil:
    """A coil (L and R in series) on a capacitor, driven through a small one.

    Written from the admittances, not from the planner's response: exact at every Q.
    """

    def __init__(
        self,
        *,
        f0_hz: float,
        q: float,
        noise: float,
        seed: int = 0,
        harmonics: tuple[float, ...] = (),
    ) -> None:
        self.orders = (1.0, *harmonics)
        omega = 2.0 * math.pi * f0_hz
        self.inductance_h = 1.0 / (omega**2 * (CAPACITANCE_F + COUPLING_F))
        self.resistance_ohm = omega * self.inductance_h / q
        self.noise_v = noise * EMF_V * COUPLING_F / CAPACITANCE_F * q
        self.rng = np.random.default_rng(seed)

    def read(self, setting: Setting) -> Reading:
        """Read the detector at a setting, harmonics and noise included."""
        tank_v = math.hypot(
            *(
                share * self.tank_v(order * setting.frequency_hz)
                for order, share in enumerate(self.orders, start=1)
            )
        )
        read_v = tank_v + self.noise_v * self.rng.standard_normal()
        return Reading(frequency_hz=setting.frequency_hz, amplitude_v=abs(read_v))

    def tank_v(self, frequency_hz: float) -> float:
        """Solve the tank's node for one frequency."""
        s = 2j * math.pi * frequency_hz
        coil = 1.0 / (self.resistance_ohm + s * self.inductance_h)
        drive = s * COUPLING_F
        return EMF_V * abs(drive / (drive + s * CAPACITANCE_F + coil))


def goal(**changes: float) -> PeakGoal:
    """Give the usual goal, or another."""
    values = {"lowest_hz": 4e6, "highest_hz": 12e6, "exponent": 1.0} | changes
    return PeakGoal(**values)  # type: ignore[arg-type] # counts come as whole floats


def run(part: CoupledCoil, **changes: float) -> PeakPlanner:
    """Carry out a whole plan on a part."""
    planner = PeakPlanner(goal(**changes))
    while (setting := planner.ask()) is not None:
        planner.tell(part.read(setting))
    return planner


def carry_out(planner: PeakPlanner, detector: Callable[[], float]) -> None:
    """Carry out a plan with a detector that does not see the generator."""
    while (setting := planner.ask()) is not None:
        planner.tell(Reading(frequency_hz=setting.frequency_hz, amplitude_v=detector()))


@pytest.mark.parametrize("q", [12.0, 40.0, 170.0, 600.0, 2000.0])
@pytest.mark.parametrize("f0_hz", [4.6e6, 7.11e6, 11.2e6])
def test_a_peak_is_found_within_its_uncertainty(q: float, f0_hz: float) -> None:
    """Whatever the Q and the place in the span, f0 and Q come out within 4 u.

    A coil's own loss bends the response by 0.55/Q^4 of f0 (4e-5 of a half-bandwidth
    at Q = 12), far below the noise.

    With noise of s of the peak and N readings u(Q)/Q is 4 s/sqrt(N) and u(f0)/f0 2.83/Q
    of s/sqrt(N) at the best: a third of them on the peak, a third at half its height on
    either side (the slopes there are -z/(1 + z^2)^1.5 over z = 2 Q (f - f0)/f0). The
    noise is told by 21 or more free readings, to 15 %: twice that, and for Q a quarter
    more, since the first readings are spent on finding the peak.
    """
    planner = run(CoupledCoil(f0_hz=f0_hz, q=q, noise=1e-3))
    found, limit = planner.found, 1e-3 / len(planner.used) ** 0.5
    assert abs(found.loaded_q - q) < 4.0 * found.u_loaded_q
    error_hz = abs(found.resonant_frequency_hz - f0_hz)
    assert error_hz < 4.0 * found.u_resonant_frequency_hz
    assert found.u_loaded_q < 1.25 * 1.3 * 4.0 * limit * q
    assert found.u_resonant_frequency_hz < 1.3 * 2.83 * limit * f0_hz / q


def test_no_reading_is_asked_for_outside_the_span() -> None:
    """The span is a limit, also for a peak whose skirts reach beyond it."""
    planner = run(CoupledCoil(f0_hz=4.2e6, q=15.0, noise=1e-3))
    asked = [reading.frequency_hz for reading in planner.readings]
    assert min(asked) >= 4e6
    assert max(asked) <= 12e6


def test_readings_wait_for_the_tank_to_ring_up() -> None:
    """Every reading waits seven time constants Q/(pi f0) of the tank, at the least."""
    planner = PeakPlanner(goal())
    part = CoupledCoil(f0_hz=7.1e6, q=200.0, noise=1e-4)
    needed_s = 7.0 * 200.0 / (math.pi * 7.1e6)
    while (setting := planner.ask()) is not None:
        if abs(setting.frequency_hz / 7.1e6 - 1.0) < 0.05:
            # The plan knows Q to a per cent or so by then.
            assert setting.settle_s > 0.9 * needed_s
        planner.tell(part.read(setting))


def test_a_closer_target_costs_more_readings() -> None:
    """The target is what decides, not a fixed number of readings."""
    rough = run(CoupledCoil(f0_hz=7.1e6, q=150.0, noise=3e-3), target=0.01)
    close = run(CoupledCoil(f0_hz=7.1e6, q=150.0, noise=3e-3), target=0.0015)
    assert len(close.readings) > 1.5 * len(rough.readings)
    assert close.found.u_loaded_q / close.found.loaded_q <= 0.0015


def test_the_reading_budget_is_kept() -> None:
    """A target out of reach ends at the budget, with the best that there is."""
    planner = run(
        CoupledCoil(f0_hz=7.1e6, q=150.0, noise=1e-2), target=1e-5, most_readings=120
    )
    assert len(planner.readings) <= 120
    assert planner.found.loaded_q == pytest.approx(150.0, rel=0.05)


@pytest.mark.parametrize(("f0_hz", "edge"), [(2e6, "lower"), (20e6, "upper")])
def test_a_peak_outside_the_span_is_refused_with_its_side(
    f0_hz: float, edge: str
) -> None:
    """A response that is highest at an edge is no peak; the edge is named."""
    with pytest.raises(EdgeError, match=f"highest at the {edge} edge"):
        run(CoupledCoil(f0_hz=f0_hz, q=100.0, noise=1e-3))


@pytest.mark.parametrize("f0_hz", [4.001e6, 11.997e6])
def test_a_peak_at_the_edge_is_refused(f0_hz: float) -> None:
    """A peak without room for its half-power points is refused, not extrapolated."""
    with pytest.raises(EdgeError, match="edge of the span"):
        run(CoupledCoil(f0_hz=f0_hz, q=100.0, noise=1e-3))


@pytest.mark.parametrize("seed", range(40))
def test_noise_alone_is_no_resonance(seed: int) -> None:
    """A detector that reads its own noise yields an error, never a number."""
    rng = np.random.default_rng(seed)
    planner = PeakPlanner(goal(exponent=0.0))
    with pytest.raises(SweepError):
        carry_out(planner, lambda: abs(1e-3 * (1.0 + 0.1 * rng.standard_normal())))


def test_a_dead_detector_is_no_resonance() -> None:
    """Zero everywhere yields an error, never a number."""
    planner = PeakPlanner(goal())
    with pytest.raises(SweepError):
        carry_out(planner, lambda: 0.0)


def test_a_drift_of_the_peak_cancels_to_first_order() -> None:
    """Rounds go there and back, so a slow drift moves Q by less than 2 u of 0.2 %."""
    part = CoupledCoil(f0_hz=7.1e6, q=150.0, noise=1e-3)
    planner = PeakPlanner(goal())
    while (setting := planner.ask()) is not None:
        part.inductance_h *= 1.0 - 4e-7  # 0.2 ppm of f0 a reading, 12 ppm in all
        planner.tell(part.read(setting))
    found = planner.found
    assert abs(found.loaded_q - 150.0) < 2.0 * found.u_loaded_q
    assert found.u_loaded_q <= 0.002 * found.loaded_q


@pytest.mark.parametrize(("order", "harmonics"), [(2, (0.01,)), (3, (0.0, 0.01))])
def test_a_ghost_is_told_from_a_resonance(
    order: int, harmonics: tuple[float, ...]
) -> None:
    """A harmonic 40 dB down rings the tank at f0 while the generator is at f0/n."""
    f0_hz = order * 6e6
    part = CoupledCoil(f0_hz=f0_hz, q=300.0, noise=1e-6, harmonics=harmonics)
    with pytest.raises(NoResonanceError, match=f"ghost.*order {order}.*sweep there"):
        run(part, lowest_hz=5e6, highest_hz=7e6, generator_highest_hz=60e6)


def test_a_resonance_with_harmonics_beside_it_is_no_ghost() -> None:
    """The same generator on the resonance itself: measured as ever."""
    part = CoupledCoil(f0_hz=7.1e6, q=300.0, noise=1e-4, harmonics=(0.01, 0.005))
    found = run(part, lowest_hz=2e6, generator_highest_hz=60e6).found
    assert found.resonant_frequency_hz == pytest.approx(7.1e6, rel=1e-4)


def test_asking_twice_gives_the_same_setting() -> None:
    """Asking has no effect; telling has."""
    planner = PeakPlanner(goal())
    assert planner.ask() is planner.ask()


def test_a_finished_plan_takes_no_more() -> None:
    """Telling a finished plan is a mistake of the caller and says so."""
    planner = run(CoupledCoil(f0_hz=7.1e6, q=100.0, noise=1e-3))
    with pytest.raises(SweepError, match="takes no more"):
        planner.tell(Reading(frequency_hz=7.1e6, amplitude_v=1.0))


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"lowest_hz": 12e6, "highest_hz": 4e6}, "empty"),
        ({"target": 0.0}, "between"),
        ({"most_readings": 10}, "too few"),
    ],
)
def test_a_goal_that_cannot_be_is_refused(changes: dict[str, float], word: str) -> None:
    """A span upside down, a target of nothing and a budget of nothing."""
    with pytest.raises(InputError, match=word):
        goal(**changes)


def test_no_resonance_names_the_span() -> None:
    """The sentence says where was looked."""
    assert issubclass(NoResonanceError, SweepError)
    with pytest.raises(SweepError, match="4 MHz and 12 MHz"):
        run(CoupledCoil(f0_hz=2e6, q=100.0, noise=1e-3))


def test_a_witness_costs_two_readings_and_moves_nothing() -> None:
    """A step down the peak and back, after the fit is made."""
    without = run(CoupledCoil(f0_hz=7.1e6, q=100.0, noise=1e-3))
    with_it = run(CoupledCoil(f0_hz=7.1e6, q=100.0, noise=1e-3), witness=True)
    assert without.witnesses == ()
    n = len(without.readings)
    assert with_it.witnesses == (n, n + 1)
    assert len(with_it.readings) == n + 2
    assert with_it.found.loaded_q == without.found.loaded_q
    down, top = (with_it.readings[k].amplitude_v for k in with_it.witnesses)
    assert top == pytest.approx(with_it.found.amplitude_v, rel=0.01)
    # 1/sqrt(1 + 3^2) at three half-bandwidths
    assert down == pytest.approx(top / math.sqrt(10.0), rel=0.05)


def test_a_lag_that_is_suspected_is_looked_at_again() -> None:
    """A display that keeps 0.25 % of the reading before, against noise of 0.2 %."""
    part, shown_v = CoupledCoil(f0_hz=7.1e6, q=100.0, noise=2e-3), 0.0
    planner = PeakPlanner(goal(witness=True))
    while (setting := planner.ask()) is not None:
        shown_v = 0.0025 * shown_v + 0.9975 * part.read(setting).amplitude_v
        planner.tell(Reading(frequency_hz=setting.frequency_hz, amplitude_v=shown_v))
    assert 2 < len(planner.witnesses) <= 16
    assert planner.lag is not None
    assert planner.lag.share == pytest.approx(0.0025, abs=3.0 * planner.lag.u_share)


def test_a_generator_that_ends_below_the_witness_ends_the_plan() -> None:
    """A setting that cannot be had is skipped, ghosts and witness alike."""
    part = CoupledCoil(f0_hz=7.1e6, q=100.0, noise=1e-3)
    planner = PeakPlanner(goal(witness=True, generator_highest_hz=60e6))
    while (setting := planner.ask()) is not None:
        if planner.optional:
            planner.skip()
        else:
            planner.tell(part.read(setting))
    assert planner.phase == "done"
    assert planner.witnesses == ()


def test_a_witness_never_costs_a_measurement(monkeypatch: pytest.MonkeyPatch) -> None:
    """The last fit may move a peak to the span's edge: what was measured stands."""
    about = PeakPlanner._about  # noqa: SLF001 - where the edge is found

    def at_the_edge(self: PeakPlanner, *given: Any) -> Any:
        if self.phase == "witness":
            raise EdgeError("the peak lies within half a bandwidth of the edge")
        return about(self, *given)

    monkeypatch.setattr(PeakPlanner, "_about", at_the_edge)
    planner = run(CoupledCoil(f0_hz=7.1e6, q=100.0, noise=1e-3), witness=True)
    assert planner.phase == "done"
    assert planner.witnesses == ()
    assert planner.found.loaded_q == pytest.approx(100.0, rel=0.02)
