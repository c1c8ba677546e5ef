"""However it ends, the output is off: interrupts at every step, handlers, drops."""

import contextlib
import gc
import signal
import threading
import weakref
from collections.abc import Callable, Iterator
from types import FrameType, SimpleNamespace

import pytest

from halfpower.analysis import Setting
from halfpower.drivers.errors import (
    DriverError,
    InstrumentError,
    Interrupted,
    LinkLostError,
    SettingError,
)
from halfpower.drivers.instruments import OutputState

MakeBench = Callable[[], SimpleNamespace]
STEPS = 112  # a whole session has fewer; test_a_session_is_shorter_than_the_walk


def session(made: SimpleNamespace) -> None:
    """Two readings on a driven circuit, as a sweep takes them."""
    with made.bench as bench, bench.driven():
        for frequency_hz in (6.7e6, 6.71e6):
            bench.read(Setting(frequency_hz=frequency_hz, settle_s=1e-3))


def at_steps(made: SimpleNamespace, steps: set[int], act: Callable[[], None]) -> None:
    """Let something happen at these steps of the links' exchanges."""
    count = iter(range(1000))

    def trap() -> None:
        if next(count) in steps:
            act()

    for wire in made.wires:
        wire.trap = trap


def assert_off_and_closed(made: SimpleNamespace) -> None:
    """The output is off, was asked about last, and both links are closed."""
    assert made.source.on is False
    about = [command for command in made.wires[0].sent if "OUTPut:STATe" in command]
    assert about[-2] == "OUTPut:STATe OFF" or about[-3] == "OUTPut:STATe OFF"
    assert about[-1] == made.wires[0].sent[-1] == "OUTPut:STATe?"
    assert all(wire.closed for wire in made.wires)


@pytest.fixture(autouse=True)
def handlers_are_put_back() -> Iterator[None]:
    """No test leaves a handler behind, and none finds one."""
    numbers = (signal.SIGINT, signal.SIGTERM)
    before = [signal.getsignal(number) for number in numbers]
    yield
    assert [signal.getsignal(number) for number in numbers] == before


def test_a_session_is_shorter_than_the_walk(fake_bench: MakeBench) -> None:
    """The walks below reach every step of it."""
    made = fake_bench()
    steps = iter(range(1000))
    for wire in made.wires:
        wire.trap = lambda: next(steps)
    session(made)
    assert 30 < next(steps) <= STEPS
    assert_off_and_closed(made)


def test_what_shows_the_drive_is_there_before_it_and_until_it_has_ended(
    fake_bench: MakeBench,
) -> None:
    """Also when the drive ends by an error: no stale display, none too late."""
    made, seen = fake_bench(), list[tuple[str, bool]]()

    @contextlib.contextmanager
    def shown() -> Iterator[None]:
        seen.append(("begins", made.source.on))
        try:
            yield
        finally:
            seen.append(("ends", made.source.on))

    made.bench.shown = shown
    with made.bench as bench, contextlib.suppress(SettingError), bench.driven():
        bench.read(Setting(frequency_hz=6.7e6, settle_s=1e-3))
        assert bench.output is OutputState.ON
        assert bench.frequency_hz == 6.7e6
        bench.read(Setting(frequency_hz=1e12, settle_s=1e-3))
    assert seen == [("begins", False), ("ends", False)]
    assert made.bench.output is OutputState.OFF


@pytest.mark.parametrize("step", range(STEPS))
@pytest.mark.parametrize(
    "number", [signal.SIGINT, signal.SIGTERM], ids=["ctrl-c", "sigterm"]
)
def test_a_signal_at_any_step_leaves_the_output_off(
    fake_bench: MakeBench, step: int, number: signal.Signals
) -> None:
    """Before a command, after it, before its answer, while switching off."""
    made = fake_bench()
    at_steps(made, {step}, lambda: signal.raise_signal(number))
    with contextlib.suppress(KeyboardInterrupt):
        session(made)
    assert_off_and_closed(made)


