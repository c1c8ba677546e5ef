"""`halfpower records`, as a stranger runs it, on an invented lot."""

import csv
import json
import runpy
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from halfpower.analysis import Peak, Trace, fit
from halfpower.analysis.lots import Verdict
from halfpower.analysis.tank import deduce_coil, measured_pair
from halfpower.cli.commands.records import app
from halfpower.records import open_base
from halfpower.sweeps.lots import constants_in_force, corrected_by, parse_lot_text

HELPER = Path(__file__).parents[2] / "reports" / "lot" / "invented_lot.py"
invented = SimpleNamespace(**runpy.run_path(str(HELPER)))
Run = Callable[..., Result]
CORRECTION = "fixture.stray_capacitance=5.4pF +- 0.2pF"


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A base with the invented lot of twelve; tests leave it so."""
    path = tmp_path_factory.mktemp("base") / "records.sqlite3"
    with open_base(path) as base:
        invented.fill(base, size=12, every=4)
    return path


@pytest.fixture
def own(filled: Path, tmp_path: Path) -> Path:
    """A copy to write to."""
    path = tmp_path / "records.sqlite3"
    with sqlite3.connect(filled) as source, sqlite3.connect(path) as target:
        source.backup(target)
    source.close()
    target.close()
    return path


def run(path: Path, *arguments: str) -> Result:
    """Run a command on a base; a fault keeps its traceback."""
    ended = CliRunner().invoke(app, [*arguments, "--records", str(path)])
    if ended.exception and not isinstance(ended.exception, SystemExit):
        raise ended.exception
    return ended


def test_list_names_the_lots(filled: Path) -> None:
    """One line each, and the same as a document."""
    assert "chokes" in run(filled, "list").stdout
    document = json.loads(run(filled, "list", "--json", "-").stdout)
    assert document["schema"] == "halfpower.lots/1"
    assert [(one["name"], one["parts"]) for one in document["lots"]] == [("chokes", 12)]


def test_no_base_is_one_sentence_and_makes_none(tmp_path: Path) -> None:
    """A path mistyped does not become an empty base."""
    ended = run(tmp_path / "none.sqlite3", "list")
    assert ended.exit_code == 2
    assert "there is no record base" in ended.stderr
    assert not list(tmp_path.iterdir())


def test_looking_at_a_file_of_something_else_is_one_sentence(tmp_path: Path) -> None:
    """Status 2 of every command that looks; never "0 entries, all fits"."""
    (tmp_path / "empty").touch()
    for looking in (["list"], ["show", "a"], ["verify"], ["export", "a", "out"]):
        ended = run(tmp_path / "empty", *looking)
        assert (ended.exit_code, ended.stdout) == (2, "")
        assert ended.stderr.count("\n") == 1
        assert "is empty: there is no record base in it" in ended.stderr
    assert (tmp_path / "empty").read_bytes() == b""


def test_adopt_says_whose_lines_it_left(own: Path, tmp_path: Path) -> None:
    """Status 1, with the place of the base that they are for."""
    part = invented.part_entry(50, lot="chokes", inductance_h=33e-6, q=100.0)
    with open_base(tmp_path / "other.sqlite3") as other:
        other.side_file.append(part)
    ended = run(own, "adopt", str(other.side_file.path))
    assert ended.exit_code == 1
    assert "1 left alone" in ended.stdout
    assert "other.sqlite3" in ended.stdout.replace("\n", "")


def test_show_gives_a_lot_in_figures(filled: Path) -> None:
    """Verdicts, suspects, and the head to keep."""
    out = run(filled, "show", "chokes").stdout
    with open_base(filled) as base:
        assert base.head("chokes").hash in out
    assert "suspect parts: 4" in out


def test_a_lot_is_named_by_a_part_of_its_name(tmp_path: Path) -> None:
    """Its whole name first, then what stands before a bracket, then any part of it."""
    path = tmp_path / "records.sqlite3"
    names = ("bag 1 (simulated)", "bag 10 (simulated)", "other", "other one")
    with open_base(path) as base:
        for name in names:
            base.open_lot(
                invented.LotEntry(
                    name=name, file_text="", begun=invented.at(0), station="north"
                )
            )
    for said, meant in (
        ("bag 1", names[0]),
        ("BAG 10", names[1]),
        ("other", names[2]),
        ("one", names[3]),
    ):
        assert f"Lot {meant}" in run(path, "show", said).stdout
    for said, listed in (("bag", names[:2]), ("none", names)):
        ended = run(path, "show", said)
        assert ended.exit_code == 2
        assert str(path) in ended.stderr
        assert [one for one in names if repr(one) in ended.stderr] == list(listed)


def test_show_gives_a_part_and_its_hostile_label(filled: Path) -> None:
    """As text: what looks like markup is none."""
    out = run(filled, "show", "chokes", "2").stdout
    assert invented.HOSTILE in out.replace("\n", "")
    assert "33.20 ± 0.20 µH" in out


def test_show_finds_a_label(filled: Path) -> None:
    """In all lots; status 2 where there is none."""
    assert run(filled, "show", "--label", "L7").exit_code == 0
    assert run(filled, "show", "--label", "L99").exit_code == 2
    assert run(filled, "show").exit_code == 2


def test_show_gives_every_attempt(own: Path) -> None:
    """The second attempt beside the first."""
    with open_base(own) as base:
        again = invented.part_entry(
            1, lot="chokes", inductance_h=34e-6, q=90.0, again=1
        )
        base.store(again)
    out = run(own, "show", "chokes", "1").stdout
    assert "Attempt 1" in out
    assert "Attempt 2" in out
    assert "34.00 ± 0.20 µH" in out


def test_export_writes_parts_and_readings(filled: Path, tmp_path: Path) -> None:
    """CSV for all, Parquet where pyarrow is; what is there is not overwritten."""
    assert run(filled, "export", "chokes", str(tmp_path / "out")).exit_code == 0
    with (tmp_path / "out" / "parts.csv").open(encoding="utf-8", newline="") as file:
        assert len(list(csv.DictReader(file))) == 12
    again = run(filled, "export", "chokes", str(tmp_path / "out"))
    assert again.exit_code == 2
    assert "exists already" in again.stderr
    wrong = run(filled, "export", "chokes", str(tmp_path), "--format", "xls")
    assert "--format is one of csv, parquet" in wrong.stderr


def test_verify_prints_heads_and_finds_damage(own: Path) -> None:
    """All well with status 0; a verdict changed behind its back with status 1."""
    well = run(own, "verify")
    assert well.exit_code == 0
    with open_base(own) as base:
        head = base.head("chokes").hash
    assert head in well.stdout
    assert run(own, "verify", "--head", head).exit_code == 0
    assert run(own, "verify", "--head", "0" * 64).exit_code == 1
    with sqlite3.connect(own) as harmed:
        harmed.execute("UPDATE parts SET verdict = 'accepted' WHERE position = 5")
    harmed.close()
    found = run(own, "verify")
    assert found.exit_code == 1
    assert "lot 'chokes', entry 6" in found.stdout


def test_seal_prints_a_hash_that_verify_takes(own: Path) -> None:
    """It covers all lots."""
    seal = run(own, "seal").stdout.strip()
    assert len(seal) == 64
    assert run(own, "verify", "--head", seal).exit_code == 0


def test_adopt_brings_in_a_side_file(own: Path, tmp_path: Path) -> None:
    """Once; a line that is none is named, with status 1."""
    path = tmp_path / "side.jsonl"
    with open_base(own) as base:
        replace(base.side_file, path=path).append(
            invented.part_entry(50, lot="chokes", inductance_h=33e-6, q=100.0)
        )
    assert "1 stored, 0 were there" in run(own, "adopt", str(path)).stdout
    assert "0 stored, 1 were there" in run(own, "adopt", str(path)).stdout
    with path.open("a", encoding="utf-8") as file:
        file.write("nonsense\n")
    ended = run(own, "adopt", str(path))
    assert ended.exit_code == 1
    assert "line 2 refused" in ended.stdout


# Working out again -----------------------------------------------------------------


def test_rework_is_the_measurement_with_other_constants(own: Path) -> None:
    """Every part as the single fit and deduction give it, to a hundredth of u.

    Their documents are an earlier release's, without settings: none is read for it.
    """
    with open_base(own) as base:
        kept = json.loads(base.part("chokes", 1).document or "")
    assert kept == {"schema": "halfpower.result/1", "procedure": "coil"}
    ended = run(own, "rework", "chokes", "--set", CORRECTION, "--reason", "stray again")
    assert ended.exit_code == 1  # one is rejected and four are suspect
    with open_base(own) as base:
        lot = parse_lot_text(base.lot("chokes").file_text, "lot")
        rows = list(base.parts("chokes"))
        sweeps = {one.position: one.readings for one in base.sweeps("chokes")}
    tank = corrected_by(constants_in_force(invented.IN_FORCE, lot), [CORRECTION]).tank()
    for row in rows:
        if row.verdict is Verdict.UNMEASURED:
            continue
        readings = sweeps[row.position]
        assert readings.range_v is not None
        used = readings.used
        trace = Trace(
            frequency_hz=readings.frequency_hz[used],
            amplitude_v=readings.amplitude_v[used],
            u_amplitude_v=readings.range_v[used],
            u_scale_known=False,
        )
        found = fit(trace, response=Peak(exponent=1.0))
        single = deduce_coil(tank, measured=measured_pair(found))
        for quantity, one in zip(row.quantities, single, strict=True):
            assert quantity.name == one.name
            u = one.standard_uncertainty
            assert abs(quantity.value - one.value) < 0.01 * u
            assert quantity.standard_uncertainty == pytest.approx(u, rel=0.02)


def test_old_results_stay_beside_the_new(own: Path) -> None:
    """With the reason, the old constant and the new one."""
    why = "stray <b>again</b>"
    run(own, "rework", "chokes", "--set", CORRECTION, "--reason", why)
    with open_base(own) as base:
        record = base.part("chokes", 1)
        assert base.verify().finding is None
    assert record.rework_reason == why
    assert record.first.quantities != record.newest.quantities
    out = run(own, "show", "chokes", "1").stdout
    assert f"reworked because: {why}" in out
    assert "4.2e-12 (u = 2e-13)" in out
    assert "5.4e-12 (u = 1.2e-13)" in out


def test_verdicts_are_decided_anew(own: Path) -> None:
    """A capacitor that was 20 % larger makes all chokes too small.

    33 uH less 17 % is 27.5 uH, below 29.7 uH by more than twice its u.
    """
    ended = run(
        own, "rework", "chokes", "--capacitor", "180pF +- 0.5%", "--reason", "wrong one"
    )
    assert "rejected" in ended.stdout
    with open_base(own) as base:
        parts = list(base.parts("chokes"))
    reworked = [one for one in parts if one.result != one.sequence]
    assert len(reworked) == 11
    assert {one.verdict for one in reworked} == {Verdict.REJECTED}
    assert reworked[0].reasons[0].code == "inductance_below"
    assert "the limit of 29.7 µH" in reworked[0].reasons[0].text


def test_corrections_add_up_unless_told_otherwise(own: Path) -> None:
    """The second rework keeps the first one's stray; --from-measured does not."""
    run(own, "rework", "chokes", "--set", CORRECTION, "--reason", "1")
    more = "fixture.lead_inductance=30nH"
    run(own, "rework", "chokes", "--set", more, "--reason", "2")
    lot = parse_lot_text(invented.LOT_FILE.format(name="x", size=1), "lot")
    with open_base(own) as base:
        one = base.in_force("chokes")[0]
        tank = constants_in_force(one.circumstances, lot).tank()
    assert (tank.stray_f.value, tank.lead_h.value) == (5.4e-12, 30e-9)
    run(own, "rework", "chokes", "--set", more, "--reason", "3", "--from-measured")
    with open_base(own) as base:
        one = base.in_force("chokes")[0]
        tank = constants_in_force(one.circumstances, lot).tank()
    assert tank.stray_f.value == 4.2e-12


