"""A detector's ranges followed: clipped, too coarse, stuck, and out of range."""

import math
from pathlib import Path
from types import SimpleNamespace

import pytest

from halfpower.drivers.dialects import load_detector_dialect
from halfpower.drivers.errors import LinkTimeoutError, ReplyError, SettingError
from halfpower.drivers.instruments import Detector


def rms_of_full_screen(volts_per_division: float) -> float:
    """R.m.s. of a sine that is eight divisions from peak to peak."""
    return 8.0 * volts_per_division / 2.0 / math.sqrt(2.0)


@pytest.fixture
def rig(fake: SimpleNamespace) -> SimpleNamespace:
    """A scope on a fake link, not yet started."""
    scope = fake.Scope()
    wire = fake.Wire(scope, name="detector")
    dialect = load_detector_dialect("scope-vrms", folder=Path())
    return SimpleNamespace(
        driver=Detector(wire, dialect=dialect), scope=scope, wire=wire
    )


@pytest.mark.parametrize("signal_v", [1e-5, 1e-3, 0.03, 0.3, 1.0, 7.0, 28.0])
def test_a_signal_is_read_on_a_range_that_it_fills(
    rig: SimpleNamespace, signal_v: float
) -> None:
    """Over six decades, neither clipped nor below a tenth unless on the finest."""
    rig.driver.start()
    rig.scope.signal_v = signal_v
    got = rig.driver.read()
    assert got.amplitude_v == pytest.approx(signal_v)
    assert got.range_v == pytest.approx(rms_of_full_screen(rig.scope.scale))
    assert signal_v <= got.range_v
    assert signal_v > 0.1 * got.range_v or rig.scope.scale == 0.002


def test_one_stray_error_while_averaging_is_set_is_no_refusal(
    rig: SimpleNamespace,
) -> None:
    """It stands in the queue once; a real refusal stands there every time."""
    obey, strayed = rig.scope.obey, []

    def straying(command: str) -> str | None:
        if "COUNt " in command and not strayed:
            strayed.append(command)
            rig.scope.errors.append('-350,"Queue overflow"')
        answer: str | None = obey(command)
        return answer

    rig.scope.obey = straying
    rig.driver.start()
    rig.scope.signal_v = 0.3
    assert strayed
    assert rig.driver.read().amplitude_v == pytest.approx(0.3)


def test_a_rising_and_falling_signal_is_followed_both_ways(
    rig: SimpleNamespace,
) -> None:
    """Up a peak and down again, every reading is the signal."""
    rig.driver.start()
    for signal_v in [0.001, 0.02, 0.5, 9.0, 0.5, 0.02, 0.001]:
        rig.scope.signal_v = signal_v
        assert rig.driver.read().amplitude_v == pytest.approx(signal_v)


def test_clipped_on_the_coarsest_range_is_an_overload(rig: SimpleNamespace) -> None:
    """There is nowhere to go, and the reading is refused."""
    rig.driver.start()
    rig.scope.signal_v = 40.0
    with pytest.raises(SettingError, match="overloaded"):
        rig.driver.read()


def test_a_scope_coarser_in_the_dialect_than_on_the_bench_is_overloaded_too(
    rig: SimpleNamespace,
) -> None:
    """The instrument's own coarsest range is the end, whatever the dialect says."""
    rig.scope.steps = [0.002, 0.01, 0.1, 1.0]
    rig.driver.start()
    rig.scope.signal_v = 20.0
    with pytest.raises(SettingError, match="overloaded"):
        rig.driver.read()


def test_a_scope_finer_in_the_dialect_than_on_the_bench_still_reads(
    rig: SimpleNamespace,
) -> None:
    """A small signal on the instrument's finest range is a reading, not a failure."""
    rig.scope.steps = [0.01, 0.1, 1.0]
    rig.driver.start()
    rig.scope.signal_v = 1e-4
    got = rig.driver.read()
    assert got.amplitude_v == pytest.approx(1e-4)
    assert got.range_v == pytest.approx(rms_of_full_screen(0.01))


