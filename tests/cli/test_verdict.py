"""Status 1 means one thing, and the document's verdict and the table say the same."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from halfpower.analysis.lots import Verdict, nothing_wanting
from halfpower.sim import load_scene

Run = Callable[..., Any]
SPAN = ("--scene", "kit-coil", "--from", "4MHz", "--to", "10MHz")
COIL = ("coil", *SPAN, "--capacitor", "150pF +- 1%")


@pytest.mark.parametrize(
    ("said", "verdict", "status"),
    [
        ((), None, 0),
        # The scene's coil is 3.3 uH (below); it is known to 1.5 % or so.
        (("--expect", "3.3uH +- 10%"), "fits", 0),
        (("--expect", "33uH +- 10%"), "does not fit", 1),
        (("--marked", "3R3K"), "fits", 0),
        (("--marked", "330K"), "does not fit", 1),
        (("--expect", "3.3uH +- 10%", "--marked", "330K"), "does not fit", 1),
    ],
)
def test_document_table_and_status_say_the_same(
    halfpower: Run, said: tuple[str, ...], verdict: str | None, status: int
) -> None:
    """Null and no line where nothing was said of the part; files are written."""
    truth_h = load_scene("kit-coil").build(seed=0).truth["coil.inductance_h"]
    assert truth_h == pytest.approx(3.3e-6, rel=0.05)
    ended = halfpower(*COIL, *said, "--json", "coil.json")
    found = json.loads(Path("coil.json").read_text("utf-8"))
    assert (ended.status, found["verdict"]) == (status, verdict), ended.err
    assert len(found["judged"]) == len(said) / 2
    if verdict is None:
        assert "Verdict" not in ended.out
    else:
        assert f"Verdict: {verdict} (" in ended.out
    alone = halfpower(*COIL, *said, "--json", "-")
    assert (alone.status, json.loads(alone.out)["verdict"]) == (status, verdict)


def test_a_capacitor_that_is_not_what_was_expected_is_status_1(halfpower: Run) -> None:
    """Of 91 pF, not 150 pF."""
    ended = halfpower(
        *("capacitor", "--scene", "capacitor-drawer", "--seed", "1", "--tank"),
        *("150pF +- 1%", "--from", "1.5MHz", "--to", "4MHz", "--self-capacitance"),
        *("4pF +- 1pF", "--expect", "150pF +- 5%", "--json", "-"),
    )
    found = json.loads(ended.out)
    assert (ended.status, found["verdict"]) == (1, "does not fit"), ended.err


def test_a_sweep_and_a_fit_judge_nothing(halfpower: Run) -> None:
    """Nothing was said of the part: null, status 0."""
    swept = halfpower("sweep", *SPAN, "--readings", "r.csv", "--json", "-")
    fitted = halfpower("fit", "r.csv", "--json", "-")
    for ended in (swept, fitted):
        assert (ended.status, json.loads(ended.out)["verdict"]) == (0, None)


def test_a_file_that_cannot_be_written_comes_before_the_verdict(
    halfpower: Run,
) -> None:
    """Status 2: what was asked for is not done."""
    ended = halfpower(*COIL, "--expect", "33uH +- 10%", "--json", "/dev/full")
    assert ended.status == 2
    assert "Verdict: does not fit" in ended.out


@pytest.mark.parametrize("wanting", [v for v in Verdict if v is not Verdict.ACCEPTED])
def test_a_lot_is_well_if_every_part_is_accepted_and_none_suspect(
    wanting: Verdict,
) -> None:
    """One other verdict, or one part in doubt, is enough (DESIGN: status 1)."""
    good = [Verdict.ACCEPTED] * 3
    assert nothing_wanting(good, suspect=0)
    assert not nothing_wanting(good, suspect=1)
    assert not nothing_wanting([*good, wanting], suspect=0)
