"""A bad link costs time, never a wrong number or an output left on.

Quick versions of ``benchmarks/faults.py``, which has the figures for 10 000 readings.
"""

import importlib.util
import random
import sys
from collections import deque
from collections.abc import Callable
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from halfpower.analysis import HalfpowerError, Setting
from halfpower.drivers import load_bench_file, open_bench
from halfpower.drivers.errors import (
    DriverError,
    InstrumentError,
    LinkLostError,
    OverloadError,
)

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"
MakeBench = Callable[[], SimpleNamespace]
SETTING = Setting(frequency_hz=6.7e6, settle_s=1e-3)


def benchmark(name: str) -> ModuleType:
    """Load a script of the benchmarks."""
    spec = importlib.util.spec_from_file_location(name, BENCHMARKS / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # its dataclasses look themselves up
    if str(BENCHMARKS) not in sys.path:
        sys.path.append(str(BENCHMARKS))  # they import one another
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    "kind",
    [
        *("silence", "late", "half", "garbage", "overload"),
        *("terminator", "error", "reset", "closed"),
        *("reset *ESR?", "reset SYSTem:ERRor?", "second driver"),
    ],
)
def test_no_wrong_reading_is_accepted_over_a_socket(kind: str) -> None:
    """A fault in fifty messages; truth and bound are `Truth`'s in the benchmark."""
    tally = benchmark("faults").under([kind], 40, probability=0.02, references=16)
    assert tally.readings >= 40
    assert (tally.wrong, tally.unended, tally.left_on, tally.foreign) == (0, 0, 0, 0)


def test_a_driver_without_care_does_accept_wrong_readings() -> None:
    """The check above can fail: late answers and lost settings, believed."""
    faults = benchmark("faults")
    for kind in ("late", "reset"):
        assert faults.careless([kind], 200, probability=0.02, references=16) > 0


# Random replies --------------------------------------------------------------------


class Babbling:
    """A VISA resource over a fake instrument that babbles at one query."""

    def __init__(self, instrument: Any, at: str, babble: bytes) -> None:
        self._instrument, self._at, self._babble = instrument, at, babble
        self._waiting: deque[bytes] = deque()

    def write_raw(self, data: bytes) -> None:
        """Obey, or babble."""
        command = data.decode("ascii").strip()
        answer = self._instrument.obey(command)
        if command == self._at:
            self._waiting.extend(self._babble.splitlines(keepends=True))
        elif answer is not None:
            self._waiting.append(answer.encode("ascii") + b"\n")

    def read_bytes(self, *_: object, **__: object) -> bytes:
        """Give the next line."""
        if not self._waiting:
            raise TimeoutError
        return self._waiting.popleft()

    def close(self) -> None:
        """Drop what waits."""
        self._waiting.clear()


def babbles(count: int) -> list[bytes]:
    """Random bytes, and random text of what numbers are made of."""
    random_ = random.Random(5)  # noqa: S311 - not a secret
    alphabets = [bytes(range(256)), b"+-.0123456789Ee \n\r,", b'0123456789."#E+-\n']
    return [
        bytes(random_.choices(random_.choice(alphabets), k=random_.randrange(40)))
        + random_.choice([b"\n", b""])
        for _ in range(count)
    ]


@pytest.mark.parametrize(
    ("role", "at"),
    [
        ("source", "*IDN?"),
        ("source", "SYSTem:ERRor?"),
        ("source", "*ESR?"),
        ("source", "SOURce:FREQuency:CW?"),
        ("source", "SOURce:VOLTage:LEVel:IMMediate:AMPLitude?"),
        ("source", "OUTPut:STATe?"),
        ("scope", "*IDN?"),
        ("scope", "*ESR?"),
        ("scope", "CHANnel1:SCALe?"),
        ("scope", "MEASure:VRMS? CHANnel1"),
    ],
)
def test_random_replies_raise_only_our_own_errors(
    fake: SimpleNamespace, bench_path: Path, role: str, at: str
) -> None:
    """A hundred random byte strings at each of ten questions: a thousand."""
    file = load_bench_file(bench_path)
    for babble in babbles(100):
        made = {"source": fake.Generator(), "scope": fake.Scope()}

        def opened(resource: str, babble: bytes = babble, made: Any = made, **_: Any):
            this = "source" if resource == "GPIB::1" else "scope"
            return Babbling(made[this], at if role == this else "", babble)

        try:
            with (
                open_bench(
                    file,
                    manager=SimpleNamespace(open_resource=opened),  # type: ignore[arg-type] # as much of one as is used
                    sleep=lambda _: None,
                    clock=lambda: 0.0,
                ) as bench,
                bench.driven(),
            ):
                bench.read(SETTING)
        except HalfpowerError:
            pass
        assert made["source"].on is False


