"""`halfpower lot show | match | labels | gauge`, on an invented lot."""

import csv
import json
import runpy
from pathlib import Path
from types import SimpleNamespace
from xml.etree import ElementTree as ET

import pytest
import typer
from typer.testing import CliRunner, Result

from halfpower.cli.commands import lot_show
from halfpower.cli.words import with_exit_status
from halfpower.records import open_base

HELPER = Path(__file__).parents[2] / "reports" / "lot" / "invented_lot.py"
invented = SimpleNamespace(**runpy.run_path(str(HELPER)))


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A base with the invented lot, and a lot of three that is all accepted.

    And one where two stations measured three parts twice each.
    """
    path = tmp_path_factory.mktemp("base") / "records.sqlite3"
    with open_base(path) as base:
        invented.fill(base, size=24, every=8)
        invented.fill(base, name="good", size=2)
        _gauged(base)
    return path


def _gauged(base: object) -> None:
    text = invented.LOT_FILE.format(name="study", size=3)
    base.open_lot(  # type: ignore[attr-defined]  # an open base
        invented.LotEntry(
            name="study", file_text=text, begun=invented.at(0), station="north"
        )
    )
    for round_ in range(4):
        station = ("north", "south")[round_ % 2]
        for number in (1, 2, 3):
            value = 33e-6 * (1.0 + 0.01 * number + 0.001 * round_ + 1e-4 * number**2)
            base.store(  # type: ignore[attr-defined]  # an open base
                invented.part_entry(
                    number,
                    lot="study",
                    inductance_h=value,
                    q=100.0,
                    station=station,
                    again=number if round_ else None,
                )
            )


def run(path: Path, *arguments: str) -> Result:
    """Run a command on a base; a fault keeps its traceback."""
    app = typer.Typer(rich_markup_mode=None)
    for name in ("show", "match", "labels", "gauge"):
        app.command(name)(with_exit_status(getattr(lot_show, name)))
    ended = CliRunner().invoke(app, [*arguments, "--records", str(path)])
    if ended.exception and not isinstance(ended.exception, SystemExit):
        raise ended.exception
    return ended


def test_show_ends_with_status_1_where_a_part_is_not_accepted(filled: Path) -> None:
    """And with 0 where all are."""
    assert run(filled, "show", "chokes").exit_code == 1
    assert run(filled, "show", "good").exit_code == 0
    assert run(filled, "show", "bolts").exit_code == 2


def test_show_says_yield_and_defects(filled: Path) -> None:
    """On the terminal: 14 sound of 24 (8 suspect, one shorted, one unmeasured)."""
    out = run(filled, "show", "chokes").stdout
    assert "14 of 24 tested parts are accepted and not suspect" in out
    assert "shorted turn" in out


def test_show_writes_its_files(filled: Path, tmp_path: Path) -> None:
    """Page, table and JUnit XML, each with the hostile label as text."""
    names = ("--page", "lot.html"), ("--csv", "lot.csv"), ("--junit", "lot.xml")
    given = [one for option, name in names for one in (option, str(tmp_path / name))]
    assert run(filled, "show", "chokes", *given).exit_code == 1
    assert "<script" not in (tmp_path / "lot.html").read_text(encoding="utf-8")
    with (tmp_path / "lot.csv").open(encoding="utf-8", newline="") as file:
        assert list(csv.DictReader(file))[1]["label"] == f"'{invented.HOSTILE}"
    cases = ET.parse(tmp_path / "lot.xml").getroot()[0].findall("testcase")  # noqa: S314 - our own
    assert cases[1].get("name") == invented.HOSTILE


def test_document_alone_is_on_standard_output(filled: Path) -> None:
    """Nothing else is printed there."""
    document = json.loads(run(filled, "show", "chokes", "--json", "-").stdout)
    assert document["verdicts"]["rejected"] == 1


def test_a_page_that_cannot_be_is_refused_first(filled: Path) -> None:
    """Before anything is read."""
    ended = run(filled, "show", "chokes", "--page", "lot.pdf")
    assert ended.exit_code == 2
    assert not ended.stdout


def test_match_goes_by_the_lot_file(filled: Path, tmp_path: Path) -> None:
    """Pairs within 1 % as it says; a table of them as CSV."""
    path = tmp_path / "sets.csv"
    ended = run(filled, "match", "chokes", "--csv", str(path))
    assert ended.exit_code == 0
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 14
    assert all(float(r["inductance_spread"]) <= 0.01 for r in rows if r["set"])


def test_match_takes_its_own_width(filled: Path) -> None:
    """Quads within 5 %, as a document."""
    given = ("--size", "4", "--within", "inductance=5%", "--json", "-")
    document = json.loads(run(filled, "match", "chokes", *given).stdout)
    assert document["set_size"] == 4
    assert all(len(one["parts"]) == 4 for one in document["sets"])
    wrong = run(filled, "match", "chokes", "--within", "colour=5%")
    assert wrong.exit_code == 2
    assert "a coil has inductance" in wrong.stderr


def test_labels_go_by_the_lot_file(filled: Path, tmp_path: Path) -> None:
    """A sheet of all parts, and one of other size of the accepted alone."""
    assert run(filled, "labels", "chokes", str(tmp_path / "a.pdf")).exit_code == 0
    given = ("--page-size", "100mmx60mm", "--columns", "2", "--rows", "2")
    more = ("--accepted", "--margin", "0", "--text", "{label}|{verdict}")
    path = tmp_path / "b.svg"
    assert run(filled, "labels", "chokes", str(path), *given, *more).exit_code == 0
    assert len(list(tmp_path.glob("b*.svg"))) == 4  # 14 labels of 4 a sheet


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--page-size", "A0"], "WIDTHxHEIGHT"),
        (["--code", "ean"], "--code is one of"),
        (["--text", "{nothing}"], "stands for nothing"),
    ],
)
def test_labels_that_cannot_be_are_refused(
    filled: Path, tmp_path: Path, given: list[str], said: str
) -> None:
    """In a sentence, with status 2."""
    ended = run(filled, "labels", "chokes", str(tmp_path / "a.pdf"), *given)
    assert ended.exit_code == 2
    assert said in ended.stderr


def test_gauge_studies_the_attempts(filled: Path) -> None:
    """Three parts, two stations, two readings each; as table and as document."""
    assert (
        "3 parts, 2 operators, 2 readings each" in run(filled, "gauge", "study").stdout
    )
    document = json.loads(run(filled, "gauge", "study", "--json", "-").stdout)
    assert document["operators"] == ["north", "south"]
    assert document["components"]["parts"]["percent_of_variance"] > 90.0


def test_gauge_of_one_attempt_each_is_refused(filled: Path) -> None:
    """In a sentence, with status 2."""
    ended = run(filled, "gauge", "chokes")
    assert ended.exit_code == 2
    assert "two stations or more" in ended.stderr
