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
        error_form="none",
        known=known,
        asked=tuple(known.values()),
    )
    text = dialect_text(findings, resource=identity, today=DAY)
    check_dialect_text(text, kind="detector")