# What happens to an instrument -----------------------------------------------------


def lose_power(instrument: Any, **lost: Any) -> None:
    """Let a fake instrument forget, and say so in its event register."""
    for name, value in lost.items():
        setattr(instrument, name, value)
    instrument.events |= 128


def test_a_power_cut_between_setting_and_reading_is_noticed(
    fake_bench: MakeBench,
) -> None:
    """The reading without output is thrown away; level and output come back."""
    made = fake_bench()
    seen: list[bool] = []
    with made.bench as bench, bench.driven():
        level = made.source.level
        once = iter([True])

        def read() -> str:
            if next(once, False):
                lose_power(made.source, on=False, level=0.1, frequency_hz=1e6)
            seen.append(made.source.on)
            return f"{0.3 if made.source.on else 0.0:.8E}"

        answer_with(made.scope, "MEASure:VRMS?", read)
        reading = bench.read(SETTING)
        assert (made.source.on, made.source.level) == (True, level)
    assert seen[0] is False
    assert reading.amplitude_v == pytest.approx(0.3)
    assert reading.frequency_hz == 6.7e6
    assert (bench.retaken, made.source.on) == (1, False)
    assert "power was off" in bench.notes[0]


def answer_with(instrument: Any, head: str, answer: Callable[[], str]) -> None:
    """Let a fake instrument answer one query by a function."""
    own = instrument.own

    def answering(command: str) -> str | None:
        return answer() if command.startswith(head) else own(command)

    instrument.own = answering


def test_a_generator_without_the_register_is_read_back(fake_bench: MakeBench) -> None:
    """Where it cannot say that its power was off, output and level are asked for."""
    made = fake_bench()
    made.source.answers["*ESR?"] = "no such thing"
    made.bench.generator.start()
    with made.bench as bench, bench.driven():
        bench.read(SETTING)
        assert bench.retaken == 0
        made.source.on = False
        bench.read(SETTING)
        assert made.source.on is True
        made.source.level *= 2.8284  # V p-p taken for V r.m.s.
        bench.read(SETTING)
        assert bench.retaken == 2


def test_an_undriven_bench_stays_undriven_after_a_power_cut(
    fake_bench: MakeBench,
) -> None:
    """Restoring is no reason to switch on."""
    made = fake_bench()
    with made.bench as bench:
        lose_power(made.source, level=0.1)
        bench.read(SETTING)
        assert made.source.on is False
        assert "OUTPut:STATe ON" not in made.wires[0].sent


def test_an_instrument_that_loses_its_power_for_ever_is_given_up_on(
    fake_bench: MakeBench,
) -> None:
    """A few attempts, one sentence, the output off."""
    made = fake_bench()
    made.source.answers["*ESR?"] = "128"
    with (
        pytest.raises(InstrumentError, match=r"start commands: .*power was off"),
        made.bench as bench,
        bench.driven(),
    ):
        bench.read(SETTING)
    assert made.source.on is False


def test_readings_that_stay_in_doubt_are_given_up_on(fake_bench: MakeBench) -> None:
    """Power that goes at every reading: no wrong reading, no endless loop."""
    made = fake_bench()

    def read() -> str:
        lose_power(made.scope)
        return "+3.00000000E-01"

    answer_with(made.scope, "MEASure:VRMS?", read)
    with (
        pytest.raises(DriverError, match=r"in doubt 6 times running.*power was off"),
        made.bench as bench,
        bench.driven(),
    ):
        bench.read(SETTING)
    assert made.source.on is False


def test_a_power_cut_amid_the_start_commands_sends_them_again(
    fake_bench: MakeBench,
) -> None:
    """A unit that was set and lost again would make every level a wrong one."""
    made = fake_bench()
    units: list[str] = []
    once = iter([True])

    def set_unit() -> str | None:
        units.append("VRMS")
        if next(once, False):
            units.clear()
            lose_power(made.source, level=0.1)
        return None

    answer_with(made.source, "SOURce:VOLTage:UNIT", set_unit)
    made.bench.generator.start()
    assert units == ["VRMS"]
    made.bench.close()


def test_a_detector_lost_for_good_leaves_the_output_off(fake_bench: MakeBench) -> None:
    """It stops with one sentence, and the generator is switched off."""
    made = fake_bench()

    def lose() -> None:
        raise LinkLostError("detector: the link is gone")

    made.wires[1].trap = lose
    with pytest.raises(LinkLostError), made.bench as bench, bench.driven():
        bench.read(SETTING)
    assert made.source.on is False


