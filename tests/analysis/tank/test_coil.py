"""A coil deduced: identities, doubts that must show, and every refusal.

The physics against an independently solved circuit is in
tests/references/test_coil_circuit.py.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from halfpower.analysis import AnalysisError, Stated
from halfpower.analysis.quantity import Quantity
from halfpower.analysis.tank import COIL_UNITS, Resonance, Tank, deduce_coil, tank_shunt
from halfpower.analysis.uncertainty import Joint, Member, values_of


def tank(**changes: Stated | str | None) -> Tank:
    """An invented tank: 150 pF +- 1 %, a coil of 2 pF, a probe of about 1 Mohm."""
    exact: dict[str, object] = {
        "kind": "coupled-tank",
        "capacitor_f": Stated.within(150e-12, half_width=1.5e-12),
        "capacitor_loss": Stated.within(2e-4, half_width=1e-4),
        "self_capacitance_f": Stated.within(2e-12, half_width=0.3e-12),
        "stray_f": Stated.within(5e-12, half_width=0.5e-12),
        "stray_loss": Stated.within(1e-3, half_width=5e-4),
        "lead_h": Stated.within(10e-9, half_width=2e-9),
        "lead_ohm": Stated.within(5e-3, half_width=2e-3),
        "coupling_f": Stated.within(1e-12, half_width=0.1e-12),
        "source_ohm": Stated(value=50.0),
        "probe_ohm": Stated.within(1e6, half_width=0.15e6),
        "probe_f": Stated.within(10e-12, half_width=1e-12),
        "frequency_reference": Stated.within(0.0, half_width=2e-6),
        "linearity": Stated.within(0.0, half_width=1e-3),
        "loss_exponent": Stated(value=0.0),
    }
    return Tank(**(exact | changes))  # type: ignore[arg-type] # as the test says


def measured(
    *, f0: float = 6.75e6, q: float = 160.0, u: float = 1e-3
) -> Resonance[Member]:
    """A fit of f0 and Q, u relative in Q and u / (2Q) in f0, uncorrelated."""
    covariance = np.diag([(f0 * u / (2.0 * q)) ** 2, (q * u) ** 2])
    return Resonance.of(Joint.of_one((f0, q), covariance=covariance))


def by_name(results: tuple[Quantity, ...]) -> dict[str, Quantity]:
    """The results by their names."""
    return {one.name: one for one in results}


def test_every_quantity_comes_with_its_unit_in_order() -> None:
    """The names that result documents use."""
    assert tuple(by_name(deduce_coil(tank(), measured=measured()))) == tuple(COIL_UNITS)


def test_what_is_deduced_agrees_with_itself() -> None:
    """Q = w L / R, Rp = R (1 + Q^2), B = f0 / Q: definitions."""
    got = {
        name: one.value
        for name, one in by_name(deduce_coil(tank(), measured=measured())).items()
    }
    omega = 2.0 * math.pi * got["resonant_frequency"]
    resistance, quality = got["series_resistance"], got["unloaded_q"]
    assert quality == pytest.approx(omega * got["inductance"] / resistance)
    assert got["parallel_resistance"] == pytest.approx(resistance * (1 + quality**2))
    assert got["bandwidth"] == pytest.approx(6.75e6 / 160.0)
    assert quality > got["loaded_q"]


def test_an_inductance_s_doubt_is_its_capacitances_doubt() -> None:
    """L = 1/(w^2 T): u(L)/L = u(T)/T, with T of 168 pF and its parts' limits."""
    limits_pf = (1.5, 0.3, 0.5, 0.1, 1.0)  # as the tank above states them
    u_t = math.sqrt(sum(limit**2 for limit in limits_pf) / 3.0)
    got = by_name(deduce_coil(tank(), measured=measured()))["inductance"]
    # The leads (2 nH of 3.3 uH) and the readings add 1e-4 of the square.
    assert got.standard_uncertainty / got.value == pytest.approx(u_t / 168.0, rel=0.01)
    assert got.budget[0].source == "resonating capacitor"


def test_a_detector_off_by_e_moves_q_by_two_e() -> None:
    """d(ln V) = d(ln Q)/2 at half power, so 0.1 % of a ratio is 0.2 % of Q."""
    got = by_name(deduce_coil(tank(), measured=measured(u=1e-9)))["loaded_q"]
    assert got.standard_uncertainty == pytest.approx(
        160.0 * 2.0 * 1e-3 / math.sqrt(3.0), rel=1e-6
    )


