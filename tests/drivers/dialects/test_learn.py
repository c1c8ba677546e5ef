"""Learning a dialect: nothing is changed, and what is written loads."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import pyvisa
from hypothesis import example, given
from hypothesis import strategies as st

from halfpower.analysis import InputError, Setting
from halfpower.cli.at_bench import bundled_bench_file
from halfpower.drivers.dialects import (
    learn_dialect,
    load_detector_dialect,
    load_generator_dialect,
)
from halfpower.drivers.dialects.dialect import check_dialect_text
from halfpower.drivers.dialects.dialect_writer import dialect_text
from halfpower.drivers.dialects.interview import Asked, Findings, interview
from halfpower.drivers.errors import ReplyError, TransportError
from halfpower.sim import load_scene, open_visa

DAY = date(2001, 2, 3)
SCENES = [
    ("kit-coil", "generator"),
    ("kit-coil", "detector"),
    ("kit-coil-power", "detector"),
    ("kit-coil-voltmeter", "detector"),
    ("kit-coil-diode", "generator"),
    ("kit-coil-diode", "detector"),
]


def learnt(scene: str, role: str, *, trace: Path | None = None) -> str:
    """What is written of a scene's instrument."""
    simulated = load_scene(scene).build(seed=1)
    manager = open_visa(simulated)
    try:
        return learn_dialect(
            manager,
            resource=simulated.resources[role],
            timeout_s=0.5,
            today=DAY,
            locked=False,
            sleep=simulated.clock.sleep,
            trace=trace,
        )
    finally:
        manager.close()


@pytest.mark.parametrize(("scene", "role"), SCENES)
def test_what_is_learnt_loads_without_a_mistake(
    scene: str, role: str, tmp_path: Path
) -> None:
    """As the kind that it is."""
    (tmp_path / "learnt.toml").write_text(learnt(scene, role), encoding="utf-8")
    load = load_generator_dialect if role == "generator" else load_detector_dialect
    assert load("learnt.toml", folder=tmp_path).common.error == "SYSTem:ERRor?"


@pytest.mark.parametrize(("scene", "role"), SCENES)
def test_only_queries_are_sent(scene: str, role: str, tmp_path: Path) -> None:
    """Every line to the instrument is a query, and none begins a MEASure of a meter."""
    trace = tmp_path / "trace.txt"
    text = learnt(scene, role, trace=trace)
    lines = trace.read_text(encoding="ascii").splitlines()
    sent = [line.partition(" > ")[2] for line in lines if " > " in line]
    assert len(sent) > 10
    assert all("?" in one for one in sent)
    if "[range]" not in text:  # no scope
        assert not any("MEAS" in one.upper() for one in sent)


@pytest.mark.parametrize("scene", ["kit-coil", "kit-coil-diode"])
def test_output_and_settings_stay_as_they_were(scene: str) -> None:
    """A generator that was set, and driving, drives on."""
    simulated = load_scene(scene).build(seed=1)
    manager = open_visa(simulated)
    source: Any = manager.open_resource(simulated.resources["generator"])
    source.read_termination = source.write_termination = "\n"
    source.write("FREQ 6.7E6;:POW -3;:OUTP ON")
    questions = ("FREQ?", "POW?", "OUTP?")
    before = [source.query(one) for one in questions]
    learn_dialect(
        manager,
        resource=simulated.resources["generator"],
        timeout_s=0.5,
        today=DAY,
        locked=False,
        sleep=simulated.clock.sleep,
    )
    assert [source.query(one) for one in questions] == before
    manager.close()


def test_a_learnt_bench_measures_like_the_bundled_one(
    open_on_scene: Callable[..., Any], tmp_path: Path
) -> None:
    """Both instruments of the scope's scene by what was learnt of them."""
    text = bundled_bench_file("kit-coil").read_text(encoding="utf-8")
    for name, role in (("generator-volts", "generator"), ("scope-vrms", "detector")):
        (tmp_path / f"{role}.toml").write_text(learnt("kit-coil", role), "utf-8")
        text = text.replace(name, f"{role}.toml")
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    setting = Setting(frequency_hz=6.7e6, settle_s=1e-3)
    read = []
    for bench_file in (None, tmp_path / "bench.toml"):
        opening = open_on_scene("kit-coil", bench_file=bench_file)
        with opening as (bench, _), bench.driven():
            read.append(bench.read(setting).amplitude_v)
    assert read[1] == pytest.approx(read[0], rel=0.01)


