"""`halfpower predict`: tables, documents and refusals."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from halfpower.cli.commands.predict import app

COIL = ("coil", "--diameter", "25mm", "--turns", "20", "--wire", "0.8mm")
RING = ("toroid", "--turns", "10", "--outer", "23mm", "--inner", "14mm")


def predict(*arguments: str) -> Result:
    """Run a command line in this process."""
    ended = CliRunner().invoke(app, list(arguments))
    if ended.exception and not isinstance(ended.exception, SystemExit):
        raise ended.exception
    return ended


def test_a_coil_is_a_table_with_its_doubts() -> None:
    """Values, 95 % limits and where the doubt comes from, on standard output."""
    ended = predict(*COIL, "--pitch", "1mm", "--frequency", "7MHz")
    assert ended.exit_code == 0
    for word in ("inductance", "unloaded Q", "self resonant", "proximity loss table"):
        assert word in ended.stdout


def test_the_document_has_every_quantity_with_its_unit() -> None:
    """Schema, value, unit, standard uncertainty; nothing else on standard output."""
    ended = predict(*COIL, "--pitch", "1mm", "--frequency", "7MHz", "--json", "-")
    document = json.loads(ended.stdout)
    assert document["schema"] == "halfpower.prediction/1"
    assert document["prediction"] == "coil"
    quantity = document["quantities"]["inductance"]
    assert quantity["unit"] == "H"
    assert 7e-6 < quantity["value"] < 8e-6
    assert 0.0 < quantity["standard_uncertainty"] < 0.02 * quantity["value"]
    assert quantity["budget"][0]["source"]


def test_a_document_in_a_file_is_announced() -> None:
    """The table on standard output, the file's name on standard error."""
    ended = predict(*COIL, "--length", "20mm", "--json", "coil.json")
    assert "Wrote coil.json" in ended.stderr
    assert json.loads(Path("coil.json").read_text(encoding="utf-8"))["quantities"]
    assert "inductance" in ended.stdout


def test_a_stated_doubt_reaches_the_result() -> None:
    """1 % limits of a diameter are in the budget."""
    ended = predict(
        "coil", "--diameter", "25mm +- 1%", *COIL[3:], "--pitch", "1mm", "--json", "-"
    )
    budget = json.loads(ended.stdout)["quantities"]["inductance"]["budget"]
    assert "diameter" in {one["source"] for one in budget}


def test_a_coil_on_a_core_by_al() -> None:
    """4.9 nH and 20 turns: 1.96 uH."""
    ended = predict("toroid", "--turns", "20", "--al", "4.9nH +- 5%", "--json", "-")
    value = json.loads(ended.stdout)["quantities"]["inductance"]["value"]
    assert value == pytest.approx(1.96e-6, rel=1e-9, abs=0.0)


def test_a_coil_on_a_core_by_size() -> None:
    """Permeabilities of thousands have no unit and are read."""
    ended = predict(*RING, "--height", "7mm", "--permeability", "2000 +- 25%")
    assert ended.exit_code == 0
    assert "139" in ended.stdout  # uH: 4e-7 pi 2000 100 7e-3 ln(23/14)/(2 pi)


def test_the_doubt_shown_is_the_interval_s() -> None:
    """5 % limits of L: +- 2.4 %, not 2 u = 2.9 %, of 7.1535 MHz."""
    ended = predict(
        *("resonance", "--inductance", "3.3uH +- 5%", "--capacitance", "150pF")
    )
    row = next(line for line in ended.stdout.splitlines() if "resonant" in line)
    assert row.split()[2:4] == ["7.15", "0.18"]


def test_a_wide_sheet_has_the_larger_edge() -> None:
    """Extending beyond 50 mm discs: 0.01628 pF/mm in a separate computation."""
    ended = predict(
        *("plates", "--diameter", "50mm", "--gap", "1mm", "--permittivity", "4.5"),
        *("--sheet", "extends", "--json", "-"),
    )
    edge = json.loads(ended.stdout)["quantities"]["edge_capacitance"]["value"]
    assert edge == pytest.approx(0.01628e-12 * 157.08, rel=4e-3, abs=0.0)