def test_a_link_lost_while_switching_off_is_opened_once_more(
    fake_bench: MakeBench,
) -> None:
    """The output goes off over the new connection."""
    made = fake_bench()
    with made.bench as bench, bench.driven():
        bench.read(SETTING)
        once = iter([LinkLostError("generator: the link is gone")])

        def lose_once() -> None:
            for failure in once:
                raise failure

        made.wires[0].trap = lose_once
    assert made.source.on is False
    assert bench.generator._link.reconnections == 1  # noqa: SLF001 - that it was


def test_a_reading_over_a_link_that_broke_is_taken_again(
    fake_bench: MakeBench,
) -> None:
    """What the instrument was set to may be lost, whatever its register says."""
    made = fake_bench()
    with made.bench as bench, bench.driven():
        bench.read(SETTING)
        once = iter([LinkLostError("detector: the link is gone")])

        def lose_once() -> None:
            for failure in once:
                raise failure

        made.wires[1].trap = lose_once
        made.wires[1].sent.clear()
        bench.read(SETTING)
        assert bench.retaken == 1
        assert "CHANnel1:COUPling AC" in made.wires[1].sent


def test_one_overload_is_not_believed_and_two_are(fake_bench: MakeBench) -> None:
    """A spoilt answer looks like one; asked again it does not."""
    made = fake_bench()
    made.scope.steps = [1.0]  # no coarser range to go to
    made.bench._detector.restore()  # noqa: SLF001 - and it knows
    with made.bench as bench, bench.driven():
        made.scope.readings.append("9.9E37")
        assert bench.read(SETTING).amplitude_v == pytest.approx(0.3)
        own = made.scope.own

        def overloaded_unless_lowered(command: str) -> Any:
            if command.startswith("MEASure") and made.source.level > 0.1:
                return "9.9E37"
            return own(command)

        made.scope.own = overloaded_unless_lowered
        with pytest.raises(OverloadError, match="at a thirtieth"):
            bench.read(SETTING)
        assert made.source.level == pytest.approx(0.5)  # 1 V of e.m.f. again


def test_an_error_in_the_register_is_looked_up_and_the_reading_taken_again(
    fake_bench: MakeBench,
) -> None:
    """What was refused may have been what the reading needed."""
    made = fake_bench()
    with made.bench as bench, bench.driven():
        bench.read(SETTING)
        made.scope.errors.append('-221,"Settings conflict"')
        made.scope.events = 16  # execution error
        bench.read(SETTING)
    assert bench.retaken == 1
    assert "-221 Settings conflict" in bench.notes[0]


def test_a_quiet_reading_costs_five_queries_more(fake_bench: MakeBench) -> None:
    """Each one's register, and what the generator is set to: the price of noticing."""
    made = fake_bench()
    with made.bench as bench, bench.driven():
        bench.read(SETTING)
        for wire in made.wires:
            wire.sent.clear()
        bench.read(SETTING)
        assert [command.split()[0] for command in made.wires[0].sent] == [
            "SOURce:FREQuency:CW",
            "SOURce:FREQuency:CW?",
            "*ESR?",
            "OUTPut:STATe?",
            "SOURce:FREQuency:CW?",
            "SOURce:VOLTage:LEVel:IMMediate:AMPLitude?",
        ]
        assert made.wires[1].sent == ["MEASure:VRMS? CHANnel1", "*ESR?"]


def test_errors_of_queries_after_the_link_s_own_trouble_are_forgiven(
    fake_bench: MakeBench,
) -> None:
    """-420 after a silence is the link's doing (IEEE 488.2, 6.5.7); -222 is not."""
    made = fake_bench()
    with made.bench as bench, bench.driven():
        made.scope.readings.append("")  # no number: asked again
        made.scope.events |= 4
        made.scope.errors.append('-420,"Query UNTERMINATED"')
        bench.read(SETTING)
        assert bench.retaken == 0
        made.scope.readings.append("")
        made.scope.events |= 4 | 16
        made.scope.errors.append('-222,"Data out of range"')
        bench.read(SETTING)
        assert bench.retaken == 1


def test_an_output_that_does_not_come_on_is_an_error(fake_bench: MakeBench) -> None:
    """Readings of nothing are not begun with."""
    made = fake_bench()
    made.source.answers["OUTPut:STATe?"] = "0"
    with pytest.raises(InstrumentError, match="answers that it is off"):  # noqa: SIM117 - the driving raises
        with made.bench as bench, bench.driven():
            pass
