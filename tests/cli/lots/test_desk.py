"""Who puts a lot's parts in: a person with words, or a command."""

import json
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from halfpower.analysis.tank import REFERENCE
from halfpower.cli.at_bench import Lamp
from halfpower.cli.lots.desk import CommandDesk, PersonDesk, PresenterError
from halfpower.drivers.instruments import OutputState
from halfpower.sweeps.lots import LotFile, Part, parse_lot_text
from halfpower.sweeps.run import Arrangement

TEXT = """\
[lot]
name = "invented"
procedure = "coil"
size = 3
label = 'LABEL'
[measure]
from = "700kHz"
to = "2.2MHz"
target = "0.5%"
capacitor = "470pF +- 1%"
[limit.inductance]
nominal = "33uH"
tolerance = "10%"
"""


def invented(label: str = "L{number}") -> LotFile:
    """Give a lot file for a desk."""
    return parse_lot_text(TEXT.replace("LABEL", label), "x")


PART = Part(position=2, number=2, label="L2")


def dark(output: OutputState = OutputState.OFF) -> Lamp:
    """Give the lamp of a bench of whose output this is known."""
    lamp = Lamp(simulated=False)
    generator = SimpleNamespace(output=output, see_off=lambda: None)
    lamp.bench = SimpleNamespace(output=output, generator=generator)
    return lamp


@pytest.mark.parametrize(
    ("answers", "wish"),
    [
        ([""], "measure"),
        (["again"], "again"),
        (["skip"], "skip"),
        (["/undo"], "undo"),
        ([" STOP "], "stop"),
        (["what?", "end"], "end"),
    ],
)
def test_a_person_answers_with_enter_or_a_word(answers: list[str], wish: str) -> None:
    """What is not understood is asked again, and the output is said to be off."""
    questions: list[str] = []

    def ask(question: str) -> str:
        questions.append(question)
        return answers[len(questions) - 1]

    desk = PersonDesk(invented(), ask=ask, tell=lambda _: None, lamp=dark())
    assert desk.present(PART, last=None).wish == wish
    assert len(questions) == len(answers)
    assert all("output is off" in one for one in questions)


@pytest.mark.parametrize(
    ("answers", "label"),
    [(["A-17"], "A-17"), (["", "stop"], "stop"), (["a\x1bb", "x" * 501, "ok"], "ok")],
)
def test_a_scanned_label_may_be_any_line_and_words_begin_with_a_slash(
    answers: list[str], label: str
) -> None:
    """A part that is called stop is a part; a label that records refuse is not."""
    left = list(answers)
    desk = PersonDesk(
        invented("ask"), ask=lambda _: left.pop(0), tell=lambda _: None, lamp=dark()
    )
    assert desk.present(PART, last=None).label == label
    left.append("/skip")
    assert desk.present(PART, last=None).wish == "skip"


@pytest.mark.parametrize("answers", [["again", "L2", "yes"], ["L2", "stop"]])
def test_at_a_check_standard_other_words_are_refused_with_the_list(
    answers: list[str],
) -> None:
    """`again` and a scanned label measured the standard, as if Enter was pressed."""
    left, told = list(answers), list[str]()
    desk = PersonDesk(
        invented(), ask=lambda _: left.pop(0), tell=told.append, lamp=dark()
    )
    assert desk.present_check("S1") is (answers[-1] == "yes")
    assert told[0] == "Across each coil of this lot goes the 470 pF capacitor."
    assert len(told) == len(answers)
    assert all("press Enter (or type yes), or stop" in one for one in told[1:])
    left.append("again")
    assert desk.contact_doubted(3) == "again"


def test_after_a_check_the_question_says_what_again_would_repeat() -> None:
    """What is on the fixture is the standard, not the part before it."""
    questions: list[str] = []

    def ask(question: str) -> str:
        questions.append(question)
        return "A-1"

    desk = PersonDesk(invented("ask"), ask=ask, tell=lambda _: None, lamp=dark())
    desk.present(PART, last=PART, checked="S1")
    assert "(last: the check standard S1; /again repeats it)" in questions[0]


