"""Fake links and instruments: lines of text in, lines of text out, no VISA."""

import contextlib
from collections import deque
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from halfpower.drivers import Bench, load_bench_file
from halfpower.drivers.dialects import load_detector_dialect, load_generator_dialect
from halfpower.drivers.errors import LinkTimeoutError
from halfpower.drivers.instruments import Detector, Generator
from halfpower.drivers.link.steady import SteadyLink

BENCH_TOML = """\
[generator]
resource = "GPIB::1"
dialect = "generator-volts"
level = "1V"
source_resistance = "50ohm"
frequency_reference = "2ppm"
settle = "8ms"

[detector]
resource = "GPIB::2"
dialect = "scope-vrms"
input_resistance = "0.93Mohm +- 15%"
input_capacitance = "10pF +- 1pF"
linearity = "0.1%"

[fixture]
kind = "coupled-tank"
coupling_capacitance = "1.0pF +- 10%"
stray_capacitance = "5.0pF +- 0.5pF"
stray_loss = "0.001 +- 0.0005"
lead_inductance = "10nH +- 2nH"
lead_resistance = "5mohm +- 2mohm"

[limits]
tank_voltage = "30V"
lowest_frequency = "1kHz"
highest_frequency = "60MHz"
"""


class Wire:
    """A link whose unread answers wait, as on a real one.

    ``trap`` is called before a command leaves, after it has been obeyed, and before
    an answer is read; what it raises cuts the exchange off there.
    """

    def __init__(self, instrument: Any, *, name: str = "instrument") -> None:
        self.name = name
        self.instrument = instrument
        self.sent: list[str] = []
        self.waiting: deque[str] = deque()
        self.closed = self.troubles = self.reconnections = 0
        self.slept: list[float] = []
        self.trap: Callable[[], None] = lambda: None

    def write(self, command: str) -> None:
        """Send it, and let what it answers wait."""
        self.trap()
        self.sent.append(command)
        answer = self.instrument.obey(command)
        if answer is not None:
            self.waiting.append(answer)
        self.trap()

    def query(
        self, command: str, *, repeatable: bool = True, patient: bool = True
    ) -> str:
        """Send it, and take the oldest answer that waits."""
        del repeatable, patient
        self.write(command)
        return self.read()

    def read(self) -> str:
        """Take the oldest answer that waits, as a port does."""
        self.trap()
        if not self.waiting:
            raise LinkTimeoutError(f"{self.name}: no answer in time")
        return self.waiting.popleft().strip()

    def steady(self) -> SteadyLink:
        """Give a steady link over it; opened again, nothing waits in it."""

        def opened() -> Wire:
            self.waiting.clear()
            self.closed = 0
            return self

        link = SteadyLink(
            opened, name=self.name, identity_query="*IDN?", sleep=lambda _: None
        )
        link.introduce()
        return link

    def doubt(self) -> None:
        """Count it."""
        self.troubles += 1

    def hurry(self, rest_s: float = 0.0) -> contextlib.AbstractContextManager[None]:
        """Nothing to hurry."""
        del rest_s
        return contextlib.nullcontext()

    def paced(self, pause_s: float) -> contextlib.AbstractContextManager[None]:
        """Nothing that needs a rest."""
        del pause_s
        return contextlib.nullcontext()

    def close(self) -> None:
        """Count it."""
        self.closed += 1


class Obeying:
    """What all fake instruments share: identity and error queue."""

    def __init__(self) -> None:
        self.errors: deque[str] = deque()
        self.answers: dict[str, str] = {}  # fixed answers, over the usual ones
        self.silent_at: set[str] = set()
        self.events = 128  # power on (IEEE 488.2, 11.5.1.1)

    def obey(self, command: str) -> str | None:
        """Do it; what there is to answer, or None."""
        if command in self.silent_at:
            return None
        if command in self.answers:
            return self.answers[command]
        if command == "*IDN?":
            return "INVENTED,FAKE,0,1"
        if command == "*ESR?":
            events, self.events = self.events, 0
            return str(events)
        if command == "SYSTem:ERRor?":
            return self.errors.popleft() if self.errors else '0,"No error"'
        return self.own(command)

    def own(self, command: str) -> str | None:
        """Do what only this kind of instrument does."""
        raise NotImplementedError


