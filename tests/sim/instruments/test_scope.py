"""The scope: quantised, noisy, clipped, averaged, as its traits say."""

import math

import numpy as np
import pytest

from halfpower.sim import load_scene

QUIET = "noise_v = 1e-9\nnoise_divisions = 1e-6\n"


def known_level(bench, volts, hz=1e6):
    """Put a known r.m.s. voltage at the input, whatever the circuit."""
    gain = abs(bench.circuit.transfer(np.array([hz]))[0])
    bench.path.drive(0.0, frequency_hz=hz, emf_v=volts / gain, start_emf_v=volts / gain)
    bench.clock.sleep(1.0)


@pytest.fixture
def scope_on(make_bench, talk):
    """Speak to a scope that gets a known voltage."""

    def make(text=QUIET, volts=0.1, hz=1e6):
        head = '[detector]\nkind = "scope"\nresource = "TCPIP0::192.0.2.11::INSTR"\n'
        bench = make_bench(detector=head + text)
        known_level(bench, volts, hz)
        return talk(bench, "detector")

    return make


def readings(scope, n=200, query="MEAS:VRMS?"):
    """Take many readings."""
    return np.array([float(scope(query)) for _ in range(n)])


def test_a_quiet_scope_reads_the_voltage_to_its_steps(scope_on):
    """256 steps over 8 divisions: step^2 / 12 in quadrature, and rounding to 1e-3."""
    scope = scope_on(volts=0.2)
    scope("CHAN1:SCAL 0.1")
    step = 0.8 / 256
    expected = math.hypot(0.2, step / math.sqrt(12.0))
    assert readings(scope).mean() == pytest.approx(expected, rel=2e-3)


def test_below_half_a_step_a_quiet_scope_reads_nothing(scope_on):
    """What quantisation does and a noise formula would hide."""
    scope = scope_on(volts=0.3e-3)  # peak 0.42 mV, half a step 1.56 mV
    scope("CHAN1:SCAL 0.1")
    assert readings(scope, 20).max() == 0.0


def test_noise_is_rectified(scope_on):
    """With noise s the mean square is V^2 + s^2 + step^2 / 12."""
    scope = scope_on("noise_v = 5e-3\nnoise_divisions = 0.0\n", volts=4e-3)
    scope("CHAN1:SCAL 0.02")
    x = readings(scope, 400)
    step = 0.16 / 256
    expected = 4e-3**2 + 5e-3**2 + step**2 / 12.0
    # 400 readings of 256 samples: the mean square scatters by sqrt(2 / 102400)
    assert np.mean(x**2) == pytest.approx(expected, rel=0.02)
    assert x.std() > 0.0


def test_averaging_takes_the_noise_down_and_takes_its_time(scope_on):
    """64 records: the rectified noise falls to an eighth."""
    scope = scope_on("noise_v = 5e-3\nnoise_divisions = 0.0\n", volts=1e-9)
    scope("CHAN1:SCAL 0.02")
    clock = scope.link.core.clock
    one = readings(scope, 50).mean()
    scope("ACQ:AVER:COUN 64")
    start = clock.now_s
    many = readings(scope, 50).mean()
    assert one / many == pytest.approx(8.0, rel=0.1)
    assert clock.now_s - start == pytest.approx(50 * 64 * 5e-3)


@pytest.mark.parametrize(("scale", "clips"), [("0.05", True), ("0.1", False)])
def test_a_trace_that_leaves_the_screen_is_no_number(scope_on, scale, clips):
    """0.2 V r.m.s. is 0.283 V peak: beyond 4 x 0.05 V, inside 4 x 0.1 V."""
    scope = scope_on(volts=0.2)
    scope("CHAN1:SCAL " + scale)
    assert (float(scope("MEAS:VRMS?")) == 9.9e37) == clips


def test_an_offset_moves_the_screen(scope_on):
    """What fitted is clipped once the screen is moved away, on either side."""
    scope = scope_on(volts=0.2)
    scope("CHAN1:SCAL 0.1")
    for offset in ("0.3", "-0.3"):
        scope("CHAN1:OFFS " + offset)
        assert float(scope("MEAS:VRMS?")) == 9.9e37