def test_a_signal_that_jumps_between_readings_gives_up_with_a_reason(
    rig: SimpleNamespace,
) -> None:
    """Clipped and lost in turn, the search for a range ends."""
    rig.driver.start()
    rig.scope.readings.extend(["9.9E37", "1E-6"] * 40)
    rig.scope.steps = [0.001 * 1.3**n for n in range(60)]
    with pytest.raises(SettingError, match="not steady"):
        rig.driver.read()


@pytest.mark.parametrize(
    ("reply", "error"),
    [
        ("9.91E37", SettingError),
        ("-9.9E37", SettingError),
        ("", ReplyError),
        ("****", ReplyError),
        ('0,"No error"', ReplyError),
    ],
)
def test_what_is_no_reading_is_never_an_amplitude(
    rig: SimpleNamespace, reply: str, error: type[Exception]
) -> None:
    """No number, SCPI's special ones, or another question's answer."""
    rig.driver.start()
    rig.scope.readings.extend([reply] * 3)  # nonsense is asked about again, twice
    with pytest.raises(error):
        rig.driver.read()


@pytest.mark.parametrize("scale", ["0", "-1", "9.9E37", ""])
def test_a_range_that_cannot_be_is_refused(rig: SimpleNamespace, scale: str) -> None:
    """A full scale of nothing would make every reading look clipped or tiny."""
    rig.scope.answers["CHANnel1:SCALe?"] = scale
    with pytest.raises(ReplyError):
        rig.driver.start()


def test_a_silent_detector_is_a_timeout(rig: SimpleNamespace) -> None:
    """No answer is the link's error, not a zero."""
    rig.driver.start()
    rig.scope.silent_at.add("MEASure:VRMS? CHANnel1")
    with pytest.raises(LinkTimeoutError):
        rig.driver.read()


@pytest.mark.parametrize(
    ("reply", "volts"),
    # 0 dBm is 1 mW, and sqrt(1 mW x 50 ohm) = 0.22361 V; no power is 0 V.
    [("0.0", 0.2236068), ("-20", 0.02236068), ("-9.9E37", 0.0)],
)
def test_a_power_meter_s_dbm_become_volts(
    fake: SimpleNamespace, reply: str, volts: float
) -> None:
    """Read across its own 50 ohm, with no range to follow."""
    meter = fake.Scope()
    meter.answers["MEASure:POWer:AC?"] = reply
    dialect = load_detector_dialect("power-meter-dbm", folder=Path())
    got = Detector(fake.Wire(meter), dialect=dialect).read()
    assert got.amplitude_v == pytest.approx(volts, rel=1e-6)
    assert got.range_v is None


@pytest.mark.parametrize(
    ("reply", "word"), [("9.9E37", "overloaded"), ("9.91E37", "no reading")]
)
def test_a_power_meter_s_overload_and_silence_differ(
    fake: SimpleNamespace, reply: str, word: str
) -> None:
    """Too much and nothing at all ask for different remedies."""
    meter = fake.Scope()
    meter.answers["MEASure:POWer:AC?"] = reply
    dialect = load_detector_dialect("power-meter-dbm", folder=Path())
    with pytest.raises(SettingError, match=word):
        Detector(fake.Wire(meter), dialect=dialect).read()


def test_an_r_m_s_value_below_zero_is_no_sense(rig: SimpleNamespace) -> None:
    """The root of a mean of squares is none; a sign is a fault."""
    rig.driver.start()
    rig.scope.answers["MEASure:VRMS? CHANnel1"] = "-3.00000000E-01"
    with pytest.raises(ReplyError, match="below zero"):
        rig.driver.read()


def test_a_change_of_range_is_waited_for(fake: SimpleNamespace) -> None:
    """Once for every change, before the next reading is asked for."""
    scope, heard = fake.Scope(), []
    wire = fake.Wire(scope, name="detector")
    driver = Detector(
        wire,
        dialect=load_detector_dialect("scope-vrms", folder=Path()),
        settle=lambda: heard.append(len(wire.sent)),
    )
    driver.start()
    heard.clear()
    scope.signal_v, n_before = 0.5, len(wire.sent)
    driver.read()
    changes = [k for k in range(n_before, len(wire.sent)) if ":SCALe " in wire.sent[k]]
    assert changes
    assert heard == [k + 2 for k in changes]  # set, read back, wait
    heard.clear()
    driver.read()
    assert heard == []
