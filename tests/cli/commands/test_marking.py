"""`halfpower marking`: readings, odds, verdicts and refusals."""

import json

import pytest
import typer
from typer.testing import CliRunner, Result

from halfpower.cli.commands.marking import marking
from halfpower.cli.words import with_exit_status


def marked(*arguments: str) -> Result:
    """Run the command alone, in this process."""
    app = typer.Typer()
    app.command()(with_exit_status(marking))
    ended = CliRunner().invoke(app, list(arguments))
    if ended.exception and not isinstance(ended.exception, SystemExit):
        raise ended.exception
    return ended


def test_every_reading_is_a_line_with_its_series() -> None:
    """101K on an inductor: uH or nH, and it says that this is the trade's practice."""
    ended = marked("101K", "--kind", "inductor")
    assert ended.exit_code == 0
    for text in ("100 µH", "100 nH", "10 %", "E6", "trade practice", "--measured"):
        assert text in " ".join(ended.stdout.split())


def test_one_reading_asks_for_no_measurement() -> None:
    """104 on a capacitor is 100 nF."""
    ended = marked("104", "--kind", "capacitor")
    assert "100 nF" in ended.stdout
    assert "More than one" not in ended.stdout


@pytest.mark.parametrize(
    ("measured", "status", "verdict"),
    [
        ("46.2pF u=0.5pF", 0, "it is 47 pF"),
        ("0.468nF +- 2%", 0, "it is 470 pF"),
        ("150pF u=1pF", 1, "none fits"),
        ("53.5pF u=0.6pF", 1, "undecided"),
    ],
)
def test_the_exit_status_is_the_verdict_s(
    measured: str, status: int, verdict: str
) -> None:
    """0 where one reading fits, 1 where none does or nothing is decided."""
    ended = marked("470K", "--kind", "capacitor", "--measured", measured)
    assert ended.exit_code == status
    assert f"Verdict: {verdict}" in ended.stdout


def test_the_document_has_the_odds() -> None:
    """Shares of the readings and of none of these add up to 1."""
    ended = marked(
        "470K", "--kind", "capacitor", "--measured", "46pF u=2pF", "--json", "-"
    )
    document = json.loads(ended.stdout)
    assert document["schema"] == "halfpower.marking/1"
    shares = [one["share"] for one in document["readings"]]
    assert sum(shares) + document["none_of_these"]["share"] == pytest.approx(1.0)
    assert document["verdict"] == "fits"
    assert document["readings"][0]["series"][0] == "E6"


def test_a_document_without_a_measurement_has_no_verdict() -> None:
    """Null, as a result document has it."""
    ended = marked("470K", "--kind", "capacitor", "--json", "-")
    assert json.loads(ended.stdout)["verdict"] is None


def test_the_share_of_none_is_the_person_s_to_state() -> None:
    """And is said beside the verdict."""
    ended = marked(
        *("470K", "--kind", "capacitor", "--measured", "46pF u=1pF"),
        *("--none-share", "50%"),
    )
    assert "taken as 50% beforehand" in ended.stdout


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("xyz", "--kind", "resistor"), "no marking of a resistor"),
        (("104", "--kind", "diode"), "not one of capacitor, inductor, resistor"),
        (("104", "--kind", "capacitor", "--measured", "98nF"), "uncertainty"),
        (("104", "--kind", "capacitor", "--measured", "98nH"), "not in F"),
        (("104", "--kind", "capacitor", "--tolerance", "0%"), "tolerance is above"),
    ],
)
def test_unusable_input_is_one_sentence_and_no_number(
    arguments: tuple[str, ...], sentence: str
) -> None:
    """Exit status 2, the sentence on standard error, standard output empty."""
    ended = marked(*arguments)
    assert (ended.exit_code, ended.stdout) == (2, "")
    assert sentence in ended.stderr
