"""Passive parts never give out more than goes in.

The claim is the definition of passivity (IEC 60050-131, "passive"; from memory):
here for every branch of circuits that nobody designed.
"""

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from halfpower.sim.circuit import Branch, Circuit

ROUNDING = 1e-9  # of the power the source can give, 1 V behind its resistance


def decades(low, high):
    """Draw a number evenly over its decades."""
    return st.floats(math.log10(low), math.log10(high)).map(lambda x: 10.0**x)


def maybe(strategy, otherwise=0.0):
    """Draw the value, or leave it out."""
    return st.one_of(st.just(otherwise), strategy)


NODES = ("source", "a", "b", "c")


@st.composite
def circuits(draw):
    """A ladder, so that every node is reached, with more branches thrown across."""
    pairs = [("source", "a"), ("a", "b"), ("b", "c"), ("c", "ground")]
    extra = st.tuples(st.sampled_from(NODES), st.sampled_from([*NODES, "ground"]))
    pairs += [p for p in draw(st.lists(extra, max_size=5)) if p[0] != p[1]]
    branches = [
        Branch(
            name=f"b{i}",
            nodes=pair,
            resistance_ohm=draw(decades(1e-3, 1e6)),
            rise_ohm=draw(maybe(decades(1e-3, 1e3))),
            rise_exponent=draw(st.floats(-1.0, 2.0)),
            inductance_h=draw(maybe(decades(1e-9, 1e-3))),
            magnetic_loss_tangent=draw(maybe(decades(1e-5, 0.5))),
            capacitance_f=draw(maybe(decades(1e-13, 1e-8), math.inf)),
            dissipation_factor=draw(maybe(decades(1e-5, 0.5))),
            dissipation_exponent=draw(st.floats(-0.5, 0.5)),
        )
        for i, pair in enumerate(pairs)
    ]
    return Circuit(
        branches, source_node="source", source_resistance_ohm=50.0, detector_node="c"
    )


@given(circuit=circuits(), frequency_hz=decades(1e4, 1e9))
def test_no_passive_branch_gives_power_out_and_all_power_is_accounted_for(
    circuit, frequency_hz
):
    """Every branch takes power in, and together they take what the source gives."""
    s = np.array([2j * math.pi * frequency_hz])
    voltage = circuit.branch_voltage(circuit.solve(s))[0]
    impedance = circuit.impedance(s)[0]
    names = [branch.name for branch in circuit.branches]
    source = names.index("source")
    power = (np.abs(voltage / impedance) ** 2 * impedance).real
    measured = (voltage * np.conj(voltage / impedance)).real
    given_out = (voltage[source] * (1.0 - voltage[source].conjugate()) / 50.0).real
    taken = sum(power) - power[source]
    available = 1.0 / (4.0 * 50.0)
    assert (measured >= -ROUNDING * available).all()
    assert abs(taken - given_out) < ROUNDING * available


@given(circuit=circuits(), frequency_hz=decades(1e4, 1e9))
def test_no_load_takes_more_than_the_source_has(circuit, frequency_hz):
    """What a branch takes is below E^2 / 4 Rs, the available power."""
    s = np.array([2j * math.pi * frequency_hz])
    voltage = circuit.branch_voltage(circuit.solve(s))[0]
    power = (voltage * np.conj(voltage / circuit.impedance(s)[0])).real
    without_source = [
        p for p, b in zip(power, circuit.branches, strict=True) if b.name != "source"
    ]
    assert sum(without_source) <= (1.0 + ROUNDING) / (4.0 * 50.0)
