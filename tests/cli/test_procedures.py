"""`capacitor`, `sheet`, `coil` and `fixture` as a stranger types them."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from halfpower.cli.at_bench import bundled_bench_file, on_bench
from halfpower.drivers import open_bench
from halfpower.sim import load_scene, open_visa

Run = Callable[..., Any]
TANK = ("--tank", "150pF +- 1%", "--from", "1.5MHz", "--to", "4MHz")
DRAWER = ("capacitor", "--scene", "capacitor-drawer", *TANK, "--expect", "100pF +- 50%")
PLATES = ("--width", "60mm +- 0.06mm", "--length", "60mm +- 0.06mm")
BOARD = ("sheet", "--scene", "board-sheet", *TANK, "--thickness", "1.6mm +- 0.02mm")
DIAL = ("capacitor", "--scene", "mica-capacitor", "--method", "dial", "--at", "2MHz")
FIXTURE = (
    "fixture", "measure", "--scene", "coil-set", "--from", "1MHz", "--to", "9MHz",
    "--capacitor", "68pF +- 1%", "--capacitor", "150pF +- 1%",
)  # fmt: skip


def holds(quantities: dict[str, Any], name: str, true: float) -> bool:
    """Whether a quantity by the dial holds the truth within 3 u, and is that sure.

    By hand, and a tenth more: u(C) is the dial's 0.2 %, 0.116 % as a standard one; u(D)
    is what half-widths of 1.1 and 2.1 pF to 0.2 % (the default target) and the dial's
    own loss, to 1.2e-5, make of it on 100 pF: 4.9e-5.
    """
    found, u = quantities[name]["value"], quantities[name]["standard_uncertainty"]
    most_u = 1.1 * {"capacitance": 0.00116 * true, "dissipation_factor": 4.9e-5}[name]
    return bool(abs(found - true) < 3.0 * u <= 3.0 * most_u)


def document(halfpower: Run, *arguments: str) -> dict[str, Any]:
    """Run a command and read the result document that it prints."""
    ended = halfpower(*arguments, "--json", "-")
    assert ended.status == 0, ended.err
    found: dict[str, Any] = json.loads(ended.out)
    return found


def test_a_capacitor_s_document_has_both_sweeps_and_the_marking(halfpower: Run) -> None:
    """The scene's 91 pF is what '910' cannot mean with 20 %; the sentence says so."""
    result = document(halfpower, *DRAWER, "--seed", "1", "--marked", "101K")
    assert result["procedure"] == "capacitor"
    steps = [one["step"] for one in result["evidence"]["sweeps"]]
    assert steps == ["reference", "unknown"]
    judged = next(one for one in result["judged"] if one["about"] == "marked")
    assert judged["text"].startswith("Marked '101K'")
    assert judged["outcome"] == result["verdict"] == "fits"
    assert result["quantities"]["capacitance"]["unit"] == "F"


def test_a_dial_needs_no_person_where_the_bench_is_simulated(halfpower: Run) -> None:
    """The scene's own capacitor is turned; the readings keep its settings."""
    result = document(halfpower, *DIAL, "--seed", "1")
    swept = result["evidence"]["sweeps"][0]
    assert swept["fit"]["abscissa_unit"] == "F"
    assert all(30e-12 <= one["capacitance_f"] <= 500e-12 for one in swept["readings"])
    truth = load_scene("mica-capacitor").build(seed=1).truth["unknown.capacitance_f"]
    assert holds(result["quantities"], "capacitance", truth)


