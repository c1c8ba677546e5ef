"""What a capacitor would do with an inductance, before anything is driven."""

import dataclasses
import math

import numpy as np
import pytest
from numpy.typing import NDArray

from halfpower.analysis import InputError, Stated
from halfpower.analysis.predict import BenchReach, Candidate, ReadingPlan, Use
from halfpower.analysis.predict.reach import foresee, quality_bound, resonance_bound
from halfpower.analysis.tank import Tank


def limits(value: float, share: float = 0.0) -> Stated:
    """State limits as a share of the value."""
    return Stated.within(value, half_width=share * value)


def tank(**changed: object) -> Tank:
    """Make an invented tank: 150 pF, couplings of 1 pF, a probe of 1 Mohm and 10 pF."""
    made: dict[str, object] = {
        "kind": "coupled-tank",
        "capacitor_f": limits(150e-12, 0.01),
        "capacitor_loss": limits(2.5e-4, 1.0),
        "self_capacitance_f": limits(2.5e-12, 0.8),
        "stray_f": limits(5e-12, 0.1),
        "stray_loss": limits(1e-3, 0.5),
        "lead_h": limits(10e-9, 0.2),
        "lead_ohm": limits(5e-3, 0.4),
        "coupling_f": limits(1e-12, 0.1),
        "source_ohm": Stated(value=50.0),
        "probe_ohm": limits(1e6, 0.15),
        "probe_f": limits(10e-12, 0.1),
        "frequency_reference": Stated.within(0.0, half_width=2e-6),
        "linearity": Stated.within(0.0, half_width=1e-3),
        "loss_exponent": Stated(value=0.5, u=0.25),
    }
    return Tank(**(made | changed))  # type: ignore[arg-type] # a mapping of fields


BENCH = BenchReach(
    lowest_hz=1e3,
    highest_hz=60e6,
    tank_limit_v=30.0,
    level_v=1.0,
    settle_s=8e-3,
)


def foreseen(
    inductance_h: float = 10e-6,
    *,
    bench: BenchReach = BENCH,
    volts: float = 2.0,
    plan: ReadingPlan | None = None,
    **changed: object,
) -> Use:
    """Look at that tank with a coil."""
    candidate = Candidate(
        name="150pF",
        tank=tank(**changed),
        tank_voltage_v=lambda hertz: volts + 0 * hertz,
    )
    return foresee(
        candidate, inductance_h=inductance_h, bench=bench, plan=plan or ReadingPlan()
    )


def driven(frequency_hz: NDArray[np.float64], *, coil_q: float) -> NDArray[np.float64]:
    """Write the circuit out with 10 uH: the tank's voltage for 1 V behind 50 ohm."""
    s = 2j * math.pi * frequency_hz
    coil_ohm = 2.0 * math.pi * np.mean(frequency_hz) * 10e-6 / coil_q
    across = (
        s * 150e-12 * (1.0 - 2.5e-4j)
        + s * (2.5e-12 + 10e-12)
        + s * 5e-12 * (1.0 - 1e-3j)
        + 1e-6
        + 1.0 / (5e-3 + s * 10e-9 + coil_ohm + s * 10e-6)
    )
    feed = 1.0 / (50.0 + 1.0 / (s * 1e-12))
    return np.abs(feed / (feed + across))


def test_the_resonance_is_the_driven_circuit_s() -> None:
    """Independent: peak and half-power width of the circuit written out.

    The coupling's rise with frequency moves the peak by 1/(4 Q^2), 1e-5 here.
    """
    use = foreseen()
    f0, width = use.resonant_frequency_hz, use.resonant_frequency_hz / use.loaded_q
    hertz = np.linspace(f0 - 2.0 * width, f0 + 2.0 * width, 40_001)
    volts = driven(hertz, coil_q=200.0)
    above = hertz[volts >= volts.max() / math.sqrt(2.0)]
    assert hertz[volts.argmax()] == pytest.approx(f0, rel=3e-5)
    assert above[-1] - above[0] == pytest.approx(width, rel=2e-3)
    assert volts.max() == pytest.approx(use.peak_v, rel=1e-3)


