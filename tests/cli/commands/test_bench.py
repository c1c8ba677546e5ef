"""`halfpower bench` as a stranger runs it, on simulated benches."""

from collections.abc import Callable
from pathlib import Path

import pytest

from halfpower.cli.at_bench import bundled_bench_file
from halfpower.drivers.dialects import load_generator_dialect
from halfpower.drivers.instruments import load_linearisation

Run = Callable[..., "Ended"]  # noqa: F821 - conftest's record
GENERATOR = "TCPIP0::192.0.2.10::inst0::INSTR"

LINEARISE = ("linearise", "--scene", "kit-coil", "--frequency")


def test_list_names_what_is_there(halfpower: Run) -> None:
    """One resource a line, on standard output."""
    ended = halfpower("bench", "list", "--scene", "kit-coil")
    assert ended.status == 0
    assert ended.out.split() == [GENERATOR, "TCPIP0::192.0.2.11::inst0::INSTR"]


def test_list_says_when_there_is_nothing(
    halfpower: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And how an instrument that cannot be found is named."""
    monkeypatch.setattr(
        "pyvisa.ResourceManager.list_resources", lambda *_: (), raising=True
    )
    ended = halfpower("bench", "list")
    assert ended.status == 0
    assert ended.out == ""
    assert "finds nothing" in ended.err
    assert "SOCKET" in ended.err


def test_list_with_no_such_visa_is_a_link_s_failure(halfpower: Run) -> None:
    """One sentence and status 3."""
    ended = halfpower("bench", "list", "--visa", "@nosuch")
    assert ended.status == 3
    assert ended.err.count("\n") == 1


def test_check_ends_with_a_table(halfpower: Run) -> None:
    """Every row on standard output, status 0."""
    ended = halfpower("bench", "check", "--scene", "kit-coil")
    assert ended.status == 0
    rows = ended.out.splitlines()
    assert rows[0].split() == ["looked", "at", "found", "do"]
    assert len(rows) == 13
    assert all(" ok " in row for row in rows[1:])
    assert "Caution" in ended.err


def test_check_fails_with_three_and_says_what_to_do(
    halfpower: Run, tmp_path: Path
) -> None:
    """Both instruments unplugged: two rows that failed, each with advice."""
    text = bundled_bench_file("kit-coil").read_text(encoding="utf-8")
    for number in (10, 11):
        name = f"TCPIP0::192.0.2.{number}::inst0::INSTR"
        text = text.replace(name, "TCPIP0::127.0.0.1::9::SOCKET")
    (tmp_path / "dead.toml").write_text(text, encoding="utf-8")
    ended = halfpower("bench", "check", "--bench", "dead.toml")
    assert ended.status == 3
    assert ended.out.count("FAILED") == 2
    assert "cable" in ended.out


def test_check_drives_below_the_tank_s_limit(halfpower: Run, tmp_path: Path) -> None:
    """A bench file of 4 V is checked at the level that the guard lets pass.

    The prediction is highest where probe and source take alike, w = 1/(Cc sqrt(Rs Rp))
    = 2 pi 23.3 MHz: the coupling's 0.147 mS drives 16 pF at Q = 400 (5.9 uS), the probe
    and the source (1.1 uS each), the stray's loss (0.7 uS): 16.7 V for 1 V, so 1.79 V
    for 30 V; at the limits' 60 MHz it is 15 V.
    """
    text = bundled_bench_file("kit-coil").read_text(encoding="utf-8")
    (tmp_path / "hot.toml").write_text(text.replace('"1V"', '"4V"'), encoding="utf-8")
    ended = halfpower("bench", "check", "--scene", "kit-coil", "--bench", "hot.toml")
    assert ended.status == 0
    row = next(r for r in ended.out.splitlines() if "obeys level" in r)
    level_v = float(row.split(" V e.m.f.")[0].split()[-1])
    assert level_v == pytest.approx(1.79, rel=0.01)


def test_learn_writes_a_dialect_that_loads(halfpower: Run, tmp_path: Path) -> None:
    """And says what to do with it; the scene's generator stands at VPP, and may."""
    ended = halfpower(
        "bench", "learn", GENERATOR, "--scene", "kit-coil", "--out", "mine.toml"
    )
    assert ended.status == 0
    assert "mine.toml" in ended.err
    assert load_generator_dialect("mine.toml", folder=tmp_path).level.unit == "Vpp"


def test_learn_never_writes_over_a_file(halfpower: Run, tmp_path: Path) -> None:
    """It may be somebody's work."""
    (tmp_path / "mine.toml").write_text("mine", encoding="utf-8")
    ended = halfpower(
        "bench", "learn", GENERATOR, "--scene", "kit-coil", "--out", "mine.toml"
    )
    assert ended.status == 2
    assert (tmp_path / "mine.toml").read_text(encoding="utf-8") == "mine"


def test_learn_without_a_file_is_data(halfpower: Run) -> None:
    """On standard output, and nothing else there."""
    ended = halfpower("bench", "learn", GENERATOR, "--scene", "kit-coil")
    assert ended.out.startswith("# HALFPOWER SIM,GENERATOR")


def test_linearise_writes_a_law_and_says_where(halfpower: Run, tmp_path: Path) -> None:
    """The diode's, on its peak; the line for the bench file is ready to copy."""
    ended = halfpower(
        "bench", "linearise", "--scene", "kit-coil-diode", "--seed", "1",
        "--frequency", "6.925MHz", "--out", "law.toml",
    )  # fmt: skip
    assert ended.status == 0
    assert 'linearisation = "law.toml"' in ended.out
    law = load_linearisation(tmp_path / "law.toml")
    assert law.frequency_hz == 6.925e6
    assert len(law.indicated_v) == 31


def test_linearise_names_its_file_by_the_day(halfpower: Run, tmp_path: Path) -> None:
    """A second one of the day stands beside the first."""
    arguments = (
        "bench", "linearise", "--scene", "kit-coil", "--frequency", "6.77MHz",
        "--levels", "8", "--repeats", "2",
    )  # fmt: skip
    assert halfpower(*arguments).status == 0
    assert halfpower(*arguments).status == 0
    assert len(list(tmp_path.glob("detector-????-??-??*.toml"))) == 2


@pytest.mark.parametrize(
    ("arguments", "status", "phrase"),
    [
        (("check",), 2, "say what is on the bench"),
        (("check", "--scene", "nosuch"), 2, "nosuch"),
        (("check", "--scene", "kit-coil", "--frequency", "7V"), 2, "7V"),
        (("check", "--bench", "nosuch.toml"), 2, "cannot read bench file"),
        (("linearise", "--scene", "kit-coil"), 2, "--frequency"),
        (
            (
                "linearise",
                "--scene",
                "kit-coil",
                "--frequency",
                "6MHz",
                "--levels",
                "0",
            ),
            2,
            "at least one level",
        ),
        (
            (
                "linearise",
                "--scene",
                "kit-coil",
                "--frequency",
                "6MHz",
                "--highest",
                "9V",
            ),
            4,
            "above the limit",
        ),
        (
            (*LINEARISE, "100kHz"),
            4,
            "detector",
        ),
        (("learn", "nonsense"), 2, "no VISA resource name"),
        (("learn", "GPIB0::1::INSTR", "--scene", "kit-coil"), 2, "no instrument at"),
        (("learn", "TCPIP0::127.0.0.1::9::SOCKET"), 3, "cable"),
        (("learn", GENERATOR, "--scene", "kit-coil", "--timeout", "1V"), 2, "1V"),
        (("list", "--scene", "nosuch"), 2, "nosuch"),
    ],
)
def test_what_cannot_be_done_is_one_sentence_and_a_status(
    halfpower: Run, arguments: tuple[str, ...], status: int, phrase: str
) -> None:
    """2 the person's, 3 the link's, 4 nothing measurable."""
    ended = halfpower("bench", *arguments)
    said = [line for line in ended.err.splitlines() if not line.startswith("Caution")]
    assert ended.status == status
    assert len(said) == 1
    assert phrase in said[0]


@pytest.mark.parametrize(
    "command",
    [
        ("bench", "check"),
        ("coil", "--capacitor", "150pF", "--from", "4MHz", "--to", "10MHz"),
        ("sweep", "--from", "4MHz", "--to", "10MHz"),
        ("bench", "linearise", "--frequency", "6.77MHz", "--levels", "8"),
    ],
    ids=["check", "coil", "sweep", "linearise"],
)
def test_trace_holds_every_byte(
    halfpower: Run, command: tuple[str, ...], tmp_path: Path
) -> None:
    """To and from both instruments."""
    ended = halfpower(*command, "--scene", "kit-coil", "--trace", "bytes.txt")
    assert ended.status == 0
    text = (tmp_path / "bytes.txt").read_text(encoding="ascii")
    assert "generator > b'*IDN?" in text
    assert "detector < b'HALFPOWER SIM,SCOPE" in text
    assert "generator > b'OUTPut:STATe OFF" in text


def test_a_trace_that_cannot_be_written_is_said_before_anything_is_driven(
    halfpower: Run,
) -> None:
    """A folder that is not there."""
    ended = halfpower("bench", "check", "--scene", "kit-coil", "--trace", "no/such")
    assert ended.status == 2


@pytest.mark.parametrize("command", ["list", "check", "learn", "linearise"])
def test_every_command_s_help_has_an_example(halfpower: Run, command: str) -> None:
    """That can be pasted."""
    ended = halfpower("bench", command, "--help")
    assert f"Example: halfpower bench {command}" in " ".join(ended.out.split())
