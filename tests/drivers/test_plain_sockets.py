"""Against instruments that share no line with the package, over plain sockets.

A connection reset at every message in turn, a question refused in silence, commands
sent back, commands dropped that come too early, another program at the same generator:
the readings are right, or one sentence says what is amiss and the output is off.
"""

import importlib.util
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from halfpower.analysis import HalfpowerError, Reading, Setting
from halfpower.drivers import load_bench_file, open_bench
from halfpower.drivers.bench import CheckPlan, check_bench, reaching
from halfpower.drivers.errors import LinkLostError, LinkTimeoutError, SettingError
from halfpower.drivers.link.visa import VisaPort

SWEEP_HZ = (6.8e6, 7.0e6, 7.2e6)
MESSAGES = 72  # a short sweep sends fewer to each; the walk's own test
FREQUENCY, LEVEL = "SOURce:FREQuency:CW", "SOURce:VOLTage:LEVel:IMMediate:AMPLitude"


def load_instruments() -> ModuleType:
    """Load the instruments from beside this file."""
    path = Path(__file__).with_name("plain_sockets.py")
    spec = importlib.util.spec_from_file_location("plain_sockets", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


plain = load_instruments()


class Rig:
    """A bench of plain instruments, and what a short sweep on it gives."""

    def __init__(self, folder: Path, bench_toml: str) -> None:
        self.circuit = plain.Circuit()
        self.generator = plain.PlainGenerator(self.circuit)
        self.detector = plain.PlainScope(self.circuit)
        self.by_role = {"generator": self.generator, "detector": self.detector}
        self.readings: list[Reading] = []
        self.bench: Any = None
        self.is_off_at_once = False
        self.sleep = self.circuit.sleep
        self.timeout_s = 0.3  # short of what a busy machine makes of no time at all
        self._folder = folder
        self._toml = bench_toml

    def close(self) -> None:
        """Close both."""
        self.generator.close()
        self.detector.close()

    def dialect(self, role: str, *changes: tuple[str, str]) -> None:
        """Give one of the two a dialect of its own: the bundled one with changes."""
        name = {"generator": "generator-volts", "detector": "scope-vrms"}[role]
        from halfpower.drivers.dialects import dialect

        text = (Path(dialect.__file__).parent / f"{name}.toml").read_text("utf-8")
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        (self._folder / f"{role}.toml").write_text(text, encoding="utf-8")
        self._toml = self._toml.replace(f'"{name}"', f'"{role}.toml"')

    def file(self) -> Any:
        """Give the bench file."""
        timeout = f"{self.timeout_s} s"
        text = self._toml.replace("GPIB::1", self.generator.resource)
        text = text.replace("GPIB::2", self.detector.resource)
        text = text.replace("\n[detector]", f'timeout = "{timeout}"\n\n[detector]')
        text = text.replace("\n[fixture]", f'timeout = "{timeout}"\n\n[fixture]')
        path = self._folder / "bench.toml"
        path.write_text(text, encoding="utf-8")
        return load_bench_file(path)

    def sweep(self) -> HalfpowerError | None:
        """Take three readings; give what it ended with, if it ended early."""
        self.readings.clear()
        try:
            with open_bench(
                self.file(), folder=self._folder, sleep=self.sleep
            ) as self.bench:
                self._take()
        except HalfpowerError as error:
            return error
        return None

    def _take(self) -> None:
        with self.bench.driven():
            for frequency_hz in SWEEP_HZ:
                setting = Setting(frequency_hz=frequency_hz, settle_s=1e-3)
                self.readings.append(self.bench.read(setting))
        self.is_off_at_once = not self.circuit.is_on

    def assert_right(self) -> None:
        """Every reading is the circuit's own, at half the e.m.f.; the output is off."""
        assert [reading.frequency_hz for reading in self.readings] == list(SWEEP_HZ)
        for reading in self.readings:
            true_v = plain.ideal_v(reading.frequency_hz, 0.5)
            # it answers nine digits
            assert reading.amplitude_v == pytest.approx(true_v, rel=1e-8)
        assert self.circuit.is_on is False

    def checked(self) -> dict[str, Any]:
        """Check the bench; its rows by what was looked at."""
        file = self.file()
        with reaching(
            file, folder=self._folder, manager=None, sleep=self.circuit.sleep
        ) as reach:
            rows = check_bench(
                file,
                reach=reach,
                plan=CheckPlan(level_v=1.0),
                sleep=self.circuit.sleep,
                clock=lambda: self.circuit.now_s,
                told=lambda _row: None,
            )
        return {row.what: row for row in rows}


@pytest.fixture
def rig(tmp_path: Path, bench_toml: str) -> Iterator[Rig]:
    """Both instruments, listening."""
    made = Rig(tmp_path, bench_toml)
    yield made
    made.close()


def at(number: int, fate: str) -> Callable[[str], str | None]:
    """Let something happen at the so-manieth message, from 1."""
    count = iter(range(1, 10_000))
    return lambda _command: fate if next(count) == number else None


# Resets ----------------------------------------------------------------------------


def test_a_short_sweep_is_shorter_than_the_walk(rig: Rig) -> None:
    """So the walk below breaks the connection at every message there is."""
    assert rig.sweep() is None
    rig.assert_right()
    assert rig.bench.retaken == 0
    assert 40 < len(rig.generator.log) <= MESSAGES
    assert 40 < len(rig.detector.log) <= MESSAGES


@pytest.mark.parametrize("number", range(1, MESSAGES + 1))
@pytest.mark.parametrize("role", ["generator", "detector"])
def test_a_reset_at_any_message_is_mended(rig: Rig, role: str, number: int) -> None:
    """Before it is obeyed; and after, with every setting lost."""
    for fate, forgets in (("reset before", False), ("reset after", True)):
        rig.by_role[role].trap = at(number, fate)
        rig.by_role[role].forgets = forgets
        assert rig.sweep() is None
        rig.assert_right()


@pytest.mark.parametrize("number", range(1, 21))
def test_a_generator_that_can_say_nothing_is_off_after_a_reset(
    rig: Rig, number: int
) -> None:
    """No read-back, no queue, no register: it is told again after every reset."""
    rig.dialect(
        "generator",
        ('read = "SOURce', '# "SOURce'),
        ('read = "OUTPut', '# "OUTPut'),
        ('error = "', '# "'),
        ("*IDN?", "*idn?"),
        ("*idn?", "ID?"),
    )
    answer = rig.generator.own
    rig.generator.own = lambda head, *rest: (
        "PLAIN" if head == "ID?" else answer(head, *rest)
    )
    rig.generator.trap = at(number, "reset before")
    assert rig.sweep() is None
    assert rig.is_off_at_once  # not only when the bench is closed
    # from being told off, the tenth, to the last reading's question who it is, one may
    # have been taken without what it was told
    assert rig.bench.retaken == (10 <= number <= 19)


@pytest.mark.parametrize("role", ["generator", "detector"])
def test_a_link_that_stays_lost_ends_it_in_one_sentence(rig: Rig, role: str) -> None:
    """Status 3, and what became of the output."""

    def go_down(command: str) -> str | None:
        instrument = rig.by_role[role]
        is_asked = command in {"*ESR?", "MEASure:VRMS? CHANnel1"}
        instrument.is_down = instrument.is_down or (rig.circuit.is_on and is_asked)
        return "reset before" if instrument.is_down else None

    rig.by_role[role].trap = go_down
    error = rig.sweep()
    assert error is not None
    assert error.exit_status == 3
    said = "; ".join([str(error), *getattr(error, "__notes__", [])])
    assert "could not be opened again" in said
    if role == "detector":
        assert isinstance(error, LinkLostError)
        assert said.endswith("the generator's output is off")
        assert rig.circuit.is_on is False
    else:
        assert said.count("SWITCH IT OFF BY HAND") == 1


@pytest.mark.parametrize("command", ["OUTPut:STATe OFF", "*ESR?"])
def test_a_generator_that_starts_anew_is_switched_off_a_second_later(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    """Nobody is let in for half a second after the reset; its output stays on."""
    generator = rig.generator

    def go_down(sent: str) -> str | None:
        if not rig.circuit.is_on or sent != command or rig.circuit.now_s > 1e3:
            return None
        generator.is_down = True
        return "reset before"

    def sleep(seconds: float) -> None:
        rig.circuit.sleep(seconds)
        if generator.is_down and seconds >= 0.5:
            rig.circuit.sleep(1e4)
            generator.is_down = False

    monkeypatch.setattr(rig, "sleep", sleep)
    generator.trap = go_down
    assert rig.sweep() is None
    rig.assert_right()
    assert rig.is_off_at_once


# Refusals --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("role", "question", "place"),
    [
        ("generator", f"{FREQUENCY}?", r"read under \[frequency\]"),
        ("generator", f"{LEVEL}?", r"read under \[level\]"),
        ("generator", "OUTPut:STATe?", r"read under \[output\]"),
        ("detector", "MEASure:VRMS? CHANnel1", r"read under \[reading\]"),
        ("detector", "CHANnel1:SCALe?", r"read under \[range\]"),
        ("detector", "ACQuire:AVERage:COUNt?", r"read under \[averaging\]"),
    ],
)
def test_a_refused_question_is_not_repeated(
    rig: Rig, role: str, question: str, place: str
) -> None:
    """One silence, and the instrument's own reason with the table to look at."""
    rig.by_role[role].refuses = (question,)
    error = rig.sweep()
    assert error is not None
    assert error.exit_status == 3
    with pytest.raises(
        HalfpowerError, match=f"refuses it: -113 Undefined header; correct {place}"
    ):
        raise error
    assert rig.by_role[role].log.count(question) == 1
    assert rig.circuit.is_on is False


@pytest.mark.parametrize("form", ["queue", "register", "none"])
def test_the_reason_comes_from_the_queue_or_the_register(rig: Rig, form: str) -> None:
    """An instrument without a queue has bit 5, "command error" (IEEE 488.2, 11.5.1)."""
    error_query = {
        "queue": 'error = "SYSTem:ERRor?"',
        "register": 'error = "*ESR?"\nerror_form = "register"',
        "none": "",
    }[form]
    rig.dialect("generator", ('error = "SYSTem:ERRor?"', error_query))
    rig.generator.refuses = (f"{FREQUENCY}?",)
    error = rig.sweep()
    reason = "-113 Undefined header" if form == "queue" else "command error"
    assert f"refuses it: {reason}" in str(error)
    assert rig.generator.log.count(f"{FREQUENCY}?") == 1


def test_an_error_query_that_is_refused_is_named_by_the_register(rig: Rig) -> None:
    """Twice, for the register may tell of what was long before."""
    rig.detector.refuses = ("SYSTem:ERRor?",)
    error = rig.sweep()
    assert "refuses it: *ESR? = 32; correct error under [common]" in str(error)
    assert rig.detector.log.count("SYSTem:ERRor?") == 2


@pytest.mark.parametrize("entry", ["", '-420,"Query UNTERMINATED"'])
def test_a_silence_without_a_reason_is_borne_as_ever(rig: Rig, entry: str) -> None:
    """Three questions; a query error is what any lost answer leaves behind."""

    def ignore(command: str) -> str | None:
        if command != f"{FREQUENCY}?":
            return None
        rig.generator.errors += [entry] if entry else []
        return "ignore"

    rig.generator.trap = ignore
    assert isinstance(rig.sweep(), LinkTimeoutError)
    assert rig.generator.log.count(f"{FREQUENCY}?") == 3


def test_a_question_that_was_answered_before_is_asked_again(rig: Rig) -> None:
    """What it knew it knows: the line has spoilt the command."""
    once = iter([True])

    def spoil(command: str) -> str | None:
        if rig.circuit.is_on and command == f"{FREQUENCY}?" and next(once, False):
            rig.generator.errors.append('-113,"Undefined header"')
            return "ignore"
        return None

    rig.generator.trap = spoil
    assert rig.sweep() is None
    rig.assert_right()


# Echo and pace ---------------------------------------------------------------------


@pytest.mark.parametrize("role", ["generator", "detector"])
def test_an_echo_nobody_asked_for_names_its_key(rig: Rig, role: str) -> None:
    """The command comes back as the answer; with the key set it works."""
    rig.by_role[role].echoes = True
    error = rig.sweep()
    assert f"{role} at '*IDN?': it sends the command itself back" in str(error)
    assert "set echo = true under [link]" in str(error)
    rig.dialect(role, ("[common]", "[link]\necho = true\n\n[common]"))
    assert rig.sweep() is None
    rig.assert_right()


def test_an_echo_that_does_not_come_names_its_key(rig: Rig) -> None:
    """The answer is where the echo should be."""
    rig.dialect("generator", ("[common]", "[link]\necho = true\n\n[common]"))
    error = rig.sweep()
    assert "if it sends none, set echo = false under [link]" in str(error)


@pytest.mark.parametrize("gap_of", ["all", "settings", "after settings"])
@pytest.mark.parametrize("role", ["generator", "detector"])
def test_commands_that_come_too_early_name_the_rest_that_cures_it(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, role: str, gap_of: str
) -> None:
    """Dropped within 30 ms of any command; of a setting, a setting or anything."""
    rig.by_role[role].gap_s, rig.by_role[role].gap_of = 0.03, gap_of
    rig.timeout_s = 0.1
    write = VisaPort.write

    def stamped(port: VisaPort, command: str) -> None:
        rig.by_role[port.name].left_s.append(rig.circuit.now_s)
        write(port, command)

    monkeypatch.setattr(VisaPort, "write", stamped)
    rows = rig.checked()
    assert rows[f"{role} answers"].state == "FAILED"
    assert "straight after another" in rows[f"{role} answers"].found
    assert rows[f"{role} answers"].do.startswith("set pause_s = 0.05 under [link]")
    assert "set pause_s = 0.05" in str(rig.sweep())
    rig.dialect(role, ("[common]", "[link]\npause_s = 0.05\n\n[common]"))
    assert rig.sweep() is None
    rig.assert_right()


@pytest.mark.parametrize("number", range(1, 12))
def test_one_lost_command_does_not_pass_for_a_slow_instrument(
    rig: Rig, number: int
) -> None:
    """Nor two: what a line loses now and then has no cure in rests."""
    rig.generator.trap = at(number + 10, "ignore")
    error = rig.sweep()
    assert "pause_s" not in str(error)


# Another hand ----------------------------------------------------------------------


def test_what_is_out_of_its_range_is_believed_at_once(rig: Rig) -> None:
    """The register goes on telling what the queue told: that is no second refusal."""
    rig.generator.highest_hz = 7.1e6
    error = rig.sweep()
    assert isinstance(error, SettingError)
    assert "asked for 7200000 Hz and set 7100000 (" in str(error)
    assert "-222 Data out of range" in str(error)
    tries = [line for line in rig.generator.log if line.startswith(f"{FREQUENCY} 7200")]
    assert len(tries) == 2  # one command may get lost
    assert rig.bench.retaken == 0
    assert rig.circuit.is_on is False


@pytest.mark.parametrize("what", ["frequency_hz", "level_v", "is_on"])
@pytest.mark.parametrize("role", ["generator", "detector"])
def test_another_hand_at_the_generator_is_noticed(
    rig: Rig, role: str, what: str
) -> None:
    """At every message of the readings in turn: they are right, and it is said."""
    values = {"frequency_hz": 7.05e6, "level_v": 0.4, "is_on": False}
    said = 0
    for number in range(1, 19):
        count = iter(range(1, 10_000))

        def interfere(_command: str, count: Any = count, number: int = number) -> None:
            has_begun = rig.circuit.is_on and rig.circuit.frequency_hz > 6e6
            if has_begun and next(count) == number:
                setattr(rig.circuit, what, values[what])

        rig.by_role[role].trap = interfere
        assert rig.sweep() is None
        rig.assert_right()
        said += rig.bench.retaken > 0
    # before a frequency is set, or after the last question, it does no harm
    assert said >= 6