def test_a_sheet_is_drawn_and_written_as_a_page(halfpower: Run, tmp_path: Path) -> None:
    """Three panels, one table of the sweeps, and the sentence about air."""
    page, picture = tmp_path / "board.html", tmp_path / "board.png"
    ended = halfpower(*BOARD, *PLATES, "--page", str(page), "--plot", str(picture))
    assert ended.status == 0, ended.err
    text = page.read_text(encoding="utf-8")
    assert "Sweep by sweep" in text
    assert "In air the plates measure" in text
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_the_hook_up_of_every_step_is_drawn(halfpower: Run, tmp_path: Path) -> None:
    """One SVG a step, which the question for that step names."""
    ended = halfpower(*DRAWER, "--hookup", str(tmp_path / "drawn"))
    assert ended.status == 0, ended.err
    drawn = {path.name for path in (tmp_path / "drawn").iterdir()}
    assert drawn == {"capacitor-reference.svg", "capacitor-parallel.svg"}
    work_coil = next(
        line for line in ended.err.splitlines() if "Put the work coil" in line
    )
    assert "capacitor-reference.svg" in work_coil


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (("coil", "--scene", "kit-coil"), "by itself, without a capacitor."),
        (
            ("coil", "--scene", "kit-coil", "--capacitor", "150pF"),
            "with the 150 pF capacitor across it, and take any other off.",
        ),
        (DRAWER, "and the 150 pF across it, and take the unknown off."),
        ((*BOARD, *PLATES), "and the 150 pF across it, and take the plates off."),
    ],
    ids=["coil", "on one", "capacitor", "sheet"],
)
def test_what_goes_on_first_is_said_with_its_value(
    halfpower: Run, command: tuple[str, ...], said: str
) -> None:
    """Before anything is driven: the first thing after the caution."""
    span = () if "--tank" in command else ("--from", "4MHz", "--to", "20MHz")
    ended = halfpower(*command, *span)
    first = ended.err.splitlines()[1]
    assert first.startswith("(simulated) Put the ")
    assert first.endswith(said)


def test_the_fixture_s_record_is_used_and_grows_old(
    halfpower: Run, tmp_path: Path
) -> None:
    """Saved, named in a bench file, used; refused when it is older than allowed."""
    record = tmp_path / "tank.toml"
    ended = halfpower(
        *FIXTURE, "--self-capacitance", "4pF +- 0.4pF", "--save", str(record)
    )
    assert ended.status == 0, ended.err
    assert 'stray_capacitance = "' in record.read_text(encoding="utf-8")
    text = bundled_bench_file("coil-set").read_text(encoding="utf-8")
    named = 'kind = "coupled-tank"\nrecord = "tank.toml"\nrecord_age = "30d"'
    text = text.replace('kind = "coupled-tank"', named)
    bench = tmp_path / "bench.toml"
    bench.write_text(text, encoding="utf-8")
    sweep = (
        "sweep", "--bench", str(bench), "--scene", "kit-coil", "--from", "4MHz",
        "--to", "10MHz",
    )  # fmt: skip
    result = document(halfpower, *sweep)
    stray = result["evidence"]["settings"]["fixture's stray"]
    assert stray["distribution"] == "normal"  # measured, not the bench file's limits
    assert 0.0 < stray["standard_uncertainty"] < stray["value"] < 20e-12
    old = re.sub(r"made = \d{4}", "made = 2020", record.read_text(encoding="utf-8"))
    record.write_text(old, encoding="utf-8")
    refused = halfpower(*sweep)
    assert refused.status == 2
    assert "days old" in refused.err


