"""Somebody else turns the generator's dials while it is measured with."""

import re
from collections.abc import Callable
from typing import Any

import pytest

from halfpower.analysis import Reading, Setting
from halfpower.drivers.errors import DriverError, SettingError
from halfpower.sim import SimulatedBench

OpenOnScene = Callable[..., Any]
AT = Setting(frequency_hz=6.7e6, settle_s=1e-3)


def turning(
    bench: Any, simulated: SimulatedBench, command: bytes, *, times: int
) -> list[bytes]:
    """Send the generator a command of another program's at the next settlings."""
    sent: list[bytes] = []
    wait = bench.sleep

    def meanwhile(seconds: float) -> None:
        if len(sent) < times:
            simulated.instruments["generator"].execute(command)
            sent.append(command)
        wait(seconds)

    bench.sleep = meanwhile
    return sent


def undisturbed(open_on_scene: OpenOnScene) -> Reading:
    """Read what there is with nobody about."""
    with open_on_scene("kit-coil") as (bench, _), bench.driven():
        reading: Reading = bench.read(AT)
        return reading


def test_a_frequency_turned_during_a_reading_is_noticed(
    open_on_scene: OpenOnScene,
) -> None:
    """The reading is taken again where it was asked for; why, is kept.

    At 8 MHz a tank of 6.7 MHz gives a fiftieth and less: the noise is 1 % and less.
    """
    quiet = undisturbed(open_on_scene)
    with open_on_scene("kit-coil") as (bench, simulated), bench.driven():
        turning(bench, simulated, b"FREQ 8 MHZ", times=1)
        reading = bench.read(AT)
        assert bench.retaken == 1
        said = (
            r"another program or person changes the generator: asked for 6700000 Hz, it"
            r" says 8000000 Hz"
        )
        assert re.search(said, bench.notes[0])
    assert reading.frequency_hz == 6.7e6
    assert reading.amplitude_v == pytest.approx(quiet.amplitude_v, rel=0.05)


def test_who_never_leaves_the_dial_alone_ends_the_measurement(
    open_on_scene: OpenOnScene,
) -> None:
    """After a few attempts, with one sentence that says so, the output off."""
    with open_on_scene("kit-coil") as (bench, simulated):
        turning(bench, simulated, b"FREQ 8 MHZ", times=1000)
        with (
            pytest.raises(DriverError, match="another program or person changes"),
            bench.driven(),
        ):
            bench.read(AT)
        assert simulated.instruments["generator"].execute(b"OUTP?") == b"0"


@pytest.mark.parametrize(
    ("command", "says"),
    [
        (b"VOLT 0.2", "asked for 0.5 Vrms, it says 0.2 Vrms"),
        (b"OUTP OFF", "its output was switched off"),
    ],
)
def test_a_level_or_an_output_turned_is_noticed_at_once(
    open_on_scene: OpenOnScene, command: bytes, says: str
) -> None:
    """The reading is taken again as it was asked for."""
    quiet = undisturbed(open_on_scene)
    with open_on_scene("kit-coil") as (bench, simulated), bench.driven():
        turning(bench, simulated, command, times=1)
        reading = bench.read(AT)
        assert bench.retaken == 1
        assert says in bench.notes[0]
    assert reading.amplitude_v == pytest.approx(quiet.amplitude_v, rel=0.05)


def test_nobody_about_is_nothing_noticed(open_on_scene: OpenOnScene) -> None:
    """Rounding of frequency and level is no other person, at any level."""
    with open_on_scene("kit-coil") as (bench, _):
        for level_v in (0.0123456, 0.1, 1.2345):
            with bench.driven(level_v):
                for frequency_hz in (1234567.891, 6.7e6, 59e6):
                    bench.read(Setting(frequency_hz=frequency_hz, settle_s=1e-3))
        assert bench.retaken == 0


def test_what_the_generator_refuses_is_nobody_else_s_doing(
    open_on_scene: OpenOnScene,
) -> None:
    """Out of its range: it is refused, and the drive goes on as it was."""
    with open_on_scene("kit-coil") as (bench, simulated):
        limits = bench.file.limits.model_copy(update={"highest_frequency_hz": 1e12})
        bench.file = bench.file.model_copy(update={"limits": limits})
        with bench.driven():
            bench.read(AT)
            with pytest.raises(SettingError, match="stay within its range"):
                bench.read(Setting(frequency_hz=1e10, settle_s=1e-3))
            assert simulated.instruments["generator"].execute(b"OUTP?") == b"1"
            assert not any("another program" in note for note in bench.notes)
            bench.read(AT)
