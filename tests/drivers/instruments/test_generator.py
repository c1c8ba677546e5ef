"""A generator that rounds, clips, refuses, or answers late."""

import contextlib
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from halfpower.drivers.dialects import load_generator_dialect
from halfpower.drivers.errors import (
    DriverError,
    LinkLostError,
    LinkTimeoutError,
    ReplyError,
    SettingError,
)
from halfpower.drivers.instruments import Generator, OutputState


@pytest.fixture(params=["generator-volts", "generator-dbm"])
def rig(fake: SimpleNamespace, request: pytest.FixtureRequest) -> SimpleNamespace:
    """A generator of either bundled dialect on a fake link."""
    source = fake.Generator()
    wire = fake.Wire(source, name="generator")
    dialect = load_generator_dialect(request.param, folder=Path())
    driver = Generator(wire, dialect=dialect, source_ohm=50.0)
    return SimpleNamespace(driver=driver, source=source, wire=wire)


def test_it_starts_with_its_output_off(rig: SimpleNamespace) -> None:
    """Whoever used it before may have left it on."""
    rig.source.on = True
    rig.driver.start()
    assert rig.source.on is False


def test_the_frequency_in_force_is_the_generator_s_word(rig: SimpleNamespace) -> None:
    """A coarse generator's rounded frequency is what the reading is booked under."""
    rig.source.step_hz = 1.0
    assert rig.driver.set_frequency(6_700_000.4) == 6_700_000.0


@pytest.mark.parametrize("wanted_hz", [60.1e6, 1e9])
def test_a_clipped_frequency_is_refused_with_the_reason(
    rig: SimpleNamespace, wanted_hz: float
) -> None:
    """Beyond its range it says so, with what it set and its queued error."""
    with pytest.raises(SettingError, match=r"set 60000000.*-222") as caught:
        rig.driver.set_frequency(wanted_hz)
    assert caught.value.values["actual"] == 60e6


def test_a_resolution_too_coarse_to_measure_with_is_refused(
    rig: SimpleNamespace,
) -> None:
    """A kilohertz of rounding is another frequency, not the one asked for."""
    rig.source.step_hz = 1e3
    with pytest.raises(SettingError, match="asked for"):
        rig.driver.set_frequency(6_700_400.0)


def test_a_level_is_rounded_but_not_clipped(rig: SimpleNamespace) -> None:
    """Half a hundredth passes; a level held at the instrument's maximum does not."""
    rig.source.level_step = 0.001
    rig.driver.set_emf(1.0)
    rig.source.highest_level = rig.source.level * 0.98
    with pytest.raises(SettingError, match="within its range"):
        rig.driver.set_emf(1.0)


@pytest.mark.parametrize("nonsense", ["", "6.7 MHz", "9.91E37", '0,"No error"'])
def test_a_frequency_that_reads_back_as_nonsense_is_an_error(
    rig: SimpleNamespace, nonsense: str
) -> None:
    """Garbage, a stale answer of the error queue, or no number: never a frequency."""
    rig.source.answers["SOURce:FREQuency:CW?"] = nonsense
    with pytest.raises(ReplyError):
        rig.driver.set_frequency(6.7e6)


@pytest.mark.parametrize("stale", [1, 2, 3])
def test_off_is_made_sure_of_behind_stale_answers(
    rig: SimpleNamespace, stale: int
) -> None:
    """Answers left over from an interrupted exchange are not taken for "off"."""
    rig.source.on = True
    rig.wire.waiting.extend(["+6.70000000000E+06"] * stale)
    rig.driver.output_off()
    assert rig.source.on is False
    assert rig.wire.sent.count("OUTPut:STATe OFF") == stale + 1


@pytest.mark.parametrize("word", ["0", "+0", "OFF", "off", " 0 "])
def test_off_is_understood_in_every_legal_spelling(
    rig: SimpleNamespace, word: str
) -> None:
    """Numbers with a sign and words in either case are what instruments answer."""
    rig.source.answers["OUTPut:STATe?"] = word
    rig.driver.output_off()
    assert rig.wire.sent.count("OUTPut:STATe?") == 1


@pytest.mark.parametrize("word", ["1", "ON", "", "garbage", "00", '0,"No error"'])
def test_anything_but_off_asks_for_a_hand(rig: SimpleNamespace, word: str) -> None:
    """An output that is not known to be off is said to be on, in capitals."""
    rig.source.answers["OUTPut:STATe?"] = word
    with pytest.raises(DriverError, match="SWITCH IT OFF BY HAND"):
        rig.driver.output_off()


def test_an_output_stuck_on_asks_for_a_hand(rig: SimpleNamespace) -> None:
    """A relay that does not open is not hidden by a command that was sent."""
    rig.source.on = rig.source.stuck_on = True
    with pytest.raises(DriverError, match="it answers that it is on"):
        rig.driver.output_off()


def test_off_is_known_where_the_generator_said_so(rig: SimpleNamespace) -> None:
    """Not before it was asked, and not when it could not be made sure of."""
    assert rig.driver.output is OutputState.UNKNOWN
    rig.driver.output_off()
    assert rig.driver.output is OutputState.OFF
    rig.driver.output_on()
    assert rig.driver.output is OutputState.ON
    rig.source.stuck_on = True
    with pytest.raises(DriverError, match="BY HAND"):
        rig.driver.output_off()
    assert rig.driver.output is OutputState.UNKNOWN


def test_a_generator_that_cannot_say_was_only_told(rig: SimpleNamespace) -> None:
    """A dialect without an output query: told off, whatever the relay does."""
    dialect = load_generator_dialect("generator-volts", folder=Path())
    mute = dialect.model_copy(
        update={"output": dialect.output.model_copy(update={"read": None})}
    )
    driver = Generator(rig.wire, dialect=mute, source_ohm=50.0)
    driver.output_on()
    assert driver.output is OutputState.ON
    driver.output_off()
    assert driver.output is OutputState.TOLD_OFF


def test_a_link_that_fails_once_is_tried_again(rig: SimpleNamespace) -> None:
    """One lost exchange does not leave the output on."""
    failures = iter([LinkTimeoutError("late"), LinkLostError("lost")])

    def fail() -> None:
        for failure in failures:
            raise failure

    rig.source.on, rig.wire.trap = True, fail
    rig.driver.output_off()
    assert rig.source.on is False


def test_a_dead_link_says_why_it_could_not_be_made_sure(rig: SimpleNamespace) -> None:
    """The last failure stands in the sentence."""
    rig.source.silent_at.add("OUTPut:STATe?")
    with pytest.raises(DriverError, match=r"BY HAND \(.*no answer in time"):
        rig.driver.output_off()


def test_a_command_that_got_lost_is_sent_again(rig: SimpleNamespace) -> None:
    """On a link that broke a setting may not arrive; its read-back shows it."""
    own, once = rig.source.own, iter([True])

    def lose_one(command: str) -> str | None:
        if command.startswith("SOURce:FREQuency:CW ") and next(once, False):
            return None
        return own(command)  # type: ignore[no-any-return] # a fake's

    rig.source.own = lose_one
    assert rig.driver.set_frequency(6.7e6) == pytest.approx(6.7e6)


def test_switching_off_is_in_a_hurry(rig: SimpleNamespace) -> None:
    """No long rests before a lost link is opened again."""
    seen: list[int] = []

    @contextlib.contextmanager
    def hurry(rest_s: float) -> Iterator[None]:
        assert rest_s == 0.0
        seen.append(len(rig.wire.sent))
        yield
        seen.append(len(rig.wire.sent))

    rig.wire.hurry = hurry
    rig.driver.output_off()
    assert seen == [0, 2]
