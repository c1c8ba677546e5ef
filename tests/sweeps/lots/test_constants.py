"""The constants of stored results: read, corrected, kept."""

import json
import runpy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from halfpower.analysis import InputError, Stated
from halfpower.cli.lots.keeping import circumstances_of
from halfpower.drivers import BenchFile, load_bench_file
from halfpower.records.base import Circumstances
from halfpower.sweeps.lots import (
    Constants,
    LotFile,
    constants_in_force,
    corrected_by,
    corrected_by_bench,
    parse_lot_text,
)
from halfpower.sweeps.lots.constants import UNITS
from halfpower.sweeps.run import (
    USUAL_CAPACITOR_LOSS,
    USUAL_SELF_CAPACITANCE,
    tank_on_bench,
)

HELPER = Path(__file__).parents[2] / "reports" / "lot" / "invented_lot.py"
invented = SimpleNamespace(**runpy.run_path(str(HELPER)))
BENCH = """\
[generator]
resource = "hand"
level = "1V"
source_resistance = "50ohm +- 1%"
frequency_reference = "2ppm"

[detector]
resource = "hand"
input_resistance = "1Mohm +- 5%"
input_capacitance = "11pF u=0.5pF"
linearity = "0.3%"

[fixture]
kind = "coupled-tank"
coupling_capacitance = "1pF +- 10%"
stray_capacitance = "5.123456789pF u=0.2pF"
"""


@pytest.fixture
def bench(tmp_path: Path) -> BenchFile:
    """An invented bench."""
    path = tmp_path / "bench.toml"
    path.write_text(BENCH, encoding="utf-8")
    return load_bench_file(path)


@pytest.fixture
def lot() -> LotFile:
    """The invented lot's file."""
    return parse_lot_text(invented.LOT_FILE.format(name="chokes", size=3), "lot.toml")


@pytest.fixture
def constants(lot: LotFile) -> Constants:
    """The constants of the invented lot."""
    return constants_in_force(invented.IN_FORCE, lot)


def rewritten(constants: Constants) -> Circumstances:
    """Put constants among the invented lot's circumstances."""
    bench, fixture = constants.written(invented.IN_FORCE)
    return replace(invented.IN_FORCE, bench=bench, fixture=fixture)


def test_tank_is_the_measurements_own(bench: BenchFile, lot: LotFile) -> None:
    """To the last digit, by way of the text that a record base keeps."""
    kept = circumstances_of(SimpleNamespace(file=bench, identities={}))  # type: ignore[arg-type]  # all it asks of a bench
    assert lot.measure.capacitor is not None
    assert constants_in_force(kept, lot).tank() == tank_on_bench(
        bench,
        capacitor_f=lot.measure.capacitor,
        capacitor_loss=USUAL_CAPACITOR_LOSS,
        self_capacitance_f=USUAL_SELF_CAPACITANCE,
    )


def test_a_correction_moves_one_constant(constants: Constants) -> None:
    """The others stay, and the old ones too."""
    now = corrected_by(constants, ["fixture.stray_capacitance = 5.4pF u=0.1pF"])
    assert now.tank().stray_f == Stated(value=5.4e-12, u=0.1e-12)
    assert constants.tank().stray_f.value == 4.2e-12
    assert replace(now.tank(), stray_f=constants.tank().stray_f) == constants.tank()


def test_corrected_constants_are_kept_and_found_again(
    constants: Constants, lot: LotFile
) -> None:
    """A second rework begins where the first ended, known capacitor included."""
    given = ["measure.capacitor=151pF +- 0.5%", "detector.linearity=0.5%"]
    now = corrected_by(constants, given)
    again = constants_in_force(rewritten(now), lot)
    assert again == now
    assert again.tank().capacitor_f.value == pytest.approx(151e-12)


def test_what_was_kept_besides_stays(constants: Constants) -> None:
    """The level and the instruments' names are not lost."""
    kept = rewritten(constants)
    assert json.loads(kept.bench)["generator"]["level"] == 1.0
    assert kept.instruments == invented.IN_FORCE.instruments


def test_a_bench_file_corrects_all_it_holds(
    constants: Constants, bench: BenchFile
) -> None:
    """What it does not state falls back to what the file's defaults are."""
    tank = corrected_by_bench(constants, bench).tank()
    assert tank.probe_f == Stated(value=11e-12, u=0.5e-12)
    assert tank.lead_h == Stated(value=0.0)
    assert tank.capacitor_f == constants.tank().capacitor_f


def test_another_kind_of_fixture_is_refused(
    constants: Constants, bench: BenchFile
) -> None:
    """Its curve is another one."""
    with pytest.raises(InputError, match="curve is another"):
        corrected_by_bench(replace(constants, kind="coupled-both-sides"), bench)


@pytest.mark.parametrize(
    ("setting", "said"),
    [
        ("fixture.colour=red", "corrects nothing"),
        ("fixture.stray_capacitance", "NAME=VALUE"),
        ("generator.level=1V", "corrects nothing"),
        ("fixture.stray_capacitance=-1pF", "below zero"),
        ("fixture.stray_capacitance=5", "outside"),
        ("detector.linearity=80%", "less than 0.5"),
        ("fixture.output_coupling_capacitance=1pF", "has no"),
    ],
)
def test_a_correction_that_is_none_is_refused(
    constants: Constants, setting: str, said: str
) -> None:
    """In a sentence, before anything is worked out."""
    with pytest.raises(InputError, match=said):
        corrected_by(constants, [setting])


def test_a_constant_corrected_twice_is_refused(constants: Constants) -> None:
    """Which one was meant cannot be told."""
    with pytest.raises(InputError, match="twice"):
        corrected_by(constants, ["detector.linearity=1%", "detector.linearity=2%"])


@pytest.mark.parametrize("fixture", ["{}", "[]", "nonsense", '{"kind": "box"}'])
def test_parts_without_constants_are_refused(lot: LotFile, fixture: str) -> None:
    """Nothing is assumed in their place."""
    given = replace(invented.IN_FORCE, fixture=fixture)
    with pytest.raises(InputError, match="are not in the record base"):
        constants_in_force(given, lot)
    with pytest.raises(InputError, match="are not in the record base"):
        constants_in_force(Circumstances(), lot)


def test_every_name_can_be_shown(constants: Constants) -> None:
    """As it is written on a command line, or that it was not stated."""
    shown = {key: constants.shown(key) for key in UNITS}
    assert shown["fixture.stray_capacitance"] == "4.2 pF u=200 fF"
    assert shown["measure.capacitor_loss"] == "not stated"
