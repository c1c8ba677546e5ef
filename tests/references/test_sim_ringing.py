"""The ring-up against the circuit's differential equations, integrated by SciPy.

The simulation gives the envelope in closed form from the modes' poles and residues.
Here the same circuit is a set of first-order equations in capacitor voltages and
inductor currents, written out below from Kirchhoff's laws and stepped exactly with
the matrix exponential; the two meet in the r.m.s. voltage of a window.
"""

import math

import numpy as np
import pytest
from scipy.linalg import expm

from halfpower.sim.circuit import Branch, Circuit, SignalPath, natural_modes

RS, CC, C, L, R = 50.0, 20e-12, 1e-9, 100e-6, 12.0  # Q about 25 near 500 kHz
RL = 100e3
BRANCHES = [
    Branch(name="coupling", nodes=("source", "tank"), capacitance_f=CC),
    Branch(name="tank", nodes=("tank", "ground"), capacitance_f=C),
    Branch(name="probe", nodes=("tank", "ground"), resistance_ohm=RL),
    Branch(name="coil", nodes=("tank", "ground"), inductance_h=L, resistance_ohm=R),
]
# States: u (tank voltage), w (voltage over the coupling), i (coil current).
#   CC w' = (e - w - u) / RS;  C u' = CC w' - u / RL - i;  L i' = u - R i
A = np.array(
    [
        [-1.0 / (RS * C) - 1.0 / (RL * C), -1.0 / (RS * C), -1.0 / C],
        [-1.0 / (RS * CC), -1.0 / (RS * CC), 0.0],
        [1.0 / L, 0.0, -R / L],
    ]
)
B = np.array([1.0 / (RS * C), 1.0 / (RS * CC), 0.0])


def integrate(settings, window_s, step_s):
    """Step through (frequency, e.m.f., rate, start, seconds); r.m.s. at the end.

    Each drive is Re[(E + dE exp(-g t)) exp(j phase)], written as two more states
    for each exponential, so that the exponential of the whole matrix is exact.
    """
    state = np.zeros(3)
    phase = 0.0
    tail = []
    for k, (hz, emf, rate, start, seconds) in enumerate(settings):
        last = k == len(settings) - 1
        omega = 2.0 * math.pi * hz
        big = np.zeros((7, 7))
        big[:3, :3] = A
        big[:3, 3], big[:3, 5] = B, B
        big[3:5, 3:5] = [[0.0, -omega], [omega, 0.0]]
        big[5:7, 5:7] = [[-rate, -omega], [omega, -rate]]
        peak, extra = math.sqrt(2.0) * emf, math.sqrt(2.0) * (start - emf)
        turn = np.array([math.cos(phase), math.sin(phase)])
        x = np.concatenate([state, peak * turn, extra * turn])
        steps = round(seconds / step_s)
        forward = expm(big * step_s)
        for n in range(steps):
            x = forward @ x
            if last and n >= steps - round(window_s / step_s):
                tail.append(x[0])
        state, phase = x[:3], phase + omega * steps * step_s
    return math.sqrt(np.mean(np.square(tail)))


def path_of(settling_s):
    """Give the simulation's path through the circuit."""
    circuit = Circuit(
        BRANCHES, source_node="source", source_resistance_ohm=RS, detector_node="tank"
    )
    modes = natural_modes(circuit)
    return SignalPath(circuit, modes, harmonics=(), settling_s=settling_s)


def f0_hz():
    """Give the undamped resonance."""
    return 1.0 / (2.0 * math.pi * math.sqrt(L * (C + CC)))


def left_out(path):
    """Give what an envelope cannot say, for an e.m.f. of 1 V.

    A real drive has a second rotating half, exp(-j omega t); it excites the mode by
    |alpha / 2 omega| = 1 / 4Q of what the first does at resonance.
    """
    mode = natural_modes(path.circuit)[0]
    peak = abs(path.circuit.transfer(np.array([mode.frequency_hz]))[0])
    return peak / (4.0 * mode.q)


def test_the_bound_is_far_below_what_a_wrong_ring_up_would_show():
    """A reading at two periods is low by tens of the bound used here."""
    path = path_of(0.0)
    hz = natural_modes(path.circuit)[0].frequency_hz
    path.drive(0.0, frequency_hz=hz, emf_v=1.0, start_emf_v=1.0)
    early = path.components(2.0 / hz, 4.0 / hz)[0].amplitude_v
    late = path.components(200.0 / hz, 4.0 / hz)[0].amplitude_v
    assert late - early > 20.0 * left_out(path)


@pytest.mark.parametrize("age_periods", [2, 10, 40])
@pytest.mark.parametrize("detuning", [-0.03, 0.0, 0.05])
def test_ring_up_follows_the_differential_equations(age_periods, detuning):
    """After switching on, the early reading is the integrated one."""
    hz = f0_hz() * (1.0 + detuning)
    window_s, age_s = 4.0 / hz, age_periods / hz
    path = path_of(0.0)
    path.drive(0.0, frequency_hz=hz, emf_v=1.0, start_emf_v=1.0)
    found = path.components(age_s, window_s)[0].amplitude_v
    setting = [(hz, 1.0, 0.0, 1.0, age_s + window_s)]
    expected = integrate(setting, window_s, 1.0 / hz / 200.0)
    assert abs(found - expected) < left_out(path)


def test_a_change_of_frequency_under_a_settling_level_is_followed():
    """Two settings in a row, the second before the first has settled."""
    hz, other = f0_hz() * 0.98, f0_hz() * 1.01
    settling_s, first_s, age_s = 8e-6, 20e-6, 15e-6
    window_s = 4.0 / other
    path = path_of(settling_s)
    path.drive(0.0, frequency_hz=hz, emf_v=1.0, start_emf_v=0.0)
    start = path.level_now_v(first_s)
    path.drive(first_s, frequency_hz=other, emf_v=1.0, start_emf_v=0.5 * start)
    found = path.components(first_s + age_s, window_s)[0].amplitude_v
    rate = 1.0 / settling_s
    settings = [
        (hz, 1.0, rate, 0.0, first_s),
        (other, 1.0, rate, 0.5 * start, age_s + window_s),
    ]
    expected = integrate(settings, window_s, 5e-9)
    assert abs(found - expected) < left_out(path)


def test_the_natural_mode_is_an_eigenvalue_of_the_differential_equations():
    """Pole and Q are those of the state matrix, by NumPy's eigenvalues."""
    mode = natural_modes(path_of(0.0).circuit)[0]
    values = np.linalg.eigvals(A)
    expected = values[np.argmax(values.imag)]
    assert abs(mode.pole_rad_per_s - expected) < 1e-9 * abs(expected)
    q = abs(expected) / (-2.0 * expected.real)
    assert mode.q == pytest.approx(q, rel=1e-8)
