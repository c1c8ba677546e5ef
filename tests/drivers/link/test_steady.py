"""Late, spoilt, missing answers and lost links: mended or refused, never mistaken."""

from collections import deque
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from halfpower.drivers.errors import (
    AnswerLostError,
    DriverError,
    GreetingError,
    LinkLostError,
    LinkTimeoutError,
    ReplyError,
    TransportError,
)
from halfpower.drivers.link import ByteLog, LinkSettings
from halfpower.drivers.link.in_step import RECONNECT_RESTS_S, REPEATS
from halfpower.drivers.link.steady import SteadyLink

if TYPE_CHECKING:
    from collections.abc import Callable

IDENTITY = "INVENTED,FAKE,0,1"
SILENT, LATE, GONE = "(silent)", "(late)", "(gone)"


class Line:
    """An instrument that counts its readings, on a line that keeps its order.

    ``spoil`` says what becomes of the next answers: `SILENT`, `LATE` (it comes behind
    the next line that is read for), `GONE` (the link breaks), or what comes instead.
    """

    def __init__(self) -> None:
        self.spoil: deque[str | None] = deque()
        self.identity = IDENTITY
        self.count = 0
        self.sent: list[str] = []
        self.opened = self.closed = 0
        self.refuses_to_open = 0
        self.echo = False
        self.write_number: Callable[[int], str] = lambda count: f"+{count:.8E}"
        self._lines: deque[str] = deque()
        self._gone = False

    def open(self) -> "Line":
        """Connect: whatever waited on the old connection is gone."""
        self.opened += 1
        if self.refuses_to_open:
            self.refuses_to_open -= 1
            raise TransportError("nobody there")
        self._lines.clear()
        self._gone = False
        return self

    def write(self, command: str) -> None:
        """Obey."""
        if self._gone:
            raise LinkLostError("the link is gone")
        self.sent.append(command)
        if self.echo:
            self._lines.append(command)
        if command.endswith("?"):
            self._answer(command)

    def _answer(self, command: str) -> None:
        self.count += command == "READ?"
        answer = self.identity if command == "*IDN?" else self.write_number(self.count)
        spoilt = self.spoil.popleft() if self.spoil else None
        if spoilt == GONE:
            self._gone = True
        elif spoilt == LATE:
            self._lines.extend((LATE, answer))
        elif spoilt != SILENT:
            self._lines.append(answer if spoilt is None else spoilt)

    def read(self) -> str:
        """Give the next line, unless it is late: then it is there the next time."""
        if self._gone:
            raise LinkLostError("the link is gone")
        line = self._lines.popleft() if self._lines else SILENT
        if line in {SILENT, LATE}:
            raise LinkTimeoutError("no answer in time")
        if not line.isascii():
            raise ReplyError("the answer is not text")
        return line

    def close(self) -> None:
        """Count it."""
        self.closed += 1


@pytest.fixture
def line() -> Line:
    """The instrument."""
    return Line()


@pytest.fixture
def rests_s() -> list[float]:
    """How long the link has rested."""
    return []


@pytest.fixture
def link(line: Line, rests_s: list[float]) -> SteadyLink:
    """A steady link to it."""
    steady = SteadyLink(
        line.open, name="detector", identity_query="*IDN?", sleep=rests_s.append
    )
    steady.introduce()
    return steady


def test_a_good_line_is_asked_once(link: SteadyLink, line: Line) -> None:
    """Two questions who it is at the beginning, and nothing but the readings after."""
    assert [float(link.query("READ?")) for _ in range(3)] == [1.0, 2.0, 3.0]
    assert line.sent == ["*IDN?"] * 2 + ["READ?"] * 3
    assert link.troubles == 0


@pytest.mark.parametrize(
    "spoilt", [SILENT, LATE, GONE, "\xff\xfe", "+1.2345", "+9.9", IDENTITY[:7]]
)
def test_an_answer_is_never_another_question_s(
    link: SteadyLink, line: Line, spoilt: str
) -> None:
    """Whatever becomes of one answer: the next belongs to the reading it follows."""
    link.query("READ?")
    line.spoil.append(spoilt)
    for _ in range(4):
        answer = link.query("READ?")
        if answer != IDENTITY[:7]:  # a word is for whoever asked to refuse
            assert float(answer) == line.count


@pytest.mark.parametrize("first", [SILENT, LATE, "\xff", GONE])
@pytest.mark.parametrize("second", [SILENT, LATE, "\xff", GONE])
@pytest.mark.parametrize("third", [None, SILENT, LATE, "\xff"])
def test_three_things_in_a_row_are_told_apart(
    link: SteadyLink, line: Line, first: str, second: str, third: str | None
) -> None:
    """The repeats and the questions who it is are spoilt as well."""
    link.query("READ?")
    line.spoil.extend((first, second, third))
    assert float(link.query("READ?")) == line.count
    assert float(link.query("READ?")) == line.count