@pytest.mark.parametrize("first", range(0, STEPS, 3))
def test_an_impatient_second_signal_changes_nothing(
    fake_bench: MakeBench, first: int
) -> None:
    """Two signals, at any two steps, do no more than one."""
    for second in range(first + 1, STEPS, 2):
        made = fake_bench()
        at_steps(made, {first, second}, lambda: signal.raise_signal(signal.SIGINT))
        with contextlib.suppress(KeyboardInterrupt):
            session(made)
        assert_off_and_closed(made)


@pytest.mark.parametrize("step", range(STEPS))
def test_an_interrupt_raised_inside_the_link_leaves_the_output_off(
    fake_bench: MakeBench, step: int
) -> None:
    """As in a thread, where no signal handler can hold it back."""
    made = fake_bench()

    def interrupt() -> None:
        raise KeyboardInterrupt

    at_steps(made, {step}, interrupt)
    with contextlib.suppress(KeyboardInterrupt):
        session(made)
    assert made.source.on is False
    assert all(wire.closed for wire in made.wires)


@pytest.mark.parametrize("step", range(STEPS))
def test_a_link_that_fails_once_at_any_step_leaves_the_output_off(
    fake_bench: MakeBench, step: int
) -> None:
    """One exchange lost, and the clean-up still gets through."""
    made = fake_bench()

    def lose() -> None:
        raise LinkLostError("generator: the link is gone")

    at_steps(made, {step}, lose)
    with contextlib.suppress(LinkLostError):
        session(made)
    assert_off_and_closed(made)


def test_an_interrupt_reaches_the_caller_as_one(fake_bench: MakeBench) -> None:
    """SIGTERM unwinds like Ctrl-C, under its own name."""
    made = fake_bench()
    at_steps(made, {12}, lambda: signal.raise_signal(signal.SIGTERM))
    with pytest.raises(Interrupted):
        session(made)


def test_a_signal_while_switching_off_is_acted_on_afterwards(
    fake_bench: MakeBench,
) -> None:
    """Held back, not lost: the program still ends."""
    made = fake_bench()
    with pytest.raises(KeyboardInterrupt), made.bench as bench, bench.driven():
        at_steps(made, {6}, lambda: signal.raise_signal(signal.SIGINT))
    assert_off_and_closed(made)


@pytest.mark.parametrize("step", range(12))
def test_a_signal_while_switching_off_does_not_leave_it_on_for_the_next_part(
    fake_bench: MakeBench, step: int
) -> None:
    """The bench stays open between two sweeps, and hands are on the fixture then."""
    made = fake_bench()
    with made.bench as bench:
        with contextlib.suppress(KeyboardInterrupt), bench.driven():
            at_steps(made, {step}, lambda: signal.raise_signal(signal.SIGINT))
        at_steps(made, set(), lambda: None)
        assert made.source.on is False


def test_sigterm_is_the_system_s_again_after_the_bench(fake_bench: MakeBench) -> None:
    """The handler goes with the bench."""
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL
    with fake_bench().bench:
        assert callable(signal.getsignal(signal.SIGTERM))
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_sigterm_is_the_system_s_again_after_a_failure(fake_bench: MakeBench) -> None:
    """Also when the output could not be switched off."""
    made = fake_bench()
    with pytest.raises(DriverError, match="BY HAND"), made.bench:
        made.source.answers["OUTPut:STATe?"] = "1"
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_the_program_s_own_handler_is_left_and_served(fake_bench: MakeBench) -> None:
    """A handler that somebody else installed stays, and is called, held back or not."""
    came: list[int] = []

    def own(number: int, frame: FrameType | None) -> None:
        del frame
        came.append(number)

    before = signal.signal(signal.SIGTERM, own)
    try:
        made = fake_bench()
        every = set(range(STEPS))
        at_steps(made, every, lambda: signal.raise_signal(signal.SIGTERM))
        session(made)
        assert signal.getsignal(signal.SIGTERM) is own
    finally:
        signal.signal(signal.SIGTERM, before)
    assert len(came) > 30
    assert_off_and_closed(made)


