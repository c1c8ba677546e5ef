"""One part after the other on a simulated bench: coils, and capacitors in a tank."""

from collections.abc import Callable
from contextlib import AbstractContextManager

import pytest

from halfpower.cli.at_bench import SceneAttendant
from halfpower.drivers import Bench
from halfpower.sim import SimulatedBench
from halfpower.sweeps.errors import GuardError
from halfpower.sweeps.lots import LotFile, PartBench, parse_lot_text
from halfpower.sweeps.lots.measure import Measured

OpenOnScene = Callable[..., AbstractContextManager[tuple[Bench, SimulatedBench]]]
COILS = """\
[lot]
name = "invented"
procedure = "coil"
[measure]
from = "700kHz"
to = "2.2MHz"
target = "0.5%"
capacitor = "470pF +- 1%"
self_capacitance = "4pF +- 1pF"
"""
CAPACITORS = """\
[lot]
name = "invented"
procedure = "capacitor"
[measure]
from = "1.6MHz"
to = "2.3MHz"
target = "0.5%"
capacitor = "250pF +- 0.5%"
self_capacitance = "4pF +- 0.4pF"
expected = "100pF +- 20%"
"""


def part_bench(bench: Bench, simulated: SimulatedBench, lot: LotFile) -> PartBench:
    """Give the bench that measures parts."""
    return PartBench(
        bench=bench,
        lot=lot,
        attendant=SceneAttendant(simulated, tell=lambda _: None),
        now=lambda: "2001-02-03T04:05:06Z",
    )


def taken(measured: Measured) -> int:
    """Count the readings that this part cost."""
    return sum(
        len(some) for step, some in measured.readings.items() if step != "reference"
    )


def test_coils_cost_half_as_many_readings_once_three_are_known(
    open_on_scene: OpenOnScene,
) -> None:
    """And each comes out within its expanded uncertainty of what the scene drew.

    470 pF +- 1 %, the coil's 4 +- 1 pF, the probe's +- 1 pF and the stray's +- 0.5 pF:
    u = 2.8 pF of 490 pF, 0.58 %.
    """
    with open_on_scene("choke-lot", seed=1) as (bench, simulated):
        on_bench = part_bench(bench, simulated, parse_lot_text(COILS, "x"))
        costs = []
        for number in (1, 3, 4, 5, 6, 8):  # sound ones; 2 and 7 are of another value
            simulated.insert_part(number)
            measured = on_bench.measure(f"L{number}")
            assert measured.result is not None
            found = measured.result["inductance"]
            error_h = found.value - simulated.truth["coil.inductance_h"]
            assert abs(error_h) < 2.0 * found.standard_uncertainty
            assert found.standard_uncertainty < 1.1 * 0.0058 * found.value
            costs.append(taken(measured))
    assert sum(costs[3:]) < 0.6 * sum(costs[:3])


def test_an_open_coil_is_unmeasured_with_its_readings(
    open_on_scene: OpenOnScene,
) -> None:
    """Part 14 is open; the next sound one is measured as if nothing had been."""
    with open_on_scene("choke-lot", seed=1) as (bench, simulated):
        on_bench = part_bench(bench, simulated, parse_lot_text(COILS, "x"))
        for number in (1, 3, 4, 14, 15):
            simulated.insert_part(number)
            measured = on_bench.measure(f"L{number}")
            assert (measured.result is None) == (simulated.defect == "open")
            assert measured.no_resonance == (simulated.defect == "open")
            assert taken(measured) > 20


def test_capacitors_share_one_reference_sweep(open_on_scene: OpenOnScene) -> None:
    """One sweep a part: the reference is in each result, and was driven once.

    The value is the scene's, within its expanded uncertainty: 250 pF +- 0.5 %, the
    coil's 4 +- 0.4 pF, the probe's +- 1 pF and the stray's +- 0.5 pF are 1.0 pF of the
    tank's 270 pF, 0.37 %.
    """
    lot = parse_lot_text(CAPACITORS, "x")
    with open_on_scene("mica-capacitor", seed=1) as (bench, simulated):
        on_bench = part_bench(bench, simulated, lot)
        read = bench.read
        driven: list[float] = []

        def counted(setting: object) -> object:
            reading = read(setting)  # type: ignore[arg-type] # as it came
            driven.append(reading.frequency_hz)
            return reading

        bench.read = counted  # type: ignore[method-assign,assignment] # counts
        on_bench.take_reference()
        reference = len(driven)
        for _ in range(5):
            before = len(driven)
            measured = on_bench.measure("C")
            assert measured.result is not None
            steps = [one.step for one in measured.result.evidence.sweeps]
            assert steps == ["reference", "unknown"]
            assert len(driven) - before == taken(measured)
            assert len(measured.readings["reference"]) == reference
            found = measured.result["capacitance"]
            error_f = found.value - simulated.truth["unknown.capacitance_f"]
            assert abs(error_f) < 2.0 * found.standard_uncertainty
            assert found.standard_uncertainty < 1.1 * 0.0037 * found.value


def test_a_tank_above_its_voltage_limit_stops_the_lot(
    open_on_scene: OpenOnScene,
) -> None:
    """It is no property of a part: nothing goes on at that level."""
    with open_on_scene("choke-lot", seed=1) as (bench, simulated):
        limits = bench.file.limits.model_copy(update={"tank_voltage_v": 1e-3})
        bench.file = bench.file.model_copy(update={"limits": limits})
        on_bench = part_bench(bench, simulated, parse_lot_text(COILS, "x"))
        with pytest.raises(GuardError):
            on_bench.measure("L1")
