"""The power meter: dBm, floor, range, calibration."""

import math

import numpy as np
import pytest

HEAD = (
    '[detector]\nkind = "power-meter"\n'
    'resource = "TCPIP0::192.0.2.12::inst0::INSTR"\nnoise_dbm = -120.0\n'
)
LINE = '[fixture]\ntable = "trap"\n'


@pytest.fixture
def meter_on(make_bench, talk):
    """Speak to a meter that gets a known power."""

    def make(text="", watt=1e-3, hz=50e6):
        bench = make_bench(detector=HEAD + text, rest=LINE)
        gain = abs(bench.circuit.transfer(np.array([hz]))[0])
        emf = math.sqrt(watt * 50.0) / gain
        bench.path.drive(0.0, frequency_hz=hz, emf_v=emf, start_emf_v=emf)
        bench.clock.sleep(1.0)
        meter = talk(bench, "detector")
        meter("*CLS")
        return meter

    return make


@pytest.mark.parametrize(
    ("watt", "dbm"), [(1e-3, 0.0), (1e-6, -30.0), (50e-3, 16.9897)]
)
def test_power_is_told_in_dbm(meter_on, watt, dbm):
    """10 log10 of milliwatts."""
    assert float(meter_on(watt=watt)("MEAS:POW?")) == pytest.approx(dbm, abs=1e-4)


def test_watts_are_told_when_asked_for(meter_on):
    """UNIT:POWer W."""
    meter = meter_on()
    meter("UNIT:POW W")
    assert float(meter("READ?")) == pytest.approx(1e-3, rel=1e-6)
    assert meter("UNIT:POW?") == "W"


def test_above_the_range_the_answer_is_infinity(meter_on):
    """+20 dBm is the end."""
    assert float(meter_on(watt=0.11)("MEAS:POW?")) == 9.9e37


def test_the_floor_is_noise_about_the_zero_error(meter_on):
    """Without a signal: mean the offset, standard deviation the noise."""
    meter = meter_on("offset_w = 3e-10\n".replace("noise", ""), watt=0.0)
    meter("UNIT:POW W")
    x = np.array([float(meter("MEAS?")) for _ in range(200)])
    assert x.mean() == pytest.approx(3e-10, rel=1e-3, abs=0.0)
    assert x.std() == pytest.approx(1e-15, rel=0.2, abs=0.0)  # -120 dBm; 1 / sqrt(400)


def test_less_than_nothing_has_no_logarithm(meter_on):
    """A negative power in dBm is minus infinity (SCPI-99 v1, 7.2.1.4)."""
    assert float(meter_on("offset_w = -1e-9\n", watt=0.0)("MEAS?")) == -9.9e37


def test_averaging_takes_time(meter_on):
    """Four averages, four times 50 ms."""
    meter = meter_on()
    meter("AVER:COUN 4")
    clock = meter.link.core.clock
    start = clock.now_s
    meter("MEAS?")
    assert clock.now_s - start == pytest.approx(0.2)


def test_the_calibration_takes_the_sensors_response_out_where_it_is_set(meter_on):
    """At the set frequency exactly; elsewhere the sensor's own roll-off shows."""
    meter = meter_on("bandwidth_hz = 50e6\n")
    meter("FREQ 50 MHZ")
    assert float(meter("MEAS?")) == pytest.approx(0.0, abs=1e-4)
    meter("SENS:FREQ MIN")
    assert float(meter("MEAS?")) == pytest.approx(-10.0 * math.log10(2.0), abs=1e-3)


def test_fetch_repeats_and_needs_something_to_repeat(meter_on):
    """-230 before the first measurement; the same number after it."""
    meter = meter_on()
    assert meter("FETC?") == ""
    assert meter.error() == -230
    meter("INIT")
    assert meter("FETC?") == meter("FETC?") != ""
