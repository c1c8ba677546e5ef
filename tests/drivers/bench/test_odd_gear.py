"""Odd instruments on plain sockets, by dialects as a stranger would write them.

Neither shares a line with the project: the generator greets, has no identity and
queues bare numbers; the detector greets, answers three fields, must be tuned, and
answers 9.91E37 both where there is too little and where there is too much. Between
them is a tank, from circuit arithmetic written out here.
"""

import math
import socketserver
import threading
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import pyvisa

from halfpower.analysis import Setting
from halfpower.drivers import load_bench_file, open_bench
from halfpower.drivers.dialects import learn_dialect
from halfpower.drivers.errors import GreetingError, InstrumentError, SettingError
from halfpower.sweeps import Span, measure_resonance

L_H, C_F, COUPLING_F, R_OHM = 3.3e-6, 165e-12, 1.0e-12, 25e3


def tank(frequency_hz: float) -> float:
    """Share of the e.m.f. that is on the tank: 1 pF into L, C and R in parallel."""
    s = 2j * math.pi * frequency_hz
    tank_s = s * C_F + 1.0 / (s * L_H) + 1.0 / R_OHM
    return float(abs(s * COUPLING_F / (s * COUPLING_F + tank_s)))


class Source:
    """Frequency in kHz, level in dBm into 50 ohm, errors as bare numbers."""

    greeting = "INVENTED SOURCE, READY"

    def __init__(self) -> None:
        self.khz, self.dbm, self.on, self.drift = 1000.0, -30.0, False, 1.0
        self.errors: list[int] = []

    @property
    def emf_v(self) -> float:
        """Twice the voltage across 50 ohm; it drifts without saying so."""
        on_load_v = math.sqrt(1e-3 * 10.0 ** (self.dbm / 10.0) * 50.0)
        return 2.0 * on_load_v * self.on * self.drift

    def obey(self, line: str) -> str | None:
        """Obey, and answer questions; *IDN? is none that it knows."""
        match line.split():
            case ["FR?"]:
                return f"FR {self.khz:.4f} KZ"
            case ["AP?"]:
                return f"{self.dbm:.3f}"
            case ["RF?"]:
                return "1" if self.on else "0"
            case ["ERR?"]:
                return str(self.errors.pop(0) if self.errors else 0)
            case ["FR", khz]:
                self.khz = float(khz)
            case ["AP", dbm]:
                self.dbm = float(dbm)
            case ["RF", word]:
                self.on = word == "ON"
            case _:
                self.errors.append(-113)
        return None


class Receiver:
    """Hears 5 kHz about where it was tuned; flat and clipped it has no number."""

    greeting = "WELCOME TO THE INVENTED RECEIVER"

    def __init__(self, source: Source) -> None:
        self.source, self.tuned_hz = source, 1e6
        self.least_v, self.most_v = 0.3e-3, 2.0
        self.errors: list[int] = []

    def obey(self, line: str) -> str | None:
        """Answer status, volts and its reference channel."""
        match line.split():
            case ["*IDN?"]:
                return "INVENTED,RECEIVER,7,1"
            case ["TUNE?"]:
                return f"{self.tuned_hz:.1f}"
            case ["ERR?"]:
                return str(self.errors.pop(0) if self.errors else 0)
            case ["LEV?"]:
                source = self.source
                hears = abs(source.khz * 1e3 - self.tuned_hz) < 5e3
                volts = source.emf_v * tank(source.khz * 1e3) * hears
                has_value = self.least_v <= volts <= self.most_v
                said = f"{volts:.5E}" if has_value else "9.91000E+37"
                return f"1;{said};{source.emf_v / 2.0:.5E}"
            case ["TUNE", hertz]:
                self.tuned_hz = round(float(hertz), -1)
            case _:
                self.errors.append(-113)
        return None


class Server(socketserver.ThreadingTCPServer):
    """One instrument on one port of this machine."""

    daemon_threads = True

    def __init__(self, instrument: Any) -> None:
        self.instrument = instrument
        super().__init__(("127.0.0.1", 0), Talk)

    @property
    def resource(self) -> str:
        """Its name for VISA."""
        return f"TCPIP0::127.0.0.1::{self.server_address[1]}::SOCKET"


class Talk(socketserver.StreamRequestHandler):
    """Greet whoever connects, then answer line by line."""

    def handle(self) -> None:
        """Until the other end goes."""
        instrument = self.server.instrument  # type: ignore[attr-defined]
        if instrument.greeting:
            self.wfile.write(f"{instrument.greeting}\r\n".encode())
        for line in self.rfile:
            answer = instrument.obey(line.decode().strip())
            if answer is not None:
                self.wfile.write(f"{answer}\r\n".encode())