def test_parts_on_two_benches_keep_their_own_constants(own: Path) -> None:
    """Those of another fixture are worked out with that fixture's leads."""
    fixture = {**invented.FIXTURE, "lead_inductance": invented.stated(500e-9)}
    other = invented.part_entry(60, lot="chokes", inductance_h=33e-6, q=100.0)
    in_force = replace(other.circumstances, fixture=json.dumps(fixture))
    with open_base(own) as base:
        base.store(replace(other, circumstances=in_force))
        same = invented.part_entry(60, lot="chokes", inductance_h=33e-6, q=100.0)
        base.store(same)
    run(own, "rework", "chokes", "--set", CORRECTION, "--reason", "stray")
    with open_base(own) as base:
        two = list(base.parts("chokes"))[-2:]
    values = [
        q.value for part in two for q in part.quantities if q.name == "inductance"
    ]
    assert values[1] - values[0] == pytest.approx(480e-9, rel=1e-6)


def test_capacitors_come_from_both_their_sweeps(tmp_path: Path) -> None:
    """100 pF across the tank, by Cx = T1 ((f1/f2)^2 - 1) of a tank without loss.

    The tank's losses move that by D/Q, some 1e-4 of it; its 159.7 pF are known to
    0.7 %.
    """
    path = tmp_path / "records.sqlite3"
    f1, total = 2.192e6, invented.TOTAL_F
    f2 = f1 / np.sqrt(1.0 + 100e-12 / total)
    rng = np.random.default_rng(3)
    sweeps = tuple(
        replace(invented.sweep_of(f, q, rng), name=name)
        for name, f, q in (("reference", f1, 100.0), ("unknown", f2, 85.0))
    )
    text = invented.LOT_FILE.format(name="caps", size=1)
    text = text.partition("[limit.inductance]")[0].replace("coil", "capacitor")
    part = invented.part_entry(1, lot="caps", inductance_h=33e-6, q=100.0)
    with open_base(path) as base:
        base.open_lot(
            invented.LotEntry(
                name="caps", file_text=text, begun=invented.at(0), station="north"
            )
        )
        base.store(replace(part, procedure="capacitor", sweeps=sweeps))
    ended = run(path, "rework", "caps", "--reason", "again")
    assert ended.exit_code == 0, ended.output
    with open_base(path) as base:
        (row,) = base.parts("caps")
    found = {one.name: one for one in row.quantities}
    assert found["capacitance"].value == pytest.approx(100e-12, rel=2e-3)
    assert found["capacitance"].standard_uncertainty == pytest.approx(0.7e-12, rel=0.3)