def test_the_daily_check_builds_a_history_and_then_judges(
    halfpower: Run, tmp_path: Path
) -> None:
    """Six seeds of one bench are alike only by chance; a changed part is not."""
    check = (
        "fixture", "check", "--scene", "kit-coil", "--capacitor", "150pF +- 1%",
        "--from", "4MHz", "--to", "10MHz", "--history", str(tmp_path / "ref.csv"),
    )  # fmt: skip
    for _ in range(5):
        assert halfpower(*check, "--seed", "1").status == 0
    same = halfpower(*check, "--seed", "1")
    assert same.status == 2
    assert "all the same to the last digit" in same.err
    # The simulated bench repeats itself; a real one does not.
    history = tmp_path / "ref.csv"
    head, *rows = history.read_text(encoding="utf-8").splitlines()
    spread = []
    for n, row in enumerate(rows):
        begun, part, f0, quality = row.split(",")
        told = float(f0) + 20.0 * n, float(quality) + (-1) ** n * 0.1
        spread.append(f"{begun},{part},{told[0]!r},{told[1]!r}")
    history.write_text("\n".join([head, *spread]) + "\n", encoding="utf-8")
    good = halfpower(*check, "--seed", "1")
    assert good.status == 0, good.err
    assert "in control" in good.out
    assert history.read_text(encoding="utf-8").count("\n") == 7  # this one is added
    bad = halfpower(*check, "--seed", "2")
    assert bad.status == 1
    assert "OUT OF CONTROL" in bad.out
    assert history.read_text(encoding="utf-8").count("\n") == 7
    worse = halfpower(*check, "--seed", "2", "--json", "-")
    assert (worse.status, json.loads(worse.out)["verdict"]) == (1, "does not fit")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a,b\n1,2\n", "no history of checks"),
        ("begun,part,resonant_frequency,loaded_q\nx,reference on 150 pF,nan,9\n",
         "line 2: resonant_frequency is 'nan'"),
        ("begun,part,resonant_frequency,loaded_q\nx,L1 on 68 pF,1e6,9\n",
         "history of 'L1 on 68 pF'"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_history_is_left_alone(
    halfpower: Run, tmp_path: Path, text: str, says: str
) -> None:
    """It is refused before anything is driven, and not written to."""
    path = tmp_path / "h.csv"
    path.write_text(text, encoding="utf-8")
    ended = halfpower(
        "fixture", "check", "--scene", "kit-coil", "--capacitor", "150pF", "--from",
        "4MHz", "--to", "10MHz", "--history", str(path),
    )  # fmt: skip
    assert ended.status == 2
    assert says in ended.err
    assert "Kept" not in ended.err
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        ((*DRAWER, "--method", "bridge"), 2, "--method is one of auto, parallel"),
        ((*DRAWER, "--method", "dial"), 2, "--at FREQUENCY"),
        ((*DRAWER, "--at", "2MHz"), 2, "--at FREQUENCY"),
        ((*DRAWER, "--marked", "zzz"), 2, "'zzz' is no marking"),
        ((*DRAWER, "--expect", "-5pF"), 2, "above zero"),
        (
            (*DRAWER, "--scene", "kit-coil", "--from", "4MHz", "--to", "10MHz"),
            2,
            "the scene has no unknown",
        ),
        ((*DIAL, "--scene", "kit-coil"), 2, "no variable capacitor"),
        (BOARD, 2, "diameter or rectangles"),
        ((*BOARD[:-1], "0mm", *PLATES), 2, "thickness is above zero"),
        ((*BOARD, *PLATES, "--bond", "2mm"), 2, "not between 0"),
        ((*BOARD, *PLATES, "--overhang", "-2mm"), 2, "larger than their sheet"),
        ((*BOARD, *PLATES, "--overhang", "1mm"), 2, "neither flush nor wide"),
        ((*BOARD, *PLATES, "--method", "two-thicknesses"), 2, "second sheet"),
        ((*BOARD, "--diameter", "5mm"), 2, "outside what the edge field"),
        ((*BOARD[:-1], "30mm", *PLATES), 2, "outside what the edge field"),
        ((*BOARD[:-1], "1.6", *PLATES), 2, "has no unit; write it like 1.6mm"),
        ((*BOARD, *PLATES, "--plate-leads", "0.3pF"), 2, "method 'calculated' alone"),
        ((*DIAL, "--tank", "150pF"), 2, "leave --tank out"),
        ((*DIAL, "--from", "1MHz", "--to", "4MHz"), 2, "leave --from and --to"),
        (("capacitor", "--scene", "capacitor-drawer", "--tank-loss", "0.001",
          "--from", "1MHz", "--to", "4MHz"), 2, "--tank-loss is that of --tank"),
        (("coil", "--scene", "kit-coil", "--capacitor-loss", "0.001", "--from",
          "4MHz", "--to", "10MHz"), 2, "--capacitor-loss is that of --capacitor"),
        (("sweep", "--scene", "kit-coil", "--from", "4MHz", "--to", "10MHz",
          "--hookup", "drawn"), 2, "no hook-up to draw"),
        (("capacitor", "--scene", "mica-capacitor", "--method", "dial", "--at",
          "0Hz"), 2, "cannot be set"),
        (("coil", "--scene", "kit-coil", "--capacitor", "150pF", "--from", "4MHz",
          "--to", "10MHz", "--expect", "0uH"), 2, "above zero"),
        (("coil", "--scene", "kit-coil", "--capacitor", "150pF", "--from", "4MHz",
          "--to", "10MHz", "--level", "1V", "--level", "1V"), 2, "are the same"),
        (("coil", "--scene", "kit-coil", "--capacitor", "150pF", "--from", "4MHz",
          "--to", "10MHz", "--common-error", "200%"), 2, "common error"),
        ((*FIXTURE, "--self-capacitance", "4pF", "--alike", "200%"), 2, "probes"),
        ((*FIXTURE, "--self-capacitance", "4pF", "--coil-q", "0"), 2, "above zero"),
        (FIXTURE, 2, "self-capacitance"),
        (
            (*FIXTURE[:-2], "--self-capacitance", "4pF"),
            2,
            "two known capacitors or more",
        ),
        (
            ("coil", "--scene", "coil-set", "--capacitor", "68pF", "--capacitor",
             "68pF", "--from", "1MHz", "--to", "5MHz"),
            2,
            "take different ones",
        ),
        (
            ("coil", "--scene", "kit-coil", "--expect", "3.3uH"),
            2,
            "without a capacitor an expected inductance gives no span",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_sentence(
    halfpower: Run, arguments: tuple[str, ...], status: int, says: str
) -> None:
    """The exit status, and a sentence that says what to do; no number."""
    ended = halfpower(*arguments)
    assert ended.status == status, ended.err
    assert says in ended.err
    assert "Traceback" not in ended.err
    assert "±" not in ended.out


class PersonAtTheDial:
    """Attaches what is asked for and turns the capacitor of a simulated bench.

    Parameters
    ----------
    leaves_at
        The question at which Ctrl-C is pressed; None: none.
    """

    def __init__(self, *, leaves_at: int | None = None) -> None:
        self.simulated = load_scene("mica-capacitor").build(seed=4)
        self.manager: Any = open_visa(self.simulated)
        self.questions: list[str] = []
        self._leaves_at = leaves_at

    def ask(self, question: str) -> str:
        """Do as asked, and answer."""
        self.questions.append(question)
        if len(self.questions) == self._leaves_at:
            raise KeyboardInterrupt
        if wanted := re.search(r"Turn the capacitor to (\S+) pF", question):
            # A person sets what the dial can show: a tenth of a picofarad.
            shown = round(float(wanted[1]), 1)
            self.simulated.set_capacitor(shown * 1e-12)
            return f"{shown}"
        if "take the unknown off" in question:
            self.simulated.disconnect("unknown")
        elif "Attach the unknown" in question:
            self.simulated.connect("unknown")
        else:
            raise AssertionError(question)
        return ""


@pytest.fixture
def at_the_dial(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[[PersonAtTheDial], tuple[str, ...]]:
    """Seat a person at the variable capacitor of a bench with real instruments.

    The instruments are the simulated ones, behind the name of a VISA library.
    """
    text = bundled_bench_file("mica-capacitor").read_text(encoding="utf-8")
    bench = tmp_path / "bench.toml"
    bench.write_text(text.replace('"8ms"', '"0s"'), encoding="utf-8")

    def seat(person: PersonAtTheDial) -> tuple[str, ...]:
        def with_the_simulated(file: Any, **given: Any) -> Any:
            given |= {
                "manager": person.manager,
                "sleep": person.simulated.clock.sleep,
                "clock": lambda: person.simulated.clock.now_s,
                "ask": person.ask,
            }
            return open_bench(file, **given)

        monkeypatch.setattr(on_bench, "open_bench", with_the_simulated)
        monkeypatch.setattr(on_bench, "ask_person", person.ask)
        return ("capacitor", "--bench", str(bench), "--method", "dial", "--at", "2MHz")

    return seat


def test_a_person_turns_the_capacitor(
    halfpower: Run, at_the_dial: Callable[[PersonAtTheDial], tuple[str, ...]]
) -> None:
    """What the dial shows is what counts, to the tenth; C and D hold the truth."""
    person = PersonAtTheDial()
    result = document(halfpower, *at_the_dial(person))
    truth = person.simulated.truth
    for name, true in (
        ("capacitance", truth["unknown.capacitance_f"]),
        ("dissipation_factor", truth["unknown.dissipation_factor"]),
    ):
        assert holds(result["quantities"], name, true)
    first = person.questions[0]
    assert "output is off" in first
    assert first.endswith("Then press Enter.")
    assert len(person.questions) < 70


def test_a_person_who_left_goes_on_where_they_stood(
    halfpower: Run,
    at_the_dial: Callable[[PersonAtTheDial], tuple[str, ...]],
    tmp_path: Path,
) -> None:
    """Ctrl-C in the middle keeps the readings; --resume asks only for the rest."""
    left = PersonAtTheDial(leaves_at=15)
    kept = tmp_path / "kept.csv"
    ended = halfpower(*at_the_dial(left), "--readings", str(kept))
    assert ended.status == 130
    output = left.manager.open_resource(left.simulated.resources["generator"])
    output.read_termination = output.write_termination = "\n"
    assert output.query("OUTP?").strip() == "0"
    back = PersonAtTheDial()
    result = document(halfpower, *at_the_dial(back), "--resume", str(kept))
    assert len(back.questions) + 13 < 72
    true = back.simulated.truth["unknown.capacitance_f"]
    assert holds(result["quantities"], "capacitance", true)


def test_readings_of_another_measurement_are_not_gone_on_from(
    halfpower: Run, tmp_path: Path
) -> None:
    """Another tank, another procedure, a damaged line: refused, never mixed."""
    kept = tmp_path / "kept.csv"
    document(halfpower, *DRAWER, "--seed", "1", "--readings", str(kept))
    again = (*DRAWER, "--seed", "1", "--resume", str(kept))
    assert halfpower(*again).status == 0
    other = [one.replace("150pF +- 1%", "300pF") for one in again]
    coil = (
        "coil", "--scene", "kit-coil", "--capacitor", "150pF", "--from", "4MHz",
        "--to", "10MHz", "--resume", str(kept),
    )  # fmt: skip
    for arguments, field in (
        (other, "capacitor.tank.capacitance_f.value was 1.5e-10 and is 3e-10"),
        (coil, 'procedure was "capacitor" and is "coil"'),
    ):
        refused = halfpower(*arguments)
        assert refused.status == 2
        assert field in refused.err
        assert "go on with the options that they were taken with" in refused.err
    text = kept.read_text(encoding="utf-8")
    kept.write_text(text[:-20], encoding="utf-8")  # the power failed here
    cut = halfpower(*again)
    assert cut.status == 0, cut.err
    assert "cut short and was left out" in cut.err
    lines = text.splitlines()
    lines[-3] = "garbage"
    kept.write_text("\n".join(lines) + "\n", encoding="utf-8")
    damaged = halfpower(*again)
    assert damaged.status == 2
    assert f"line {len(lines) - 2}: not a whole reading" in damaged.err


@pytest.mark.parametrize(
    ("command", "part"),
    [
        (("sweep",), "span"),
        (("coil", "--capacitor", "150pF"), "known"),
        (("capacitor",), "capacitor"),
        (("sheet", "--thickness", "1.6mm", "--diameter", "50mm"), "sheet"),
        (
            (*FIXTURE[:2], *FIXTURE[8:], "--self-capacitance", "4pF +- 0.4pF"),
            "fixture",
        ),
        (("fixture", "check", "--capacitor", "150pF", "--history", "r.csv"), "known"),
    ],
    ids=["sweep", "coil", "capacitor", "sheet", "fixture", "check"],
)
def test_every_procedure_keeps_its_whole_job(
    halfpower: Run, tmp_path: Path, command: tuple[str, ...], part: str
) -> None:
    """Held against a job that states nothing: span and part are named as differing."""
    kept = tmp_path / "kept.csv"
    procedure = command[1] if command[1:2] == ("check",) else command[0]
    kept.write_text(
        f'# asked for: {{"halfpower.job": 1, "procedure": "{procedure}"}}\n'
        "frequency_hz,amplitude_v,step\n2e6,0.1,\n",
        encoding="utf-8",
    )
    refused = halfpower(
        *command, "--scene", "kit-coil", "--from", "1MHz", "--to", "4MHz",
        "--resume", str(kept),
    )  # fmt: skip
    assert refused.status == 2
    assert "measurement: span was not stated and is {" in refused.err
    assert f" {part} was not stated and is {{" in refused.err


@pytest.mark.parametrize(
    ("ends", "finer"),
    [
        (("--target", "0.05%"), True),
        (("--target", "2%"), False),
        (("--most-readings", "60"), False),
    ],
    ids=["closer", "wider", "fewer"],
)
def test_readings_are_gone_on_from_to_another_end(
    halfpower: Run, tmp_path: Path, ends: tuple[str, str], *, finer: bool
) -> None:
    """Done before, and now to another end: more readings where they are wanted.

    A quarter of the doubt takes more of the second step (the first has less by itself,
    also where nothing was read before); what was read stands first, as it was.
    """
    kept, again = tmp_path / "kept.csv", tmp_path / "again.csv"
    first = document(halfpower, *DRAWER, "--seed", "1", "--readings", str(kept))
    second = document(
        halfpower, *DRAWER, "--seed", "1", "--resume", str(kept),
        "--readings", str(again), *ends,
    )  # fmt: skip
    for before, now in zip(
        first["evidence"]["sweeps"], second["evidence"]["sweeps"], strict=True
    ):
        told = [one["amplitude_v"] for one in now["readings"][:40]]
        assert told == [one["amplitude_v"] for one in before["readings"][:40]]
    before, now = (one["evidence"]["sweeps"][-1] for one in (first, second))
    assert (len(now["readings"]) > len(before["readings"])) == finer
    u = [one["fit"]["loaded_q"]["standard_uncertainty"] for one in (before, now)]
    assert (u[1] < u[0]) == finer


def test_readings_of_an_older_release_are_refused_with_what_to_do(
    halfpower: Run, tmp_path: Path
) -> None:
    """What was asked for stood there as a Python repr; without it they go on."""
    kept = tmp_path / "kept.csv"
    document(halfpower, *DRAWER, "--seed", "1", "--readings", str(kept))
    again = (*DRAWER, "--seed", "1", "--resume", str(kept))
    head, rest = re.split(r"# asked for: .*\n", kept.read_text(encoding="utf-8"))
    old = "# asked for: (Span(lowest_hz=1500000.0), CapacitorJob(tank=None))\n"
    kept.write_text(head + old + rest, encoding="utf-8")
    refused = halfpower(*again)
    assert refused.status == 2
    assert "not in this release's form" in refused.err
    assert "take the line out" in refused.err
    kept.write_text(head + rest, encoding="utf-8")
    assert halfpower(*again).status == 0


def test_a_dial_s_readings_are_fitted_from_their_file(
    halfpower: Run, tmp_path: Path
) -> None:
    """`fit --step` finds the same peak; without the stray it says so."""
    kept = tmp_path / "dial.csv"
    whole = document(halfpower, *DIAL, "--seed", "1", "--readings", str(kept))
    several = halfpower("fit", str(kept))
    assert several.status == 2
    assert "'reference', 'unknown'" in several.err
    again = document(halfpower, "fit", str(kept), "--step", "reference")
    first = whole["evidence"]["sweeps"][0]["fit"]["half_power_points"]
    setting = again["quantities"]["resonant_capacitance"]["value"]
    assert first["lower_f"] < setting < first["upper_f"]
    fitted = again["evidence"]["sweeps"][0]["fit"]
    assert fitted["resonant_capacitance"]["value"] == pytest.approx(setting, rel=1e-12)
    assert fitted["resonant_capacitance"]["unit"] == "F"
    assert fitted["capacitance_half_width"]["unit"] == "F"
    assert again["warnings"][0]["code"] == "stray_not_stated"
    stated = document(
        halfpower, "fit", str(kept), "--step", "reference", "--stray", "20pF +- 1pF"
    )
    assert stated["evidence"]["settings"]["stray"]["value"] == 20e-12
    quality = stated["quantities"]["loaded_q"]["value"]
    assert quality > again["quantities"]["loaded_q"]["value"]
    below = halfpower("fit", str(kept), "--step", "reference", "--stray", "-500pF")
    assert below.status == 2


def test_a_reader_that_goes_costs_no_file(
    start: Callable[..., Any], tmp_path: Path
) -> None:
    """`| head` closes standard output: the document is written all the same."""
    target = tmp_path / "coil.json"
    process = start(
        "coil", "--scene", "kit-coil", "--capacitor", "150pF", "--from", "4MHz",
        "--to", "10MHz", "--json", str(target),
    )  # fmt: skip
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=50) == 0, said
    assert "Traceback" not in said
    assert json.loads(target.read_text(encoding="utf-8"))["procedure"] == "coil"