def test_an_offset_of_the_screen_follows_the_signals_own(scope_on):
    """0.3 V of direct voltage fit on a screen that is moved up by it, and are read."""
    scope = scope_on(QUIET + "offset_v = 0.3\n", volts=0.2)
    scope("CHAN1:SCAL 0.1;COUP DC")
    assert float(scope("MEAS:VRMS?")) == 9.9e37
    scope("CHAN1:OFFS 0.3")
    assert readings(scope, 20).mean() == pytest.approx(math.hypot(0.2, 0.3), rel=5e-3)


@pytest.mark.parametrize(
    ("asked", "got"), [("0.3", 0.5), ("0.2", 0.2), ("0.0011", 0.002), ("1E-9", 1e-3)]
)
def test_a_scale_is_rounded_up_the_one_two_five_series(scope_on, asked, got):
    """So that what was asked for still fits on the screen."""
    scope = scope_on()
    scope("CHANNEL1:SCALE " + asked)
    assert float(scope("CHAN:SCAL?")) == pytest.approx(got)
    assert float(scope("CHAN:RANG?")) == pytest.approx(8.0 * got)


@pytest.mark.parametrize(
    "message", ["CHAN1:SCAL 11", "CHAN1:SCAL 0", "ACQ:AVER:COUN 0"]
)
def test_settings_out_of_range_are_refused(scope_on, message):
    """-222, and the setting stays."""
    scope = scope_on()
    scope("*CLS")
    scope(message)
    assert scope.error() == -222


def test_the_bandwidth_is_a_half_power_bandwidth(scope_on):
    """At the bandwidth's frequency 1/sqrt(2) is shown."""
    scope = scope_on(QUIET + "bandwidth_hz = 20e6\n", volts=0.2, hz=20e6)
    scope("CHAN1:SCAL 0.1")
    assert readings(scope, 50).mean() == pytest.approx(0.2 / math.sqrt(2.0), rel=3e-3)


def test_coupling_decides_about_the_offset_of_the_input(scope_on):
    """DC lets the input's offset into the r.m.s. value, MEAS:AC? never does."""
    scope = scope_on(QUIET + "offset_v = 0.1\n", volts=0.1)
    scope("CHAN1:SCAL 0.1")
    assert readings(scope, 20).mean() == pytest.approx(0.1, rel=5e-3)
    scope("CHAN1:COUP DC")
    assert readings(scope, 20).mean() == pytest.approx(math.hypot(0.1, 0.1), rel=5e-3)
    assert readings(scope, 20, "MEAS:AC?").mean() == pytest.approx(0.1, rel=5e-3)


def test_the_gain_error_is_in_the_reading(scope_on):
    """Two per cent too much."""
    scope = scope_on(QUIET + "gain_error = 0.02\n", volts=0.2)
    scope("CHAN1:SCAL 0.1")
    assert readings(scope, 50).mean() == pytest.approx(0.204, rel=2e-3)


def test_the_compact_dialect_sets_a_range_and_no_channel(talk):
    """SENSe:VOLTage:RANGe is the peak that fits: four divisions."""
    scope = talk(load_scene("kit-coil-series").build(), "detector")
    scope("*CLS")
    scope("VOLT:RANG 0.4")
    assert float(scope("SENS:VOLT:AC:RANG:UPP?")) == pytest.approx(0.4)
    assert scope.error() == 0
    scope("CHAN1:SCAL 0.1")
    assert scope.error() == -113


def test_a_lagging_display_follows_with_one_pole(scope_on):
    """After one time constant 1/e of the step is left, for n averages after n.

    A reading takes 5 ms in the scene's time; the lag is twice that.
    """
    scope = scope_on(QUIET + "lag_s = 10e-3\n", volts=0.2)
    scope("CHAN1:SCAL 0.2")  # rises from nothing
    seen = readings(scope, 4)
    expected = 0.2 * (1.0 - np.exp(-0.5 * np.arange(4)))
    assert seen == pytest.approx(expected, abs=1.5e-3)
    scope("ACQ:AVER:COUN 4")
    scope("CHAN1:SCAL 0.1")
    assert readings(scope, 2)[1] == pytest.approx(
        0.2 * (1.0 - math.exp(-0.5)), abs=3e-3
    )