class FakeGenerator(Obeying):
    """Speaks the bundled generator dialects; rounds and clips where asked to."""

    def __init__(self) -> None:
        super().__init__()
        self.frequency_hz, self.level, self.on = 1e6, 0.1, False
        self.step_hz, self.highest_hz = 0.01, 60e6
        self.level_step, self.highest_level = 1e-9, 1e3
        self.stuck_on = False

    def own(self, command: str) -> str | None:
        """Set or answer."""
        head, _, value = command.partition(" ")
        if head == "SOURce:FREQuency:CW":
            wanted = round(float(value) / self.step_hz) * self.step_hz
            if wanted > self.highest_hz:
                self.errors.append('-222,"Data out of range"')
            self.frequency_hz = min(wanted, self.highest_hz)
        elif head == "SOURce:FREQuency:CW?":
            return f"{self.frequency_hz:.14E}"
        elif head.endswith("AMPLitude"):
            wanted = round(float(value) / self.level_step) * self.level_step
            self.level = min(wanted, self.highest_level)
        elif head.endswith("AMPLitude?"):
            return f"{self.level:.9E}"
        elif head == "OUTPut:STATe":
            self.on = value == "ON" or (self.on and self.stuck_on)
        elif head == "OUTPut:STATe?":
            return "1" if self.on else "0"
        return None


class FakeScope(Obeying):
    """A scope with steps; clipped it answers SCPI's infinity."""

    def __init__(self) -> None:
        super().__init__()
        self.signal_v = 0.3
        self.steps = [m * 10.0**e for e in (-3, -2, -1, 0) for m in (1, 2, 5)] + [10.0]
        self.scale, self.averages = 1.0, 1
        self.readings: deque[str] = deque()  # answers to be given first

    def own(self, command: str) -> str | None:
        """Set or answer."""
        head, _, value = command.partition(" ")
        if head == "CHANnel1:SCALe":
            wanted = float(value) * (1.0 - 1e-6)
            at_least = [step for step in self.steps if step >= wanted]
            self.scale = min(at_least, default=self.steps[-1])
        elif head == "CHANnel1:SCALe?":
            return f"{self.scale:.6E}"
        elif head == "ACQuire:AVERage:COUNt":
            self.averages = int(value)
        elif head == "ACQuire:AVERage:COUNt?":
            return str(self.averages)
        elif head == "MEASure:VRMS?":
            if self.readings:
                return self.readings.popleft()
            peak_v = self.signal_v * 2.0**0.5
            clipped = peak_v > 4.0 * self.scale
            return "9.90000000E+37" if clipped else f"{self.signal_v:.8E}"
        return None


@pytest.fixture
def fake() -> SimpleNamespace:
    """The fake link and instruments, as classes."""
    return SimpleNamespace(Wire=Wire, Generator=FakeGenerator, Scope=FakeScope)


@pytest.fixture
def bench_toml() -> str:
    """An invented bench file's text."""
    return BENCH_TOML


@pytest.fixture
def bench_path(tmp_path: Path) -> Path:
    """The invented bench file on disk."""
    path = tmp_path / "bench.toml"
    path.write_text(BENCH_TOML, encoding="utf-8")
    return path


@pytest.fixture
def fake_bench(bench_path: Path) -> Callable[[], SimpleNamespace]:
    """Make a bench on fake links, started; its parts can be looked into."""

    def make() -> SimpleNamespace:
        file = load_bench_file(bench_path)
        source, scope = FakeGenerator(), FakeScope()
        wires = Wire(source, name="generator"), Wire(scope, name="detector")
        folder = Path()
        generator = Generator(
            wires[0].steady(),
            dialect=load_generator_dialect("generator-volts", folder=folder),
            source_ohm=50.0,
        )
        detector = Detector(
            wires[1].steady(),
            dialect=load_detector_dialect("scope-vrms", folder=folder),
            sleep=lambda _: None,
        )
        generator.start()
        detector.start()
        slept: list[float] = []
        bench = Bench(
            file,
            generator=generator,
            detector=detector,
            sleep=slept.append,
            clock=lambda: sum(slept),
        )
        return SimpleNamespace(
            bench=bench, source=source, scope=scope, wires=wires, slept=slept
        )

    return make