def test_a_silent_instrument_is_given_up_on(
    link: SteadyLink, line: Line, rests_s: list[float]
) -> None:
    """Bounded: so many questions, so many connections, so many rests; one sentence."""
    line.spoil.extend([SILENT] * 1000)
    with pytest.raises(LinkLostError, match=r"detector: the link was lost and could"):
        link.query("READ?")
    assert line.sent.count("READ?") == 1
    assert len(line.sent) < 20
    assert rests_s == [rest for rest in RECONNECT_RESTS_S if rest]


def test_spoilt_answers_are_given_up_on_after_the_repeats(
    link: SteadyLink, line: Line
) -> None:
    """An instrument in step that answers with nonsense every time."""
    line.spoil.extend(["\xff", None] * REPEATS + ["\xff"])
    with pytest.raises(ReplyError, match="not text"):
        link.query("READ?")
    assert line.sent.count("READ?") == 1 + REPEATS
    assert float(link.query("READ?")) == line.count


def test_what_is_gone_once_it_is_read_is_not_asked_for_twice(
    link: SteadyLink, line: Line
) -> None:
    """A question with side effects fails at once, and the next answer is its own."""
    line.spoil.append(LATE)
    with pytest.raises(LinkTimeoutError):
        link.query("READ?", repeatable=False)
    assert line.sent.count("READ?") == 1
    assert float(link.query("READ?")) == 2.0


def test_an_interrupted_exchange_is_cleared_away(link: SteadyLink, line: Line) -> None:
    """Ctrl-C between question and answer: the answer left over is nobody's."""
    read, line.read = line.read, interrupted  # type: ignore[method-assign] # once
    with pytest.raises(KeyboardInterrupt):
        link.query("READ?")
    line.read = read  # type: ignore[method-assign] # as it was
    assert float(link.query("READ?")) == 2.0
    assert link.troubles == 0


def interrupted() -> str:
    """Be interrupted."""
    raise KeyboardInterrupt


def test_doubt_brings_the_link_into_step(link: SteadyLink, line: Line) -> None:
    """After an answer without sense its other half may be on its way."""
    link.query("READ?")
    line.spoil.append("+1.0")
    assert float(link.query("READ?")) == 3.0
    line.sent.clear()
    link.doubt()
    assert float(link.query("READ?")) == 4.0
    assert line.sent == ["*IDN?", "READ?"]


def test_a_lost_link_is_opened_again_and_says_so(link: SteadyLink, line: Line) -> None:
    """The count is what tells a bench that the settings may be lost."""
    line.spoil.append(GONE)
    assert float(link.query("READ?")) == 2.0
    assert (link.reconnections, line.opened) == (1, 2)
    assert "opened again" in link.notes[-1]


def test_a_command_on_a_lost_link_is_sent_over_the_new_one(
    link: SteadyLink, line: Line
) -> None:
    """Setting twice is harmless; what is not says so and is not repeated."""
    line.spoil.append(GONE)
    with pytest.raises(AnswerLostError, match="opened again"):
        link.query("READ?", repeatable=False)
    assert link.reconnections == 1
    link.write("FREQ 1")
    assert line.sent[-1] == "FREQ 1"


def test_another_instrument_at_the_end_stops_it(link: SteadyLink, line: Line) -> None:
    """A reading of something else is worse than none."""
    line.spoil.append(GONE)
    line.identity = "INVENTED,OTHER,0,1"
    with pytest.raises(LinkLostError, match=r"'INVENTED,OTHER,0,1' answers instead"):
        link.query("READ?")


def test_a_link_that_opens_at_the_second_attempt_is_waited_for(
    link: SteadyLink, line: Line, rests_s: list[float]
) -> None:
    """An instrument that restarts is not there at once."""
    line.spoil.append(GONE)
    line.refuses_to_open = 2
    assert float(link.query("READ?")) == 2.0
    assert rests_s == [1.0, 4.0]


def test_in_a_hurry_it_is_opened_again_once(
    link: SteadyLink, line: Line, rests_s: list[float]
) -> None:
    """While switching off nobody waits for minutes."""
    line.spoil.append(GONE)
    line.refuses_to_open = 1
    with link.hurry(), pytest.raises(LinkLostError, match="in 1 attempts"):
        link.query("READ?")
    assert (rests_s, line.opened) == ([], 2)
    assert float(link.query("READ?")) == 2.0


def test_an_endless_talker_is_an_error_and_not_a_hang(
    link: SteadyLink, line: Line
) -> None:
    """Lines without end, none of them the identity."""
    line.read = lambda: "AND ANOTHER THING"  # type: ignore[method-assign] # for ever
    link.doubt()
    with pytest.raises(LinkLostError, match="'AND ANOTHER THING' answers instead"):
        link.query("READ?")
    assert "READ?" not in line.sent


@pytest.mark.parametrize("spoilt", [SILENT, LATE, "\xff", IDENTITY[:9]])
def test_the_first_words_are_believed_when_they_come_twice(
    line: Line, spoilt: str
) -> None:
    """Half an identity, believed, would turn the instrument away ever after."""
    line.spoil.append(spoilt)
    link = SteadyLink(
        line.open, name="detector", identity_query="*IDN?", sleep=lambda _: None
    )
    link.introduce()
    assert link.identity == IDENTITY
    assert float(link.query("READ?")) == 1.0