def test_the_fixture_alone_is_a_coil_without_loss() -> None:
    """Its Q is what a coil of Q = 10^6 would be loaded to, to the coil's own share."""
    lossless = foreseen(plan=ReadingPlan(coil_q=1e6))
    assert foreseen().fixture_q == pytest.approx(lossless.fixture_q, rel=1e-4)
    assert lossless.loaded_q == pytest.approx(lossless.fixture_q, rel=2e-3)
    use = foreseen()
    own = 1.0 / use.loaded_q - 1.0 / use.fixture_q
    assert use.fixture_share == pytest.approx(use.loaded_q / use.fixture_q, rel=1e-12)
    assert own == pytest.approx(1.0 / 200.0, rel=2e-3)


def test_the_bounds_are_fisher_s_information() -> None:
    """Independent: the peak's numerical Jacobian at 0 and +-root 3, a third each."""
    q, f0, noise, thirds = 100.0, 1e6, 0.01, 20
    half = f0 / (2.0 * q)
    at = np.repeat([f0 - math.sqrt(3.0) * half, f0, f0 + math.sqrt(3.0) * half], thirds)

    def peak(p: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(p[2] / np.sqrt(1.0 + (2.0 * p[1] * (at - p[0]) / f0) ** 2))

    centre, step = np.array([f0, q, 1.0]), np.array([1.0, 1e-4, 1e-6])
    jacobian = np.array(
        [
            (peak(centre + one) - peak(centre - one)) / (2.0 * one.sum())
            for one in np.diag(step)
        ]
    )
    u = noise * np.sqrt(np.diag(np.linalg.inv(jacobian @ jacobian.T)))
    n = 3 * thirds
    assert quality_bound(noise=noise, n_readings=n) == pytest.approx(u[1] / q, rel=1e-4)
    assert resonance_bound(noise=noise, n_readings=n, loaded_q=q) == pytest.approx(
        u[0] / f0, rel=1e-4
    )


def test_what_is_foreseen_goes_as_the_readings_allow() -> None:
    """Four times the readings: half the noise's part, four times the time."""
    few, many = (foreseen(plan=ReadingPlan(n_readings=n)) for n in (50, 200))
    assert few.u_loaded_q == pytest.approx(2.0 * many.u_loaded_q, rel=1e-12)
    assert few.u_resonant_frequency == pytest.approx(
        2.0 * many.u_resonant_frequency, rel=1e-12
    )
    assert many.seconds == pytest.approx(4.0 * few.seconds, rel=1e-12)


def test_noise_in_volts_is_worse_on_a_lower_peak() -> None:
    """A larger capacitor's tank stands lower, and the same volts weigh more."""
    plan = ReadingPlan(noise_v=1e-3)
    small, large = (
        foreseen(capacitor_f=limits(c, 0.01), plan=plan) for c in (47e-12, 1e-9)
    )
    assert small.noise == pytest.approx(1e-3 / small.peak_v, rel=1e-12)
    assert large.u_loaded_q / small.u_loaded_q == pytest.approx(
        small.peak_v / large.peak_v, rel=1e-9
    )
    assert small.peak_v > 5.0 * large.peak_v


def test_a_peak_that_drowns_is_an_obstacle() -> None:
    """1 V of noise on 2 V."""
    use = foreseen(plan=ReadingPlan(noise_v=1.0))
    assert any("drowns in the noise" in one for one in use.obstacles)


def test_the_time_is_settling_and_the_instruments() -> None:
    """7 time constants Q/(pi f0) and 8 ms, sixty times."""
    use = foreseen()
    tau = use.loaded_q / (math.pi * use.resonant_frequency_hz)
    assert use.seconds == pytest.approx(60.0 * (7.0 * tau + 8e-3), rel=1e-12)


def test_strays_cost_less_on_a_larger_capacitor() -> None:
    """u(L)/L of strays is u(T)/T: 1.2 pF + 0.6 pF + ... of 168 pF, then of 1018 pF."""
    small, large = (foreseen(capacitor_f=limits(c, 0.01)) for c in (150e-12, 1e-9))
    strays = math.sqrt(2.0**2 + 1.0**2 + 0.5**2 + 0.1**2) * 1e-12 / math.sqrt(3.0)
    assert small.u_from_strays == pytest.approx(strays / 168.5e-12, rel=0.01)
    assert large.u_from_strays == pytest.approx(strays / 1018.5e-12, rel=0.05)
    assert small.inductance_doubt == "coil's self-capacitance"


@pytest.mark.parametrize(
    ("changed", "obstacle"),
    [
        ({"highest_hz": 3e6}, "above the bench's 3 MHz"),
        ({"lowest_hz": 5e6}, "below the bench's 5 MHz"),
    ],
)
def test_what_the_bench_does_not_reach_is_an_obstacle(
    changed: dict[str, float], obstacle: str
) -> None:
    """10 uH and 168 pF resonate at 3.9 MHz."""
    use = foreseen(bench=dataclasses.replace(BENCH, **changed))
    assert [obstacle in one for one in use.obstacles] == [True]
    assert use.cost == math.inf


def test_a_coil_that_the_leads_hide_is_an_obstacle() -> None:
    """1 nH behind 10 nH to 20 %."""
    use = foreseen(1e-9, bench=dataclasses.replace(BENCH, highest_hz=1e9))
    assert any("no better than" in one for one in use.obstacles)


@pytest.mark.parametrize(("volts", "safe"), [(60.0, "0.5"), (31.0, "0.9")])
def test_a_high_tank_voltage_is_a_caution_with_a_level(volts: float, safe: str) -> None:
    """60 V predicted at 1 V, 30 V allowed: 0.5 V or less; 0.968 V is not 1 V."""
    use = foreseen(volts=volts)
    assert f"set the level to {safe} V or less" in use.cautions[0]
    assert use.obstacles == ()


def test_the_tank_s_voltage_is_the_highest_of_the_sweep() -> None:
    """It need not be highest above the resonance: one that falls with frequency."""
    falling = Candidate(name="x", tank=tank(), tank_voltage_v=lambda hertz: 1e8 / hertz)
    use = foresee(falling, inductance_h=10e-6, bench=BENCH, plan=ReadingPlan())
    assert use.tank_voltage_v == pytest.approx(1.25e8 / use.resonant_frequency_hz)


def test_a_fixture_that_takes_most_of_the_loss_is_a_caution() -> None:
    """A probe of 10 kohm."""
    use = foreseen(probe_ohm=limits(1e4, 0.1))
    assert any("of the loss is the fixture's" in one for one in use.cautions)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"coil_q": 0.0}, "Q is 1 to 1e6"),
        ({"coil_q": math.nan}, "Q is 1 to 1e6"),
        ({"n_readings": 2}, "3 readings or more"),
        ({"noise": 0.0}, "noise is above 0"),
        ({"noise": math.nan}, "noise is above 0"),
        ({"noise": 0.5}, "up to 30%"),
        ({"noise_v": 0.0}, "noise is above 0, not 0 V"),
        ({"noise_v": math.nan}, "noise is above 0, not nan V"),
    ],
)
def test_a_plan_that_cannot_be_is_refused(
    changed: dict[str, float], sentence: str
) -> None:
    """One sentence each."""
    with pytest.raises(InputError, match=sentence):
        ReadingPlan(**changed)  # type: ignore[arg-type] # a mapping of fields


@pytest.mark.parametrize("inductance_h", [0.0, -1e-6, math.nan, math.inf])
def test_an_inductance_that_is_none_is_refused(inductance_h: float) -> None:
    """Above zero, finite."""
    with pytest.raises(InputError, match="above zero"):
        foreseen(inductance_h)