def test_a_part_to_be_measured_again_is_asked_for_by_its_label() -> None:
    """Where labels are scanned: its place in the lot is on no part."""
    questions: list[str] = []

    def ask(question: str) -> str:
        questions.append(question)
        return "A-1"

    desk = PersonDesk(invented("ask"), ask=ask, tell=lambda _: None, lamp=dark())
    part = Part(position=2, number=2, label="A-1", again=True)
    assert desk.present(part, last=None).label == "A-1"
    assert "Put A-1 on the fixture, then scan or type its label:" in questions[0]


@pytest.mark.parametrize(
    ("output", "said"),
    [
        (OutputState.TOLD_OFF, "was told to switch its output off; it cannot say"),
        (OutputState.UNKNOWN, "NOT KNOWN WHETHER"),
        (OutputState.ON, "OUTPUT IS ON"),
    ],
)
def test_an_output_that_is_not_known_to_be_off_is_not_said_to_be(
    output: OutputState, said: str
) -> None:
    """The bench knows it; the desk only says it."""
    questions: list[str] = []

    def ask(question: str) -> str:
        questions.append(question)
        return ""

    desk = PersonDesk(invented(), ask=ask, tell=lambda _: None, lamp=dark(output))
    desk.present(PART, last=None)
    desk.present_check("S1")
    desk.contact_doubted(3)
    desk.arrange(Arrangement(step=REFERENCE, instruction="Clear it.", fitted=()))
    assert len(questions) == 4
    assert all(said in one and "output is off." not in one for one in questions)


def presenter(code: str) -> str:
    """Give a command that runs Python code."""
    Path("present.py").write_text(code, encoding="utf-8")
    return f"{sys.executable} present.py --fixed 'a b'"


def test_a_presenting_command_is_told_the_part_and_not_through_a_shell() -> None:
    """Number and label are the last arguments, in the environment too."""
    desk = CommandDesk(
        presenter(
            "import sys, os, json\n"
            "told = {k: v for k, v in os.environ.items() if 'HALFPOWER' in k}\n"
            "json.dump([sys.argv[1:], told], open('told.json', 'w'))\n"
        ),
        invented(),
        tell=lambda _: None,
    )
    part = Part(position=1, number=7, label="$(rm x); `y`")
    assert desk.present(part, last=None).wish == "measure"
    arguments, told = json.loads(Path("told.json").read_text("utf-8"))
    assert arguments == ["--fixed", "a b", "7", "$(rm x); `y`"]
    assert told["HALFPOWER_LABEL"] == "$(rm x); `y`"
    assert told["HALFPOWER_PRESENT"] == "part"


def test_a_presenting_command_ends_the_lot_with_status_10() -> None:
    """No more parts."""
    desk = CommandDesk(presenter("exit(10)"), invented(), tell=lambda _: None)
    assert desk.present(PART, last=None).wish == "end"


def test_any_other_status_of_the_command_stops_the_lot() -> None:
    """With a sentence, what it wrote beside it, and status 3."""
    said: list[str] = []
    desk = CommandDesk(
        presenter("print('arm is stuck'); exit(5)"), invented(), tell=said.append
    )
    with pytest.raises(PresenterError, match=r"status 5 .* present part L2") as caught:
        desk.present(PART, last=None)
    assert caught.value.exit_status == 3
    assert said == ["arm is stuck"]


def test_a_command_that_is_not_there_is_refused_before_the_first_part() -> None:
    """Or one that cannot be split."""
    for command in ("no-such-command-here", "'", ""):
        with pytest.raises(Exception, match="--present") as caught:
            CommandDesk(command, invented(), tell=lambda _: None)
        assert getattr(caught.value, "exit_status", None) == 2