def test_nobody_there_is_found_at_the_first_question(line: Line) -> None:
    """Three questions, and a sentence."""
    line.spoil.extend([SILENT] * 100)
    link = SteadyLink(
        line.open, name="detector", identity_query="*IDN?", sleep=lambda _: None
    )
    with pytest.raises(TransportError):
        link.introduce()


def greeting(line: Line, *, declared: bool) -> SteadyLink:
    """A link to an instrument that greets on every connection."""
    opened = line.open

    def open_and_greet() -> Line:
        opened()
        line._lines.append("WELCOME")  # noqa: SLF001 - what it sends unasked
        return line

    return SteadyLink(
        open_and_greet,
        name="detector",
        identity_query="*IDN?",
        settings=LinkSettings(greeting=declared),
        sleep=lambda _: None,
    )


def test_a_greeting_is_heard_on_every_connection(line: Line) -> None:
    """The first, and those after a link was lost."""
    link = greeting(line, declared=True)
    link.introduce()
    assert link.identity == IDENTITY
    assert float(link.query("READ?")) == 1.0
    line.spoil.append(GONE)
    assert float(link.query("READ?")) == line.count
    assert link.reconnections == 1


def test_a_greeting_that_nobody_declared_is_named_with_the_key(line: Line) -> None:
    """The identity comes one line late, and the same one again."""
    with pytest.raises(GreetingError, match=r"'WELCOME'.*`greeting = true`"):
        greeting(line, declared=False).introduce()


def test_a_greeting_that_does_not_come_is_named_with_the_key(line: Line) -> None:
    """Or a line of earnest would be dropped for it."""
    link = SteadyLink(
        line.open,
        name="detector",
        identity_query="*IDN?",
        settings=LinkSettings(greeting=True),
        sleep=lambda _: None,
    )
    with pytest.raises(LinkTimeoutError, match=r"take `greeting = true` out"):
        link.introduce()


def test_an_echo_is_heard_and_must_be_right(line: Line) -> None:
    """On a line that sends everything back, the echo is no answer."""
    line.echo = True
    link = SteadyLink(
        line.open,
        name="detector",
        identity_query="*IDN?",
        settings=LinkSettings(echo=True),
        sleep=lambda _: None,
    )
    link.introduce()
    link.write("FREQ 1")
    assert float(link.query("READ?")) == 1.0
    line.spoil.append(LATE)
    assert float(link.query("READ?")) == line.count
    line.echo = False
    with pytest.raises(DriverError):
        link.query("READ?")


def test_the_pause_is_kept_between_commands(line: Line, rests_s: list[float]) -> None:
    """A slow serial instrument gets its rest before every command."""
    link = SteadyLink(
        line.open,
        name="detector",
        identity_query="*IDN?",
        settings=LinkSettings(pause_s=0.02),
        sleep=rests_s.append,
    )
    link.introduce()
    link.write("FREQ 1")
    assert rests_s == [0.02] * 3


def test_without_an_identity_the_link_is_opened_anew(line: Line) -> None:
    """An instrument that cannot say who it is is brought into step by force."""
    link = SteadyLink(
        line.open, name="detector", identity_query="", sleep=lambda _: None
    )
    link.introduce()
    link.query("READ?")
    line.spoil.append(LATE)
    assert float(link.query("READ?")) == 3.0
    assert line.opened == 2


def test_an_instrument_that_varies_its_digits_is_not_refused(
    link: SteadyLink, line: Line
) -> None:
    """Trailing zeros dropped: asked again, and believed."""
    line.write_number = lambda count: f"{0.1 + count / 1000:.6g}"
    for _ in range(200):
        assert float(link.query("READ?")) == round(0.1 + line.count / 1000, 6)
    assert line.sent.count("READ?") < 300


def test_asking_twice_at_first_is_no_trouble(link: SteadyLink, line: Line) -> None:
    """An integer's first answer is asked for again, and nobody is told of a fault."""
    line.write_number = str
    assert [link.query("READ?") for _ in range(3)] == ["2", "3", "4"]
    assert (link.troubles, link.notes) == (0, [])


def test_every_trouble_is_in_the_log(tmp_path: Path, line: Line) -> None:
    """What went wrong stands between the bytes."""
    with ByteLog(tmp_path / "trace") as log:
        link = SteadyLink(
            line.open,
            name="detector",
            identity_query="*IDN?",
            sleep=lambda _: None,
            log=log,
        )
        link.introduce()
        line.spoil.append(SILENT)
        link.query("READ?")
    assert "detector # no answer in time" in (tmp_path / "trace").read_text("ascii")


def test_closing_lets_go(link: SteadyLink, line: Line) -> None:
    """Twice does no harm."""
    link.close()
    link.close()
    assert line.closed == 2
