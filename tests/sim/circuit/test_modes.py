"""Natural modes: position, Q and weight, against what is known in closed form."""

import math

import numpy as np
import pytest

from halfpower.sim.circuit import Branch, Circuit, natural_modes
from halfpower.sim.circuit.modes import follow_mode
from halfpower.sim.circuit.nodal import Scale

L, C, R = 10e-6, 200e-12, 1e3


def series_circuit(resistance_ohm):
    """50 ohm, L, then C with the detector across it: a series RLC circuit."""
    return Circuit(
        [
            Branch(
                name="l",
                nodes=("source", "top"),
                inductance_h=L,
                resistance_ohm=resistance_ohm,
            ),
            Branch(name="c", nodes=("top", "ground"), capacitance_f=C),
        ],
        source_node="source",
        source_resistance_ohm=50.0,
        detector_node="top",
    )


@pytest.mark.parametrize("resistance_ohm", [0.0, 10.0, 150.0])
def test_a_series_circuit_rings_as_the_textbook_says(resistance_ohm):
    """|p| = 1 / sqrt(L C) and Q = sqrt(L / C) / R, R all in series."""
    (mode,) = natural_modes(series_circuit(resistance_ohm))
    assert mode.frequency_hz == pytest.approx(1 / (2 * math.pi * math.sqrt(L * C)))
    assert mode.q == pytest.approx(math.sqrt(L / C) / (50.0 + resistance_ohm))


def test_an_overdamped_circuit_does_not_ring():
    """R above 2 sqrt(L / C): Q below one half, no mode."""
    assert natural_modes(series_circuit(2.1 * math.sqrt(L / C))) == ()


def test_the_residue_is_what_the_response_has_at_the_pole():
    """(s - p) H(s) tends to it; here H = 1 / (1 + s R C + s^2 L C)."""
    (mode,) = natural_modes(series_circuit(10.0))
    p = mode.pole_rad_per_s
    # 1 / (d/ds of the denominator) at the pole
    expected = 1.0 / (60.0 * C + 2.0 * p * L * C)
    assert mode.residue_per_s == pytest.approx(expected, rel=1e-6)


def test_two_tanks_give_two_modes():
    """Far apart and hardly coupled, each rings where it would alone."""
    circuit = Circuit(
        [
            Branch(name="c1", nodes=("source", "a"), capacitance_f=0.1e-12),
            Branch(
                name="l1", nodes=("a", "ground"), inductance_h=L, resistance_ohm=1.0
            ),
            Branch(name="k1", nodes=("a", "ground"), capacitance_f=C),
            Branch(name="c2", nodes=("a", "b"), capacitance_f=0.1e-12),
            Branch(
                name="l2", nodes=("b", "ground"), inductance_h=L, resistance_ohm=1.0
            ),
            Branch(name="k2", nodes=("b", "ground"), capacitance_f=C / 9.0),
        ],
        source_node="source",
        source_resistance_ohm=50.0,
        detector_node="b",
    )
    first, second = natural_modes(circuit)
    assert second.frequency_hz / first.frequency_hz == pytest.approx(3.0, rel=0.01)


def test_a_mode_is_followed_when_the_values_move():
    """One per mille more inductance is half a per mille less frequency."""
    circuit = series_circuit(10.0)
    (mode,) = natural_modes(circuit)
    n = len(circuit.branches)
    scale = Scale(inductance=np.full(n, 1.001), capacitance=np.ones(n))
    moved = follow_mode(circuit, mode, scale)
    ratio = moved.frequency_hz / mode.frequency_hz
    assert ratio == pytest.approx(1.001**-0.5, rel=1e-9)
