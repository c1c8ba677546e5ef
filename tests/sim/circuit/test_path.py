"""The envelope in time: what is settled, what is not, and what a window averages."""

import math

import numpy as np
import pytest

from halfpower.sim.circuit import Branch, Circuit, Harmonic, SignalPath, natural_modes

TANK = [
    Branch(name="coupling", nodes=("source", "tank"), capacitance_f=1e-12),
    Branch(name="c", nodes=("tank", "ground"), capacitance_f=1e-9),
    Branch(name="l", nodes=("tank", "ground"), inductance_h=100e-6, resistance_ohm=2.0),
]


@pytest.fixture
def circuit():
    """Give a tank of Q near 160 at 500 kHz."""
    return Circuit(
        TANK, source_node="source", source_resistance_ohm=50.0, detector_node="tank"
    )


def make(circuit, *, harmonics=(), settling_s=0.0):
    """Give the path through it."""
    modes = natural_modes(circuit)
    return SignalPath(circuit, modes, harmonics=harmonics, settling_s=settling_s)


def amplitude(path, now_s, window_s=1e-9):
    """Read the fundamental in a short window."""
    return path.components(now_s, window_s)[0].amplitude_v


def test_nothing_comes_from_a_generator_that_is_off(circuit):
    """No components before the first drive."""
    assert make(circuit).components(1.0, 1e-3) == []


def test_a_settled_reading_is_the_transfer_function_times_the_emf(circuit):
    """Long after the change, for every harmonic at its own frequency."""
    path = make(circuit, harmonics=[Harmonic(2, 0.01)], settling_s=1e-3)
    path.drive(0.0, frequency_hz=250e3, emf_v=3.0, start_emf_v=0.0)
    first, second = path.components(10.0, 1e-3)
    expected = np.abs(circuit.transfer(np.array([250e3, 500e3]))) * [3.0, 0.03]
    assert [first.amplitude_v, second.amplitude_v] == pytest.approx(
        expected, rel=1e-9, abs=0.0
    )
    assert (first.frequency_hz, second.frequency_hz) == pytest.approx((250e3, 500e3))


def test_the_tank_rings_up_with_its_own_time_constant(circuit):
    """On resonance the amplitude is 1 - exp(-t / tau), tau = Q / (pi f0)."""
    mode = natural_modes(circuit)[0]
    path = make(circuit)
    hz = mode.pole_rad_per_s.imag / (2.0 * math.pi)
    path.drive(0.0, frequency_hz=hz, emf_v=1.0, start_emf_v=1.0)
    tau_s = mode.q / (math.pi * mode.frequency_hz)
    final = amplitude(path, 1.0)
    for times in (0.5, 1.0, 3.0, 7.0):
        share = amplitude(path, times * tau_s) / final
        # the part of the response that is not the mode's is 1/(4 Q) and less
        assert share == pytest.approx(1.0 - math.exp(-times), abs=0.25 / mode.q)


def test_a_tank_that_is_switched_off_rings_down(circuit):
    """After one time constant 1/e is left, and in the end nothing."""
    mode = natural_modes(circuit)[0]
    path = make(circuit)
    path.drive(0.0, frequency_hz=mode.frequency_hz, emf_v=1.0, start_emf_v=1.0)
    full = amplitude(path, 1.0)
    path.drive(1.0, frequency_hz=mode.frequency_hz, emf_v=0.0, start_emf_v=0.0)
    tau_s = mode.q / (math.pi * mode.frequency_hz)
    assert amplitude(path, 1.0 + tau_s) / full == pytest.approx(
        math.exp(-1.0), rel=0.01
    )
    assert path.components(2.0, 1e-3) == []


def test_a_level_that_settles_is_seen_settling_off_resonance(circuit):
    """Far from resonance the response follows E + dE exp(-t / T) at once."""
    path = make(circuit, settling_s=20e-3)  # 200 times the tank's own time constant
    path.drive(0.0, frequency_hz=1e4, emf_v=1.0, start_emf_v=0.0)
    share = amplitude(path, 20e-3) / amplitude(path, 1.0)
    # H(s) ~ s (R + s L) is met at s = jw - g: within 2 g / w of H(jw)
    bound = 2.0 * 50.0 / (2.0 * math.pi * 1e4)
    assert share == pytest.approx(1.0 - math.exp(-1.0), abs=bound)
    assert path.level_now_v(20e-3) == pytest.approx(1.0 - math.exp(-1.0))


def test_a_window_averages_the_square(circuit):
    """The mean square of many short windows is that of the long one."""
    mode = natural_modes(circuit)[0]
    path = make(circuit, settling_s=20e-6)
    path.drive(0.0, frequency_hz=mode.frequency_hz * 1.01, emf_v=1.0, start_emf_v=0.2)
    long_s, n = 100e-6, 400
    middles = (np.arange(n) + 0.5) * long_s / n
    squares = [amplitude(path, t, 1e-12) ** 2 for t in middles]
    # midpoint rule over 400 steps of a beat of 5 kHz: error below 1e-4
    assert amplitude(path, 0.0, long_s) ** 2 == pytest.approx(
        np.mean(squares), rel=1e-3
    )


def test_a_second_change_carries_the_ringing_on(circuit):
    """Changing to the same setting again changes nothing."""
    mode = natural_modes(circuit)[0]
    one, two = make(circuit, settling_s=10e-6), make(circuit, settling_s=10e-6)
    for path in (one, two):
        path.drive(0.0, frequency_hz=mode.frequency_hz, emf_v=1.0, start_emf_v=0.0)
    now_s = 13e-6
    level = two.level_now_v(now_s)
    two.drive(now_s, frequency_hz=mode.frequency_hz, emf_v=1.0, start_emf_v=level)
    assert amplitude(two, 40e-6) == pytest.approx(
        amplitude(one, 40e-6), rel=1e-9, abs=0.0
    )