BENCH = """\
[generator]
resource = "{generator}"
dialect = "source.toml"
level = "0.5V"
frequency_reference = "2ppm"
timeout = "0.5s"

[detector]
resource = "{detector}"
dialect = "receiver.toml"
input_resistance = "1Mohm +- 5%"
linearity = "0.1%"
timeout = "0.5s"

[fixture]
kind = "coupled-tank"
coupling_capacitance = "1.0pF +- 10%"
stray_capacitance = "5.0pF +- 0.5pF"

[limits]
lowest_frequency = "1MHz"
highest_frequency = "60MHz"
"""
SOURCE = """\
kind = "generator"
[link]
write_termination = "\\n"
read_termination = "\\r\\n"
greeting = true
[start]
commands = ["RF OFF"]
[frequency]
set = "FR {frequency_khz:.4f}"
read = "FR?"
header = "FR"
suffixes = { KZ = 1e3 }
[level]
set = "AP {level:.3f}"
read = "AP?"
unit = "dBm"
load_ohm = 50.0
[output]
on = "RF ON"
off = "RF OFF"
read = "RF?"
[common]
error = "ERR?"
error_form = "number"
"""
RECEIVER = """\
kind = "detector"
[link]
read_termination = "\\r\\n"
greeting = true
[tuning]
set = "TUNE {frequency_hz:.0f}"
read = "TUNE?"
tolerance_hz = 20.0
[reading]
read = "LEV?"
unit = "Vrms"
field = 2
separator = ";"
nothing = [9.91e37]
[common]
identity = "*IDN?"
error = "ERR?"
error_form = "number"
"""
REFERENCE = """\
[reference]
read = "LEV?"
unit = "Vrms"
field = 3
separator = ";"
"""


class Gear:
    """Both instruments, served, and their files in a folder."""

    def __init__(self, folder: Path) -> None:
        self.source = Source()
        self.receiver = Receiver(self.source)
        self.servers = [Server(one) for one in (self.source, self.receiver)]
        self.folder = folder
        self.bench = BENCH
        self.source_text, self.receiver_text = SOURCE, RECEIVER

    def opened(self) -> Any:
        """Open the bench by its files."""
        generator, detector = (one.resource for one in self.servers)
        text = self.bench.replace("{generator}", generator)
        for name, content in (
            ("bench", text.replace("{detector}", detector)),
            ("source", self.source_text),
            ("receiver", self.receiver_text),
        ):
            path = self.folder / f"{name}.toml"
            path.write_text(content, encoding="utf-8")
        return open_bench(
            load_bench_file(self.folder / "bench.toml"),
            folder=self.folder,
            sleep=lambda _: None,
            clock=lambda: 0.0,
        )


@pytest.fixture
def gear(tmp_path: Path) -> Iterator[Gear]:
    """The two, served until the test ends."""
    made = Gear(tmp_path)
    for server in made.servers:
        threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True).start()
    yield made
    for server in made.servers:
        server.shutdown()
        server.server_close()


def test_f0_and_q_are_the_circuit_s(gear: Gear) -> None:
    """Of the tank above, f0 = 1 / (2 pi sqrt(L T)), Q = R sqrt(T / L), T = C + Cc.

    The receiver is exact to six digits and the generator to 0.1 Hz. What is left is
    the law of the loss, which is taken for a coil's and is a parallel resistance's
    here: a share of 1/Q**2 = 3e-5 in f0 and in Q.
    """
    total_f = C_F + COUPLING_F
    with gear.opened() as bench:
        result = measure_resonance(bench, Span(lowest_hz=6e6, highest_hz=8e6))
    found = {one.name: one.value for one in result.quantities}
    f0_hz = 1.0 / (2.0 * math.pi * math.sqrt(L_H * total_f))
    assert found["resonant_frequency"] == pytest.approx(f0_hz, rel=1e-5)
    q = R_OHM * math.sqrt(total_f / L_H)
    assert found["loaded_q"] == pytest.approx(q, rel=2e-4)
    assert gear.source.on is False


def test_the_receiver_is_tuned_at_every_step(gear: Gear) -> None:
    """Untuned it hears nothing."""
    with gear.opened() as bench, bench.driven():
        for hz in (6.7e6, 6.8e6, 6.9e6):
            assert bench.read(Setting(frequency_hz=hz)).amplitude_v > 0.0
            assert gear.receiver.tuned_hz == hz


def test_who_has_no_identity_is_known_by_its_place(gear: Gear) -> None:
    """The record says so, and no *IDN? was sent (it would queue -113)."""
    with gear.opened() as bench:
        said = bench.identities["generator"]
        assert said == f"an instrument without identity at {gear.servers[0].resource}"
        assert gear.source.errors == []


