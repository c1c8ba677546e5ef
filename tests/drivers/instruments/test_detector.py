"""A detector's ranges followed: clipped, too coarse, stuck, and out of range."""

import math
from pathlib import Path
from types import SimpleNamespace

import pytest

from halfpower.drivers.dialects import load_detector_dialect
from halfpower.drivers.errors import (
    LinkTimeoutError,
    NoValueError,
    OverloadError,
    ReplyError,
    SettingError,
)
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
        driver=Detector(wire, dialect=dialect, sleep=wire.slept.append),
        scope=scope,
        wire=wire,
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


def test_clipped_on_every_range_is_refused(rig: SimpleNamespace) -> None:
    """There is nowhere to go; whether it is too much the bench can tell."""
    rig.driver.start()
    rig.scope.signal_v = 40.0
    with pytest.raises(NoValueError, match=r"any range up to 28\.3 V"):
        rig.driver.read()
    assert rig.scope.scale == 0.002


def test_a_scope_coarser_in_the_dialect_than_on_the_bench_is_refused_too(
    rig: SimpleNamespace,
) -> None:
    """The instrument's own coarsest range is the end, whatever the dialect says."""
    rig.scope.steps = [0.002, 0.01, 0.1, 1.0]
    rig.driver.start()
    rig.scope.signal_v = 20.0
    with pytest.raises(NoValueError, match=r"any range up to 2\.83 V"):
        rig.driver.read()


@pytest.fixture
def shy(rig: SimpleNamespace) -> SimpleNamespace:
    """A scope without a value below a tenth of full scale: its trigger sees no edge.

    Common practice, no published source: 9.91E37 stands for clipped and for flat.
    """
    own = rig.scope.own

    def answer(command: str) -> str | None:
        share = rig.scope.signal_v / rms_of_full_screen(rig.scope.scale)
        if command.startswith("MEASure") and not 0.1 <= share <= 1.0:
            return "9.91E+37"
        said: str | None = own(command)
        return said

    rig.scope.own = answer
    rig.driver.start()
    return rig


@pytest.mark.parametrize("before_v", [0.001, 0.3, 20.0])
@pytest.mark.parametrize("signal_v", [0.001, 0.01, 0.3, 2.0, 25.0])
def test_a_scope_that_answers_alike_to_flat_and_clipped_is_followed(
    shy: SimpleNamespace, before_v: float, signal_v: float
) -> None:
    """From any range to any signal, down as well as up."""
    shy.scope.signal_v = before_v
    shy.driver.read()
    shy.scope.signal_v = signal_v
    assert shy.driver.read().amplitude_v == pytest.approx(signal_v)


def test_no_value_on_any_range_leaves_the_finest_for_the_next_reading(
    shy: SimpleNamespace,
) -> None:
    """Not the coarsest, where the next small signal would be lost."""
    shy.scope.signal_v = 20.0
    shy.driver.read()
    shy.scope.signal_v = 1e-6
    with pytest.raises(NoValueError):
        shy.driver.read()
    assert shy.scope.scale == 0.002
    shy.scope.signal_v = 0.002
    assert shy.driver.read().amplitude_v == pytest.approx(0.002)


def test_what_is_not_there_yet_is_there_at_the_second_look(
    rig: SimpleNamespace,
) -> None:
    """Asked again a little later, on the range that it stands on."""
    rig.scope.steps = [1.0]
    rig.driver.start()
    rig.scope.readings.append("9.91E37")
    assert rig.driver.read().amplitude_v == pytest.approx(0.3)
    assert sum(rig.wire.slept) == pytest.approx(0.3)


def test_an_overload_that_the_dialect_names_is_one(fake: SimpleNamespace) -> None:
    """With a word of its own, nothing is left to tell apart."""
    scope = fake.Scope()
    dialect = load_detector_dialect("scope-vrms", folder=Path())
    reading = dialect.reading.model_copy(update={"overload": [9.9e37]})
    driver = Detector(
        fake.Wire(scope),
        dialect=dialect.model_copy(update={"reading": reading}),
        sleep=lambda _: None,
    )
    driver.start()
    scope.signal_v = 40.0
    with pytest.raises(OverloadError, match="overloaded"):
        driver.read()


def test_a_nothing_that_the_dialect_names_is_no_volts(fake: SimpleNamespace) -> None:
    """On the finest range, where there is nothing to read."""
    scope = fake.Scope()
    scope.answers["MEASure:VRMS? CHANnel1"] = "----"
    dialect = load_detector_dialect("scope-vrms", folder=Path())
    reading = dialect.reading.model_copy(update={"nothing": ["----"]})
    driver = Detector(
        fake.Wire(scope), dialect=dialect.model_copy(update={"reading": reading})
    )
    driver.start()
    got = driver.read()
    assert got.amplitude_v == 0.0
    assert got.range_v == pytest.approx(rms_of_full_screen(0.002))


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
        ("9.91E37", NoValueError),
        ("-9.9E37", NoValueError),
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
    rig.scope.readings.extend([reply] * 30)  # asked about again, and on every range
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


@pytest.mark.parametrize("reply", ["9.9E37", "9.91E37"])
def test_a_power_meter_without_a_value_is_asked_again_and_not_believed(
    fake: SimpleNamespace, reply: str
) -> None:
    """Too much, too little or not yet: SCPI's two special numbers do not say."""
    meter, slept = fake.Scope(), []
    meter.answers["MEASure:POWer:AC?"] = reply
    dialect = load_detector_dialect("power-meter-dbm", folder=Path())
    wire = fake.Wire(meter)
    with pytest.raises(NoValueError, match="too much or too little"):
        Detector(wire, dialect=dialect, sleep=slept.append).read()
    assert len(wire.sent) == 2
    assert sum(slept) == pytest.approx(0.3)


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
        settle_s=0.01,
        sleep=lambda _: heard.append(len(wire.sent)),
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