class Terse:
    """An invented old instrument: units in its answers, a register for errors."""

    def __init__(self) -> None:
        self.register = 0
        self.answers = {
            "*IDN?": "INVENTED,TERSE,0,0",
            "OUTPut?": "0",
            "FREQuency?": "FREQ 1000000.0 Hz",
            "POWer?": "POW -10.0 dBm",
        }

    def obey(self, command: str) -> str | None:
        """Answer what it knows."""
        if command == "*ESR?":
            value, self.register = self.register, 0
            return str(value)
        answer = self.answers.get(command)
        if answer is None:
            self.register |= 32
        return answer


def test_headers_units_and_a_register_are_learnt(fake: SimpleNamespace) -> None:
    """From the answers' own form."""
    link = fake.Wire(Terse(), name="the instrument")
    findings = interview(link, identity="INVENTED,TERSE,0,0")
    text = dialect_text(findings, resource="GPIB0::1::INSTR", today=DAY)
    check_dialect_text(text, kind="generator")
    for line in (
        'set = "FREQuency {frequency_hz:.3f}"',
        'header = "FREQ "',
        'suffixes = { "Hz" = 1.0 }',
        'suffixes = { "dBm" = 1.0 }',
        'error_form = "register"',
        'off = "OUTPut OFF"',
    ):
        assert line in text


def written(fake: SimpleNamespace, instrument: Any, *, set_up: bool = False) -> str:
    """Interview it, and write its dialect; it loads."""
    link = fake.Wire(instrument, name="the instrument")
    findings = interview(
        link, identity="INVENTED", set_up=link.slept.append if set_up else None
    )
    text = dialect_text(findings, resource="GPIB0::1::INSTR", today=DAY)
    check_dialect_text(text, kind=findings.kind)
    return text


@pytest.mark.parametrize(
    ("answers", "lines"),
    [
        (
            {"VOLTage?": "0.5 VPP"},
            ['unit = "Vpp"  # as its', 'suffixes = { "VPP" = 1.0 }'],
        ),
        (
            {"VOLTage?": "0.5", "VOLTage:UNIT?": "VPP"},
            ['unit = "Vpp"  # as it stood', '"VOLTage:UNIT VPP"'],
        ),
        (
            {"VOLTage?": "-10", "VOLTage:UNIT?": '"DBM"'},
            ['unit = "dBm"  # as it stood', '"VOLTage:UNIT DBM"'],
        ),
        (
            {"VOLTage?": "1", "VOLTage:UNIT?": "VPK"},
            ['unit = "Vrms"  # CHECK', '"VOLTage:UNIT VRMS"'],
        ),
        (
            {"VOLTage?": "500 mVrms"},
            ['suffixes = { "mVrms" = 0.001 }', 'unit = "Vrms"'],
        ),
        ({"VOLTage?": "0.5"}, ['unit = "Vrms"  # CHECK: it does not say']),
    ],
)
def test_the_unit_that_a_generator_says_is_believed(
    fake: SimpleNamespace, answers: dict[str, str], lines: list[str]
) -> None:
    """VPP read as VRMS would be wrong by 2 sqrt(2)."""
    terse = Terse()
    del terse.answers["POWer?"]
    terse.answers |= answers
    text = written(fake, terse)
    for line in lines:
        assert line in text


class Meter(Terse):
    """A meter with a bare-number queue and a register, and nothing set up."""

    def __init__(self) -> None:
        super().__init__()
        self.answers = {"*IDN?": "INVENTED,METER"}
        self.queue: list[int] = []
        self.set: list[str] = []

    def obey(self, command: str) -> str | None:
        """Answer, queue what it does not know, keep what sets it."""
        if command == "SYSTem:ERRor?":
            return str(self.queue.pop(0) if self.queue else 0)
        if "?" not in command:
            self.set.append(command)
            if command == "CONFigure:VOLTage:AC":
                self.answers["READ?"] = "1.5E-3"
                return None
        answer = super().obey(command)
        if answer is None:
            self.queue.append(-113)
        return answer


def test_a_unit_behind_a_reading_is_believed(fake: SimpleNamespace) -> None:
    """And a queue of bare numbers is learnt."""
    meter = Meter()
    meter.answers["READ?"] = "12.5 mVPP"
    text = written(fake, meter)
    assert 'unit = "Vpp"  # as its answer says' in text
    assert 'suffixes = { "mVPP" = 0.001 }' in text
    assert 'error_form = "number"' in text


def test_one_of_several_numbers_is_to_be_checked(fake: SimpleNamespace) -> None:
    """Which of them is meant the instrument does not say."""
    meter = Meter()
    meter.answers["READ?"] = "1,0.5,7"
    assert "field = 1  # CHECK: which of the 3" in written(fake, meter)