def test_a_refusal_as_a_bare_number_is_one(gear: Gear) -> None:
    """-113 is SCPI-99's "Undefined header" (volume 2, 21.8.9)."""
    gear.source_text = SOURCE.replace('"RF OFF"]', '"RF OFF", "NONSENSE"]')
    with pytest.raises(InstrumentError, match="-113"):
        gear.opened()


def test_a_greeting_that_nobody_expected_is_recognised(gear: Gear) -> None:
    """By the identity that comes one line late; the sentence names the key."""
    gear.receiver_text = RECEIVER.replace("greeting = true", "greeting = false")
    with pytest.raises(
        GreetingError, match=r"WELCOME.*`greeting = true` under \[link\]"
    ):
        gear.opened()


def test_a_greeting_is_learnt(gear: Gear) -> None:
    """And written into the dialect; the receiver knows READ? for a day."""
    own = gear.receiver.obey
    gear.receiver.obey = (  # type: ignore[method-assign]
        lambda line: "1.5E-3" if line == "READ?" else own(line)
    )
    manager = pyvisa.ResourceManager("@py")
    text = learn_dialect(
        manager,
        resource=gear.servers[1].resource,
        timeout_s=0.1,
        today=date(2001, 2, 3),
        locked=False,
    )
    manager.close()
    assert "greeting = true" in text
    assert 'read = "READ?"' in text


def test_a_receiver_that_does_not_go_there_is_refused(gear: Gear) -> None:
    """It rounds to 10 Hz, and its dialect allows a millionth."""
    gear.receiver_text = RECEIVER.replace("tolerance_hz = 20.0\n", "")
    with (
        gear.opened() as bench,
        bench.driven(),
        pytest.raises(SettingError, match=r"2000004 Hz and stands at 2000000 Hz"),
    ):
        bench.read(Setting(frequency_hz=2000004.0))


def test_a_dead_reference_is_refused(gear: Gear) -> None:
    """A ratio to nothing is none."""
    gear.receiver_text += REFERENCE
    gear.source.drift = 0.0
    with (
        gear.opened() as bench,
        bench.driven(),
        pytest.raises(SettingError, match="reference channel reads nothing"),
    ):
        bench.read(Setting(frequency_hz=6.8e6))


def test_a_drifting_level_drops_out_against_the_reference(gear: Gear) -> None:
    """A tenth less from the generator, and the reading stays; a told level counts."""
    gear.receiver_text += REFERENCE
    setting = Setting(frequency_hz=6.8e6)
    with gear.opened() as bench, bench.driven():
        first_v = bench.read(setting).amplitude_v
        gear.source.drift = 0.9
        assert bench.read(setting).amplitude_v == pytest.approx(first_v, rel=1e-4)
        bench.generator.set_emf(0.25)
        assert bench.read(setting).amplitude_v == pytest.approx(first_v / 2.0, rel=1e-3)
        assert "ratio" in bench.identities["reference"]


@pytest.mark.parametrize("pattern", ["*receiver*", "INVENTED,?ECEIVER,*"])
def test_whom_the_bench_file_expects_is_let_in(gear: Gear, pattern: str) -> None:
    """By a pattern, whatever the letters' case."""
    gear.bench = BENCH.replace(
        'dialect = "receiver', f'identity = "{pattern}"\ndialect = "receiver'
    )
    gear.opened().close()


def test_somebody_else_is_refused_before_anything_is_set(gear: Gear) -> None:
    """With exit status 3, by one sentence."""
    gear.source.on = True
    gear.bench = BENCH.replace(
        'dialect = "receiver', 'identity = "*VOLTMETER*"\ndialect = "receiver'
    )
    with pytest.raises(InstrumentError, match=r"VOLTMETER.*RECEIVER,7,1") as refused:
        gear.opened()
    assert refused.value.exit_status == 3
    assert gear.source.on is True  # not even its start commands were sent


def test_swapped_resources_are_told_as_such(gear: Gear) -> None:
    """Each answers as the other is expected to."""
    own = gear.source.obey

    def named(line: str) -> str | None:
        return "INVENTED,SOURCE,3,1" if line == "*IDN?" else own(line)

    gear.source.obey = named  # type: ignore[method-assign]
    gear.source_text = SOURCE.replace("[common]", '[common]\nidentity = "*IDN?"')
    gear.bench = (
        BENCH.replace("{generator}", "{x}")
        .replace("{detector}", "{generator}")
        .replace("{x}", "{detector}")
        .replace('dialect = "source', 'identity = "*SOURCE*"\ndialect = "source')
        .replace('dialect = "receiver', 'identity = "*RECEIVER*"\ndialect = "receiver')
    )
    with pytest.raises(InstrumentError, match="the two resources are swapped"):
        gear.opened()