def test_the_leads_are_taken_off_the_coil() -> None:
    """10 nH and 5 mohm in series: as much less in L and R."""
    bare = tank(lead_h=Stated(value=0.0), lead_ohm=Stated(value=0.0))
    with_leads = by_name(deduce_coil(tank(), measured=measured()))
    without = by_name(deduce_coil(bare, measured=measured()))
    for name, lead in (("inductance", 10e-9), ("series_resistance", 5e-3)):
        assert without[name].value - with_leads[name].value == pytest.approx(lead)


def test_capacitance_across_the_tank_counts_wherever_it_is() -> None:
    """A picofarad of stray is one of the capacitor's or the coil's."""
    lossless = {"capacitor_loss": Stated(value=0.0), "stray_loss": Stated(value=0.0)}
    one = deduce_coil(
        tank(**lossless, stray_f=Stated(value=6e-12)), measured=measured()
    )
    other = deduce_coil(
        tank(
            **lossless,
            stray_f=Stated(value=5e-12),
            self_capacitance_f=Stated(value=3e-12),
        ),
        measured=measured(),
    )
    assert by_name(one)["inductance"].value == pytest.approx(
        by_name(other)["inductance"].value
    )


def test_an_output_coupling_hides_the_detector_s_capacitance() -> None:
    """Behind 1 pF, 10 pF across 50 ohm is worth 1 pF, not 10, across the tank."""
    behind = tank(
        kind="coupled-both-sides",
        output_coupling_f=Stated(value=1e-12),
        probe_ohm=Stated(value=50.0),
    )
    across = tank_shunt(values_of(behind), omega=2.0 * math.pi * 6.75e6)
    # 150 + 2 + 5 and the two couplings; (wCR)^2 takes 1e-4 of a coupling at most.
    assert across.capacitance_f == pytest.approx(159e-12, abs=0.0, rel=1e-5)


@pytest.mark.parametrize("q", [1e5, 5000.0])
def test_a_q_above_what_the_fixture_allows_is_refused(q: float) -> None:
    """1 Mohm across 140 ohm of reactance alone is a Q of 7000, the losses less."""
    with pytest.raises(AnalysisError, match="fixture's loading alone") as caught:
        deduce_coil(tank(), measured=measured(q=q))
    assert 1000.0 < caught.value.values["fixture_q"] < q


@pytest.mark.parametrize(
    "leads", [{"lead_ohm": Stated(value=1.0)}, {"lead_h": Stated(value=4e-6)}]
)
def test_leads_that_are_more_than_the_loop_are_refused(
    leads: dict[str, Stated],
) -> None:
    """No coil has a negative resistance or inductance."""
    with pytest.raises(AnalysisError, match="the leads alone"):
        deduce_coil(tank(**leads), measured=measured())


def test_a_fixture_without_loss_is_no_division_by_zero() -> None:
    """Everything exact and lossless but the couplings' own microsiemens."""
    lossless = tank(
        capacitor_loss=Stated(value=0.0),
        stray_loss=Stated(value=0.0),
        probe_ohm=Stated(value=1e15),
        coupling_f=Stated(value=0.0),
    )
    got = by_name(deduce_coil(lossless, measured=measured()))
    lead_share = 5e-3 / (got["series_resistance"].value + 5e-3)
    lead_h_share = 10e-9 / got["inductance"].value
    assert got["unloaded_q"].value == pytest.approx(
        160.0 / (1.0 - lead_share) / (1.0 + lead_h_share), rel=1e-6
    )


def test_a_fixture_of_both_sides_needs_its_second_capacitor() -> None:
    """It would be taken for a probe across the tank."""
    with pytest.raises(AnalysisError, match="output coupling"):
        tank(kind="coupled-both-sides")


def test_a_wide_doubt_is_told_by_its_interval() -> None:
    """A probe known to a third leaves a skewed Q: its upper limit is farther off."""
    doubtful = replace(tank(), probe_ohm=Stated.within(0.3e6, half_width=0.15e6))
    got = by_name(deduce_coil(doubtful, measured=measured()))["unloaded_q"]
    low, high = got.limits
    assert high - got.value > 1.2 * (got.value - low)
    assert got.budget[0].source == "probe resistance"