def test_a_signal_that_the_program_ignores_stays_ignored(
    fake_bench: MakeBench,
) -> None:
    """A run in the background, deaf to Ctrl-C, is not ended by one."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        made = fake_bench()
        every = set(range(STEPS))
        at_steps(made, every, lambda: signal.raise_signal(signal.SIGINT))
        session(made)
    finally:
        signal.signal(signal.SIGINT, before)
    assert_off_and_closed(made)


def test_a_bench_works_in_a_thread(fake_bench: MakeBench) -> None:
    """Where signals cannot be handled, all else is as ever."""
    made = fake_bench()
    thread = threading.Thread(target=session, args=(made,))
    thread.start()
    thread.join()
    assert_off_and_closed(made)


def test_a_failure_to_switch_off_is_added_to_what_ended_it(
    fake_bench: MakeBench,
) -> None:
    """Neither hides the other."""
    made = fake_bench()
    made.source.answers["OUTPut:STATe?"] = "1"
    with pytest.raises(ZeroDivisionError) as caught, made.bench:
        raise ZeroDivisionError
    assert "SWITCH IT OFF BY HAND" in " ".join(caught.value.__notes__)
    assert all(wire.closed for wire in made.wires)


def test_closing_twice_does_no_harm(fake_bench: MakeBench) -> None:
    """The second time nothing is sent."""
    made = fake_bench()
    made.bench.close()
    sent = len(made.wires[0].sent)
    made.bench.close()
    assert len(made.wires[0].sent) == sent


def test_a_bench_dropped_open_warns(fake_bench: MakeBench) -> None:
    """What nobody closed may be driving still."""
    made = fake_bench()
    gone = weakref.ref(made.bench)
    with pytest.warns(ResourceWarning, match="with block"):
        made.bench = None
    gc.collect()
    assert gone() is None


def test_a_closed_bench_is_dropped_in_silence(fake_bench: MakeBench) -> None:
    """No false alarm (a warning would be an error here)."""
    made = fake_bench()
    made.bench.close()
    made.bench = None
    gc.collect()


def test_a_reading_waits_for_tank_and_instruments(fake_bench: MakeBench) -> None:
    """The tank's 1 ms and the bench file's 8 ms, between setting and reading."""
    made = fake_bench()
    with made.bench as bench:
        made.slept.clear()
        reading = bench.read(Setting(frequency_hz=6.7e6, settle_s=1e-3))
    assert sum(made.slept) == pytest.approx(9e-3)
    assert reading.time_s == pytest.approx(9e-3)
    assert reading.frequency_hz == 6.7e6
    assert reading.amplitude_v == pytest.approx(0.3)


@pytest.mark.parametrize("frequency_hz", [999.0, 60.1e6])
def test_the_bench_file_s_limits_come_before_the_generator(
    fake_bench: MakeBench, frequency_hz: float
) -> None:
    """Nothing is sent that the file forbids."""
    made = fake_bench()
    with made.bench as bench:
        made.wires[0].sent.clear()
        with pytest.raises(SettingError, match="bench file's limits"):
            bench.read(Setting(frequency_hz=frequency_hz))
        assert made.wires[0].sent == []


def test_an_error_that_queued_up_while_driving_is_not_passed_over(
    fake_bench: MakeBench,
) -> None:
    """A refused command makes the readings doubtful, and is found at the end."""
    made = fake_bench()
    with (
        pytest.raises(InstrumentError, match="-221"),
        made.bench as bench,
        bench.driven(),
    ):
        made.scope.errors.append('-221,"Settings conflict"')
    assert_off_and_closed(made)


def test_the_level_is_the_emf_through_a_matched_load(fake_bench: MakeBench) -> None:
    """1 V of e.m.f. behind 50 ohm is 0.5 V across the 50 ohm that it assumes."""
    made = fake_bench()
    with made.bench as bench, bench.driven():
        assert made.source.on is True
        assert made.source.level == pytest.approx(0.5)
