"""Identity and error queue on instruments that misbehave."""

from types import SimpleNamespace
from typing import Any

import pytest

from halfpower.drivers.dialects import Common
from halfpower.drivers.errors import (
    AnswerLostError,
    InstrumentError,
    LinkTimeoutError,
    QuestionRefusedError,
    ReplyError,
)
from halfpower.drivers.instruments.instrument import Instrument
from halfpower.drivers.instruments.refusals import MOST_QUEUED


@pytest.fixture
def source(fake: SimpleNamespace) -> Any:
    """A fake generator."""
    return fake.Generator()


@pytest.fixture
def instrument(fake: SimpleNamespace, source: Any) -> Instrument:
    """It, behind a link."""
    common = Common(identity="*IDN?", error="SYSTem:ERRor?")
    return Instrument(fake.Wire(source, name="generator"), common=common)


def test_errors_from_before_the_start_are_not_held_against_it(
    instrument: Instrument, source: Any
) -> None:
    """The queue is emptied first: what an earlier user left is no refusal."""
    source.errors.append('-113,"Undefined header"')
    instrument.start(["*CLS"])
    assert instrument.identity == "INVENTED,FAKE,0,1"


def test_a_refused_command_is_named_with_every_queued_error(
    instrument: Instrument, source: Any
) -> None:
    """All that the queue holds is in the sentence and in the values."""
    source.errors.extend(['-222,"Data out of range"', '-221,"Settings conflict"'])
    with pytest.raises(
        InstrumentError, match=r"generator refused FREQ.*-222.*-221"
    ) as e:
        instrument.check(doing="FREQ 1 THZ")
    assert e.value.values["queued"] == [
        "-222 Data out of range",
        "-221 Settings conflict",
    ]


def test_a_queue_without_end_is_an_error_and_not_a_hang(
    instrument: Instrument, source: Any
) -> None:
    """An instrument that repeats its error for ever is given up on."""
    source.answers["SYSTem:ERRor?"] = '-350,"Queue overflow"'
    with pytest.raises(ReplyError, match="does not come to an end"):
        instrument.check(doing="anything")


def test_a_queue_as_deep_as_allowed_but_one_is_read_to_its_end(
    instrument: Instrument, source: Any
) -> None:
    """The limit is above any queue that ends."""
    source.errors.extend(['-100,"Command error"'] * (MOST_QUEUED - 1))
    with pytest.raises(InstrumentError):
        instrument.check(doing="anything")
    instrument.check(doing="anything")


@pytest.mark.parametrize("plus_zero", ['+0,"No error"', '0, "No error"', '-0,""'])
def test_an_empty_queue_is_known_by_its_zero(
    instrument: Instrument, source: Any, plus_zero: str
) -> None:
    """Signs, blanks and texts differ between instruments; zero is zero."""
    source.answers["SYSTem:ERRor?"] = plus_zero
    instrument.check(doing="anything")


def test_an_empty_identity_is_refused(instrument: Instrument, source: Any) -> None:
    """Something that answers with nothing is not known."""
    source.answers["*IDN?"] = ""
    with pytest.raises(ReplyError, match="empty identity"):
        instrument.start([])


def test_silence_at_the_identity_is_a_timeout(
    instrument: Instrument, source: Any
) -> None:
    """Nobody there is a link's fault, by name."""
    source.silent_at.add("*IDN?")
    with pytest.raises(LinkTimeoutError, match="generator"):
        instrument.start([])


def test_a_setting_that_reads_back_as_no_number_names_the_queued_reason(
    instrument: Instrument, source: Any
) -> None:
    """SCPI's "not a number" for a setting is explained by the queue, if it can."""
    source.answers["FREQ?"] = "9.91E37"
    with pytest.raises(ReplyError, match=r"no value for 'FREQ\?'"):
        instrument.ask_set_number("FREQ?", doing="FREQ 1")
    source.errors.append('-222,"Data out of range"')
    with pytest.raises(InstrumentError, match="-222"):
        instrument.ask_set_number("FREQ?", doing="FREQ 1")


def test_errors_of_queries_without_trouble_on_the_link_count(
    instrument: Instrument, source: Any
) -> None:
    """Nothing went wrong on the way, so the question was what was refused."""
    source.errors.append('-420,"Query UNTERMINATED"')
    with pytest.raises(InstrumentError, match="-420"):
        instrument.check(doing="anything")


def test_a_lost_answer_without_a_register_is_not_known_and_done_over(
    instrument: Instrument, source: Any
) -> None:
    """It is no refusal; what did no harm once does none twice, and three times ends."""
    answers = iter(["garbage", '0,"No error"'] * 4)
    source.answers["*ESR?"] = "no such thing"
    instrument.start([])
    own, done = source.obey, []

    def obey(command: str) -> Any:
        return next(answers) if command == "SYSTem:ERRor?" else own(command)

    source.obey = obey

    def act() -> None:
        done.append(1)
        if len(done) < 3:
            instrument.check(doing="a setting")

    instrument.surely(act)
    assert len(done) == 3
    with pytest.raises(AnswerLostError, match="was lost"):
        instrument.check(doing="a setting")


def test_a_device_s_own_error_is_no_reason_of_a_silence(
    fake: SimpleNamespace, source: Any
) -> None:
    """Bit 3 of the register: the question may be asked again."""
    common = Common(identity="*IDN?", error="*ESR?", error_form="register")
    asked = Instrument(fake.Wire(source, name="generator"), common=common)
    asked.start([])
    for bits, kind in ((8, LinkTimeoutError), (8 | 32, QuestionRefusedError)):
        source.silent_at.add("READ?")
        source.events = bits
        with pytest.raises(kind):
            asked.ask("READ?")


def test_a_lost_answer_of_the_queue_is_looked_up_in_the_register(
    instrument: Instrument, source: Any
) -> None:
    """The entry went with the answer; the register's bit did not."""
    instrument.start([])
    answers = iter(["garbage", '0,"No error"'] * 2)
    own = source.obey

    def obey(command: str) -> Any:
        return next(answers) if command == "SYSTem:ERRor?" else own(command)

    source.obey = obey
    instrument.check(doing="nothing that was refused")
    source.events = 16  # execution error
    with pytest.raises(InstrumentError, match="was lost"):
        instrument.check(doing="a setting")