def test_a_part_that_gives_no_value_now_is_unmeasured(own: Path) -> None:
    """Leads of a millihenry leave nothing; it is said, and the old result stays."""
    correction = "fixture.lead_inductance=1mH"
    ended = run(own, "rework", "chokes", "--set", correction, "--reason", "a slip")
    assert ended.exit_code == 1
    assert "11 of them have no value now" in ended.stdout
    with open_base(own) as base:
        row = next(iter(base.parts("chokes")))
        assert base.part("chokes", 1).first.verdict is Verdict.ACCEPTED
    assert (row.verdict, row.reasons[0].code) == (Verdict.UNMEASURED, "no_value")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["chokes", "--reason", " "], "say why"),
        (["bolts", "--reason", "x"], "no lot 'bolts'"),
        (["chokes", "--reason", "x", "--set", "a=1"], "corrects nothing"),
        (["chokes", "--reason", "x", "--bench", "none.toml"], "none.toml"),
    ],
)
def test_a_rework_that_cannot_be_is_refused(
    filled: Path, arguments: list[str], said: str
) -> None:
    """In a sentence, with status 2, and nothing is stored."""
    ended = run(filled, "rework", *arguments)
    assert ended.exit_code == 2
    assert said in ended.stderr
    with open_base(filled) as base:
        assert all(one.result == one.sequence for one in base.parts("chokes"))


def test_a_lot_of_nothing_is_refused(tmp_path: Path) -> None:
    """No measured part, nothing to work out."""
    path = tmp_path / "records.sqlite3"
    with open_base(path) as base:
        invented.fill(base, size=0)
    ended = run(path, "rework", "chokes", "--reason", "x")
    assert ended.exit_code == 2
    assert "no measured part" in ended.stderr


def test_sequences_in_force_are_rising(filled: Path) -> None:
    """The newest attempts that gave a result, in one group."""
    with open_base(filled) as base:
        (one,) = base.in_force("chokes")
    assert one.sequences.size == 11
    assert (np.diff(one.sequences) > 0).all()
