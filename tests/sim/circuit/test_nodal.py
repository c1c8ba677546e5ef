"""The nodal equations: what can be worked out by hand, and what is refused."""

import math

import numpy as np
import pytest

from halfpower.sim.circuit import Branch, Circuit
from halfpower.sim.circuit.nodal import Scale

GROUNDED = ("source", "ground")


def circuit(*branches, detector="source"):
    """Drive branches from 50 ohm at the node source."""
    return Circuit(
        branches,
        source_node="source",
        source_resistance_ohm=50.0,
        detector_node=detector,
    )


def test_a_matched_load_takes_half_the_emf():
    """A divider of two equal resistances."""
    one = circuit(Branch(name="load", nodes=GROUNDED, resistance_ohm=50.0))
    assert one.transfer(np.array([1e3, 1e8])) == pytest.approx([0.5, 0.5], rel=1e-15)


def test_a_low_pass_has_its_corner_where_it_belongs():
    """R = 50 ohm and C: 1 / (1 + j f / fc), fc = 1 / (2 pi R C)."""
    one = circuit(Branch(name="c", nodes=GROUNDED, capacitance_f=1e-9))
    fc = 1.0 / (2.0 * math.pi * 50.0 * 1e-9)
    f = np.array([0.1, 1.0, 10.0]) * fc
    assert one.transfer(f) == pytest.approx(1.0 / (1.0 + 1j * f / fc), rel=1e-14)


def test_a_rising_resistance_rises_as_its_power():
    """R_dc + R (f / f_ref)^n, in the real part of the impedance alone."""
    branch = Branch(
        name="coil",
        nodes=GROUNDED,
        resistance_ohm=0.1,
        rise_ohm=0.8,
        rise_exponent=0.5,
        reference_hz=7e6,
        inductance_h=3.3e-6,
    )
    f = np.array([7e6, 28e6])
    z = circuit(branch).impedance(2j * math.pi * f)[:, 0]
    assert z.real == pytest.approx([0.9, 1.7], rel=1e-12)
    assert z.imag == pytest.approx(2.0 * math.pi * f * 3.3e-6, rel=1e-12)


def test_a_lossy_capacitor_has_its_dissipation_factor():
    """D = G / (omega C) of the admittance, D ~ f^m."""
    branch = Branch(
        name="c",
        nodes=GROUNDED,
        capacitance_f=100e-12,
        dissipation_factor=1e-3,
        dissipation_exponent=0.5,
        reference_hz=1e6,
    )
    f = np.array([1e6, 4e6])
    one = circuit(branch)
    y = 1.0 / one.impedance(2j * math.pi * f)
    column = [b.name for b in one.branches].index("c")
    assert y[:, column].real / y[:, column].imag == pytest.approx([1e-3, 2e-3])
    assert y[:, column].imag == pytest.approx(2.0 * math.pi * f * 100e-12)


def test_core_loss_adds_omega_l_tan_delta():
    """The magnetic loss is in series with the inductance."""
    branch = Branch(
        name="l", nodes=GROUNDED, inductance_h=1e-6, magnetic_loss_tangent=0.01
    )
    z = circuit(branch).impedance(np.array([2j * math.pi * 1e6]))[0, 0]
    assert z.real / z.imag == pytest.approx(0.01)


def test_ten_nanohenries_do_not_cost_the_small_numbers_their_digits():
    """A lead beside 1 Gohm at 1 kHz: the divider still has twelve digits."""
    one = circuit(
        Branch(name="lead", nodes=("source", "end"), inductance_h=10e-9),
        Branch(name="leak", nodes=("end", "ground"), resistance_ohm=1e9),
        detector="end",
    )
    found = one.transfer(np.array([1e3]))[0]
    z = 50.0 + 2j * math.pi * 1e3 * 10e-9
    assert found == pytest.approx(1e9 / (1e9 + z), rel=1e-12)
    assert (found - 1.0) == pytest.approx(-z / (1e9 + z), rel=1e-6, abs=0.0)


def test_a_scale_moves_values_as_it_says():
    """Twice the capacitance in the scale is twice the capacitance in the branch."""
    one = circuit(Branch(name="c", nodes=GROUNDED, capacitance_f=1e-9))
    two = circuit(Branch(name="c", nodes=GROUNDED, capacitance_f=2e-9))
    s = np.array([2j * math.pi * 3e6])
    twice = Scale(inductance=np.ones(2), capacitance=np.full(2, 2.0))
    assert one.response(s, twice) == pytest.approx(two.response(s), rel=1e-14)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (
            lambda: circuit(Branch(name="a", nodes=GROUNDED, resistance_ohm=-1.0)),
            "negative",
        ),
        (
            lambda: circuit(Branch(name="a", nodes=GROUNDED, capacitance_f=0.0)),
            "positive capacitance",
        ),
        (lambda: circuit(detector="nowhere"), "detector's node nowhere"),
        (
            lambda: circuit(
                Branch(name="a", nodes=GROUNDED, resistance_ohm=1.0),
                Branch(name="a", nodes=GROUNDED, resistance_ohm=2.0),
            ),
            "same name",
        ),
        (
            lambda: Circuit(
                [], source_node="s", source_resistance_ohm=0.0, detector_node="s"
            ),
            "positive resistance",
        ),
    ],
)
def test_what_cannot_be_a_circuit_is_refused(make, message):
    """One sentence for each."""
    with pytest.raises(ValueError, match=message):
        make()
