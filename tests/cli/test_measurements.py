"""`halfpower demo`, `sweep` and `coil` on simulated benches."""

import json
import re
import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from halfpower.cli.at_bench import bundled_bench_file

Run = Callable[..., "Ended"]  # noqa: F821 - conftest's record

COIL = ("coil", "--scene", "kit-coil", "--capacitor", "150pF +- 1%")
SPAN = ("--from", "4MHz", "--to", "10MHz")


def test_the_demo_writes_its_report_and_says_where(halfpower: Run) -> None:
    """A page, a picture, the readings and the document, each named on the way."""
    ended = halfpower("demo")
    assert ended.status == 0
    for name in ("demo-1.html", "demo-1.png", "demo-1.json", "demo-1.csv"):
        path = Path("halfpower-out") / name
        assert path.stat().st_size > 0
        assert str(path) in ended.err


def test_the_demo_says_that_its_setting_is_invented(halfpower: Run) -> None:
    """On the terminal and on the page."""
    ended = halfpower("demo")
    assert "invented" in ended.err
    page = Path("halfpower-out/demo-1.html").read_text(encoding="utf-8")
    assert "An invented setting" in page


def test_the_demo_runs_again_without_losing_readings(halfpower: Run) -> None:
    """The second run keeps its readings beside the first's."""
    halfpower("demo")
    first = Path("halfpower-out/demo-1.csv").read_bytes()
    assert halfpower("demo").status == 0
    assert Path("halfpower-out/demo-1.csv").read_bytes() == first
    assert Path("halfpower-out/demo-1-2.csv").exists()


def test_json_on_standard_output_stands_alone(halfpower: Run) -> None:
    """With --json - standard output is one document and nothing else."""
    ended = halfpower(*COIL, *SPAN, "--json", "-")
    document = json.loads(ended.out)
    assert document["schema"] == "halfpower.result/2"
    assert document["procedure"] == "coil"
    assert set(document["quantities"]["inductance"]) >= {
        "value",
        "unit",
        "standard_uncertainty",
    }


def test_a_coil_comes_out_within_its_interval(halfpower: Run) -> None:
    """The scene's coil is 3.3 uH, drawn with 2 %: 5 sd and the interval bound it."""
    document = json.loads(halfpower(*COIL, *SPAN, "--json", "-").out)
    low, high = document["quantities"]["inductance"]["coverage_interval_95"]
    assert 3.3e-6 * 0.9 < low < high < 3.3e-6 * 1.1


def test_an_expected_value_sets_the_span(halfpower: Run) -> None:
    """--expect finds the coil without --from and --to."""
    ended = halfpower(*COIL, "--expect", "3.3uH", "--json", "-")
    assert ended.status == 0


def test_a_sweep_needs_no_known_part(halfpower: Run) -> None:
    """f0, bandwidth and Q, and the readings file that `fit` reads again."""
    ended = halfpower("sweep", "--scene", "kit-coil", *SPAN, "--readings", "r.csv")
    assert ended.status == 0
    assert "loaded Q" in ended.out
    assert halfpower("fit", "r.csv", "--exponent", "1").status == 0


def test_assumptions_are_said(halfpower: Run) -> None:
    """What was put in because nobody stated it is a warning, never silent."""
    document = json.loads(halfpower(*COIL, *SPAN, "--json", "-").out)
    codes = {warning["code"] for warning in document["warnings"]}
    assert {"self_capacitance_assumed", "capacitor_loss_assumed"} <= codes


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (("sweep", *SPAN), 2, "--bench FILE"),
        (("sweep", "--bench", "none.toml", *SPAN), 2, "No such file"),
        (("sweep", "--scene", "nowhere", *SPAN), 2, "nowhere"),
        (("sweep", "--scene", "kit-coil"), 2, "--from FREQUENCY --to FREQUENCY"),
        (("sweep", "--scene", "kit-coil", "--from", "47x", "--to", "1MHz"), 2, "47x"),
        (
            ("sweep", "--scene", "kit-coil", "--from", "9MHz", "--to", "5MHz"),
            2,
            "lower one first",
        ),
        ((*COIL[:3], "--capacitor", "47x", *SPAN), 2, "'47x' is not in F"),
        ((*COIL, *SPAN, "--target", "two"), 2, "'two'"),
        (("sweep", "--scene", "kit-coil-open", *SPAN), 4, "no resonance lies between"),
        (
            ("sweep", "--scene", "kit-coil", "--from", "4MHz", "--to", "6MHz"),
            4,
            "highest at the upper edge",
        ),
        (("sweep", "--scene", "kit-coil", *SPAN, "--plot", "x.gif"), 2, ".png"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(
    halfpower: Run, arguments: tuple[str, ...], status: int, words: str
) -> None:
    """One line that says what and what to do, the exit status, no traceback."""
    ended = halfpower(*arguments)
    assert ended.status == status
    last = ended.err.strip().splitlines()[-1]
    assert last.startswith("halfpower: ")
    assert words in last
    assert "Traceback" not in ended.err


def test_a_silent_instrument_is_status_3(halfpower: Run) -> None:
    """Something listens and never answers: one sentence, within its time limit."""
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
        text = bundled_bench_file("kit-coil").read_text(encoding="utf-8")
        for resource in re.findall(r"TCPIP0::192[^\"]+", text):
            text = text.replace(resource, f"TCPIP0::127.0.0.1::{port}::SOCKET")
        text = text.replace('settle = "8ms"', 'timeout = "0.2s"')
        Path("bench.toml").write_text(text, encoding="utf-8")
        ended = halfpower("sweep", "--bench", "bench.toml", *SPAN)
    assert ended.status == 3
    assert "no answer in time" in ended.err
    assert "Traceback" not in ended.err
