"""Conformity decisions against JCGM 106:2012 and the guides that use it.

Sources, beside each check: the examples and table 1 of JCGM 106:2012 (their numbers
from memory, their arithmetic checked by hand); ILAC-G8:09/2019, 4.2 (read); the process
risks were computed with an independent integration when the values were collected.
"""

import math

import pytest
from scipy import stats

from halfpower.analysis.lots import Decision, GuardBand, Limits, decide
from halfpower.analysis.lots.conformity import (
    Process,
    conformance_probability,
    global_risks,
    guard_band_for,
)

RESISTOR = Limits(lower=1499.8, upper=1500.2)  # ohm; JCGM 106's setting, from memory
PROCESS, U_OHM = Process(mean=1500.0, sd=0.12), 0.04


def test_breakdown_voltage_of_one_limit() -> None:
    """JCGM 106, from memory: limit -5.40 V, y = -5.47 V, u = 0.05 V, p_c = 0.92."""
    found = conformance_probability(-5.47, u=0.05, limits=Limits(upper=-5.40))
    assert found == pytest.approx(0.92, abs=0.005)


def test_kinematic_viscosity_of_two_limits() -> None:
    """JCGM 106, from memory: 12.5 to 16.3, y = 13.6, u = 1.8: p_c = 0.66."""
    limits = Limits(lower=12.5, upper=16.3)
    found = conformance_probability(13.6, u=1.8, limits=limits)
    assert found == pytest.approx(0.66, abs=0.005)


@pytest.mark.parametrize(
    ("probability", "z"),
    [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)],
)
def test_table_1(probability: float, z: float) -> None:
    """JCGM 106, table 1, from memory: (limit - y)/u for a probability; z to 0.005."""
    limits = Limits(upper=z)
    slope = 0.005 * stats.norm.pdf(z) * 1.05
    found = conformance_probability(0.0, u=1.0, limits=limits)
    assert found == pytest.approx(probability, abs=slope)


@pytest.mark.parametrize(
    ("band_ohm", "consumer", "producer"),
    [
        (0.00, 0.018942, 0.037208),
        (0.02, 0.009878, 0.069027),
        (0.04, 0.004334, 0.114657),
        (0.06, 0.001575, 0.174376),
        (0.08, 0.000469, 0.247670),
    ],
)
def test_a_resistor_process_s_risks(
    band_ohm: float, consumer: float, producer: float
) -> None:
    """JCGM 106's setting from memory; the risks by an independent integration."""
    rule = GuardBand(multiple=band_ohm / U_OHM, undecided_zone=False)
    found = global_risks(PROCESS, u=U_OHM, limits=RESISTOR, guard_band=rule)
    assert found.conforming == pytest.approx(0.904419, abs=6e-7)
    assert found.consumer == pytest.approx(consumer, abs=6e-7)
    assert found.producer == pytest.approx(producer, abs=6e-7)


def test_acceptance_limits_for_a_tenth_of_a_per_cent() -> None:
    """The same setting: +/- 0.132098 ohm keep the consumer's risk at 0.1 %."""
    band = guard_band_for(1e-3, process=PROCESS, u=U_OHM, limits=RESISTOR)
    assert 0.2 - band.multiple * U_OHM == pytest.approx(0.132098, abs=6e-7)


@pytest.mark.parametrize(
    ("share", "risk"), [(0.0, 0.50), (1.0, 0.0228), (0.83, 0.0485)]
)
def test_false_acceptance_on_the_acceptance_limit(share: float, risk: float) -> None:
    """ILAC-G8:09/2019, 4.2: up to 50 %, below 2.5 %; 0.83 U computed for k = 2."""
    band, limit = GuardBand.of_expanded(share, coverage_factor=2.0), 100.0
    edge = limit - band.multiple
    found = decide(edge, u=1.0, limits=Limits(upper=limit), guard_band=band)
    assert found.decision is Decision.ACCEPTED
    assert found.risk == pytest.approx(risk, abs=5e-5)


def test_the_zone_of_uncertainty_is_on_both_sides() -> None:
    """ISO 14253-1, from memory: 1.65 u inside proves, 1.65 u outside disproves."""
    band, limits = GuardBand(multiple=1.65), Limits(upper=10.0)

    def at(value: float) -> Decision:
        return decide(value, u=1.0, limits=limits, guard_band=band).decision

    assert at(math.nextafter(8.35, 0.0)) is Decision.ACCEPTED
    assert at(8.36) is at(10.0) is at(11.64) is Decision.UNDECIDED
    assert at(11.66) is Decision.REJECTED