def test_discs_show_kirchhoff_beside_the_exact_value() -> None:
    """50 mm, 1 mm: d/R = 0.04."""
    ended = predict("plates", "--diameter", "50mm", "--gap", "1mm")
    assert "Kirchhoff's formula gives" in ended.stdout
    assert "edge field's share" in ended.stdout


def test_a_width_alone_is_a_square() -> None:
    """And says so in its inputs."""
    ended = predict("plates", "--width", "50mm", "--gap", "5mm", "--json", "-")
    document = json.loads(ended.stdout)
    assert document["inputs"]["length"] == "50 mm"
    share = document["quantities"]["edge_share"]["value"]
    assert share == pytest.approx(0.3057 / 1.3057, rel=1e-3)  # computed table, d/a 0.1


def test_a_resonance_from_two() -> None:
    """3.3 uH and 150 pF: 7.1535 MHz by hand."""
    ended = predict(
        "resonance", "--inductance", "3.3uH", "--capacitance", "150pF", "--json", "-"
    )
    value = json.loads(ended.stdout)["quantities"]["resonant_frequency"]["value"]
    assert value == pytest.approx(7.1535e6, rel=1e-4)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ((*COIL, "--pitch", "0.7mm"), "does not fit a pitch"),
        ((*COIL, "--pitch", "1mm", "--length", "25mm"), "20 mm long, not 25 mm"),
        (COIL, "needs its length or its pitch"),
        ((*COIL[:4], "-5", *COIL[5:], "--pitch", "1mm"), "1 to 100000 turns"),
        ((*COIL, "--pitch", "1m"), "could be metres or milli"),
        (("plates", "--diameter", "50mm", "--gap", "0mm"), "gap is above zero"),
        (("plates", "--gap", "1mm"), "discs with a diameter or rectangles"),
        (
            ("plates", "--diameter", "5mm", "--gap", "1mm", "--permittivity", "2F"),
            "not a plain number",
        ),
        (("resonance", "--inductance", "1uH"), "give two of"),
        (
            ("coil", "--diameter", "25", *COIL[3:], "--pitch", "1mm"),
            "write it like 25mm",
        ),
        ((*COIL[:4], "1e300", *COIL[5:], "--pitch", "1mm"), "1 to 100000 turns"),
        ((*COIL[:5], "--wire", "0.8mm +- 0.5mm", "--pitch", "1mm"), "so widely"),
        (("plates", "--diameter", "5mm", "--gap", "1mm", "--sheet", "wide"), "flush, "),
        (
            ("plates", "--diameter", "5mm", "--gap", "1mm", "--sheet", "extends"),
            "needs its permittivity",
        ),
        ((*RING, "--permeability", "", "--height", "7mm"), "not a plain number"),
        ((*RING, "--permeability", "1e9", "--height", "7mm"), "is 1 to 1e+06"),
        (("toroid", "--turns", "10", "--al", "5nH +- 100%"), "so widely"),
        (("toroid", "--turns", "3"), "say the core's --al"),
        ((*RING, "--height", "7mm"), "say --permeability"),
        ((*RING, "--permeability", "125"), "say --height"),
        ((*RING, "--permeability", "125ohm", "--height", "7mm"), "not a plain number"),
        ((*RING, "--al", "5nH"), "say the core's --al"),
    ],
)
def test_unusable_input_is_one_sentence_and_no_number(
    arguments: tuple[str, ...], sentence: str
) -> None:
    """Exit status 2, the sentence on standard error, standard output empty."""
    ended = predict(*arguments)
    assert (ended.exit_code, ended.stdout) == (2, "")
    assert sentence in ended.stderr
    assert ended.stderr.count("\n") == 1


def test_a_file_that_cannot_be_written_is_refused_at_once() -> None:
    """Exit status 2, and no table above it."""
    Path("taken").write_text("", encoding="utf-8")
    ended = predict(*COIL, "--pitch", "1mm", "--json", "taken/coil.json")
    assert ended.exit_code == 2
    assert "cannot write" in ended.stderr
    assert ended.stdout == ""
