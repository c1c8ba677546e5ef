"""The voltmeter's ranges and the diode probe's law."""

import math

import numpy as np
import pytest

from halfpower.sim import load_scene
from halfpower.sim.instruments.voltmeter import diode_voltage


@pytest.fixture
def meter_on(make_bench, talk):
    """Speak to a meter that gets a known voltage."""

    def make(kind, text="", volts=0.05, hz=1e6):
        head = f'[detector]\nkind = "{kind}"\nresource = "TCPIP0::192.0.2.13::INSTR"\n'
        bench = make_bench(detector=head + text)
        gain = abs(bench.circuit.transfer(np.array([hz]))[0])
        bench.path.drive(
            0.0, frequency_hz=hz, emf_v=volts / gain, start_emf_v=volts / gain
        )
        bench.clock.sleep(1.0)
        meter = talk(bench, "detector")
        meter("*CLS")
        return meter

    return make


def test_the_voltmeter_reads_rms_with_its_noise_in_quadrature(meter_on):
    """3 mV and 4 mV of noise are 5 mV; a reading scatters by a tenth of the noise."""
    meter = meter_on("voltmeter", "noise_v = 4e-3\n", volts=3e-3)
    x = [float(meter("MEAS:VOLT:AC?")) for _ in range(100)]
    assert np.mean(x) == pytest.approx(5e-3, abs=4 * 0.4e-3 / math.sqrt(100))


def test_the_voltmeter_finds_its_range_and_shows_its_counts(meter_on):
    """20 000 counts of the 0.1 V range are 5 uV each."""
    meter = meter_on("voltmeter", "noise_v = 0.0\nbandwidth_hz = 1e12\n", 0.0512344)
    assert float(meter("MEAS:VOLT:AC?")) == pytest.approx(0.051235, abs=1e-9)
    assert float(meter("VOLT:AC:RANG?")) == pytest.approx(0.1)


def test_a_range_that_is_too_small_overflows(meter_on):
    """Set by hand it stays; 1.2 times its name is its end."""
    meter = meter_on("voltmeter", volts=0.13)
    meter("SENS:VOLT:AC:RANG 0.1")
    assert float(meter("MEAS:VOLT:AC?")) == 9.9e37
    meter("VOLT:AC:RANG:AUTO ON")
    assert float(meter("MEAS:VOLT:AC?")) == pytest.approx(0.13, rel=0.01)


def test_the_diode_is_square_law_low_down_and_linear_high_up():
    """10 dB down is a tenth in d.c. at 5 mV, and 1/sqrt(10) and the knee at 5 V."""
    low = [diode_voltage(v, 28e-3) for v in (5e-3, 5e-3 / math.sqrt(10.0))]
    assert low[0] / low[1] == pytest.approx(10.0, rel=0.01)  # next term x^2 / 16
    high = diode_voltage(5.0, 28e-3)
    knee = 14e-3 * math.log(2.0 * math.pi * 5.0 / 28e-3)
    assert high == pytest.approx(5.0 - knee, abs=28e-3 / (8 * 5.0 / 28e-3) * 1.1)


def test_the_diode_probe_answers_its_dc_voltage(meter_on):
    """The probe's reading is the law's, within its resolution and noise."""
    meter = meter_on("diode-probe", volts=0.5)
    expected = diode_voltage(0.5 * math.sqrt(2.0), 28e-3)
    assert float(meter("MEAS:VOLT:DC?")) == pytest.approx(expected, abs=1.5e-4)


def test_the_diode_probe_does_not_survive_its_breakdown(meter_on):
    """Above 20 V peak the answer is no number."""
    assert float(meter_on("diode-probe", volts=15.0)("MEAS:VOLT?")) == 9.9e37


def test_the_compact_dialect_reads(talk):
    """READ? in NR2, MEASure undefined."""
    probe = talk(load_scene("kit-coil-diode").build(), "detector")
    probe("*CLS")
    assert "E" not in probe("READ?")
    probe("MEAS:VOLT?")
    assert probe.error() == -113