def test_an_answer_that_only_the_register_refuses_is_not_believed(
    fake: SimpleNamespace,
) -> None:
    """The queue says 0 and *ESR? has the command error (IEEE 488.2, 11.5.1)."""
    meter = Meter()
    meter.answers |= {"READ?": "0", "FETCh?": "0.25"}
    own = meter.obey

    def obey(command: str) -> str | None:
        answer = own(command)
        meter.queue.clear()
        meter.register |= 32 * (command == "READ?")
        return answer

    meter.obey = obey  # type: ignore[method-assign]
    assert 'read = "FETCh?"' in written(fake, meter)


@pytest.mark.parametrize("allowed", [False, True])
def test_a_meter_is_set_up_only_where_that_is_allowed(
    fake: SimpleNamespace, *, allowed: bool
) -> None:
    """Else it gets queries alone; what set it up goes into [start], and the head."""
    meter = Meter()
    meter.answers["CONFigure?"] = '"VOLT +1.0E+1"'
    text = written(fake, meter, set_up=allowed)
    assert meter.set == ["CONFigure:VOLTage:AC"] * allowed
    assert ('commands = ["*CLS", "CONFigure:VOLTage:AC"]' in text) is allowed
    assert ("CONFigure:VOLTage:AC was sent" in text) is allowed
    assert 'read = "READ?"' in text


def test_a_meter_that_reads_is_set_up_as_it_stands(fake: SimpleNamespace) -> None:
    """Its function goes into [start]: after a power cut it would be another."""
    meter = Meter()
    meter.answers |= {"SENSe:FUNCtion?": '"VOLT:AC"', "READ?": "1E-3"}
    text = written(fake, meter)
    assert meter.set == []
    assert r'"SENSe:FUNCtion \"VOLT:AC\""' in text


def test_a_finest_scale_as_coarse_as_the_coarsest_is_to_be_checked(
    fake: SimpleNamespace,
) -> None:
    """It ignored MINimum and MAXimum, and told the scale that it stands at."""
    scope = Meter()
    scope.answers |= {
        f"CHANnel1:SCALe?{end}": "0.5" for end in ("", " MINimum", " MAXimum")
    }
    scope.answers["MEASure:VRMS? CHANnel1"] = "0.1"
    text = written(fake, scope)
    assert "lowest = 0.002  # V/div; CHECK: it answered both alike" in text
    assert "highest = 10.0  # V/div; CHECK: it answered both alike" in text


def test_an_instrument_that_knows_nothing_is_refused(fake: SimpleNamespace) -> None:
    """It has an identity, and nothing to build on."""
    terse = Terse()
    terse.answers = {}
    link = fake.Wire(terse, name="the instrument")
    with pytest.raises(ReplyError, match="knows none of the forms"):
        interview(link, identity="INVENTED,MUTE,0,0")


@pytest.mark.parametrize("name", ["nonsense", "", "TCPIP"])
def test_what_is_no_resource_name_is_refused(name: str) -> None:
    """As a mistake of the person's, not of an instrument."""
    manager = open_visa(load_scene("kit-coil").build(seed=1))
    with pytest.raises(InputError, match="no VISA resource name"):
        learn_dialect(manager, resource=name, timeout_s=0.5, today=DAY)
    manager.close()


def test_nothing_at_the_other_end_is_a_link_s_failure() -> None:
    """A closed port of this machine."""
    manager = pyvisa.ResourceManager("@py")
    with pytest.raises(TransportError):
        learn_dialect(
            manager,
            resource="TCPIP0::127.0.0.1::9::SOCKET",
            timeout_s=0.2,
            today=DAY,
            locked=False,
            sleep=lambda _: None,
        )
    manager.close()


ANSWER = st.text(max_size=40)


@example(identity="", answers=["", "", "", "", "11", ""])  # finest above coarsest
@given(identity=ANSWER, answers=st.lists(ANSWER, min_size=6, max_size=6))
def test_whatever_is_answered_the_text_loads(identity: str, answers: list[str]) -> None:
    """Quotes, line ends and letters of any script are answers too."""
    names = (
        "reading",
        "scale",
        "averages",
        "scope reading",
        "finest scale",
        "function",
    )
    known = {
        name: Asked(query=f"{name.upper().replace(' ', ':')}?", answer=answer)
        for name, answer in zip(names, answers, strict=True)
    }
    findings = Findings(
        identity=identity,
        kind="detector",
        error_form=None,
        known=known,
        asked=tuple(known.values()),
    )
    text = dialect_text(findings, resource=identity, today=DAY)
    check_dialect_text(text, kind="detector")
