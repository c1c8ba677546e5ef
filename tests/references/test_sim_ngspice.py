"""The circuit against ngspice, a circuit simulator that nobody here wrote.

ngspice knows constant resistances, inductances and capacitances, so this check has
no loss that depends on frequency; scikit-rf's comparison has those. The netlist is
written from the branches' values, node by node, and ngspice does the rest.
"""

import math
import shutil
import subprocess

import numpy as np
import pytest

from halfpower.sim.circuit import Branch, Circuit

NGSPICE = shutil.which("ngspice")
pytestmark = pytest.mark.skipif(
    NGSPICE is None, reason="ngspice is not installed: nothing to compare with"
)

RELATIVE = 1e-6  # ngspice prints fifteen digits but solves to its own tolerances
L_H, C_F = 3.3e-6, 150e-12
F0_HZ = 1.0 / (2.0 * math.pi * math.sqrt(L_H * (C_F + 5e-12)))


def coil(nodes, q):
    """Give a winding of this Q at the resonance, and its self-capacitance."""
    return [
        Branch(
            name="winding",
            nodes=nodes,
            inductance_h=L_H,
            resistance_ohm=2.0 * math.pi * F0_HZ * L_H / q,
        ),
        Branch(name="self", nodes=nodes, capacitance_f=2e-12),
    ]


def lead(a, b):
    """Give a lead of 10 nH."""
    return Branch(name="lead", nodes=(a, b), inductance_h=10e-9, resistance_ohm=5e-3)


def shunt(name, node, **values):
    """Give a branch to ground."""
    return Branch(name=name, nodes=(node, "ground"), **values)


def known(node, other="ground"):
    """Give the known capacitor with its own inductance."""
    values = {"capacitance_f": C_F, "inductance_h": 4e-9, "resistance_ohm": 0.01}
    return Branch(name="known", nodes=(node, other), **values)


def coupled(q):
    """Give the part that both coupled fixtures share."""
    return [
        shunt("cable", "source", capacitance_f=10e-12),
        Branch(name="coupling", nodes=("source", "tank"), capacitance_f=1e-12),
        shunt("stray", "tank", capacitance_f=5e-12),
        known("tank"),
        lead("tank", "coil"),
        *coil(("coil", "ground"), q),
    ]


CASES = {
    "coupled tank": lambda q: (
        [
            *coupled(q),
            shunt("probe", "tank", resistance_ohm=10e6),
            shunt("probe C", "tank", capacitance_f=10e-12),
        ],
        "source",
        "tank",
    ),
    "coupled both sides": lambda q: (
        [
            *coupled(q),
            Branch(name="pickup", nodes=("tank", "out"), capacitance_f=1e-12),
            shunt("load", "out", resistance_ohm=50.0),
        ],
        "source",
        "out",
    ),
    "series injection": lambda q: (
        [
            Branch(name="feed", nodes=("source", "inject"), resistance_ohm=47.0),
            shunt("injection", "inject", resistance_ohm=0.1, inductance_h=0.2e-9),
            lead("tank", "coil"),
            *coil(("coil", "inject"), q),
            known("tank"),
            shunt("probe C", "tank", capacitance_f=15e-12),
        ],
        "source",
        "tank",
    ),
    "trap": lambda q: (
        [
            shunt("line", "line", capacitance_f=1e-12),
            shunt("load", "line", resistance_ohm=50.0),
            lead("line", "coil"),
            *coil(("coil", "middle"), q),
            known("middle"),
            shunt("stray", "middle", capacitance_f=2e-12),
        ],
        "line",
        "line",
    ),
}


def netlist(branches, source, detector, frequency_hz, output):
    """Write a circuit for ngspice; the e.m.f. is 1 V behind 50 ohms."""
    lines = ["a circuit", "VE emf 0 AC 1", f"RS emf {source} 50"]
    for k, branch in enumerate(branches):
        a, b = ("0" if node == "ground" else node for node in branch.nodes)
        parts = [
            ("R", branch.resistance_ohm),
            ("L", branch.inductance_h),
            ("C", 0.0 if math.isinf(branch.capacitance_f) else branch.capacitance_f),
        ]
        parts = [(letter, value) for letter, value in parts if value]
        inner = [a, *(f"n{k}x{i}" for i in range(1, len(parts))), b]
        for i, (letter, value) in enumerate(parts):
            lines.append(f"{letter}{k}x{i} {inner[i]} {inner[i + 1]} {value!r}")
    decades = f"dec 20 {frequency_hz[0]!r} {frequency_hz[1]!r}"
    near = f"lin 41 {F0_HZ * 0.99!r} {F0_HZ * 1.01!r}"
    lines += [".options reltol=1e-12 gmin=1e-20", ".control", "set numdgt=15"]
    lines += [
        f"ac {sweep}\nwrdata {output}{i}.data v({detector})"
        for i, sweep in enumerate((decades, near))
    ]
    return "\n".join([*lines, "quit", ".endc", ".end", ""])


@pytest.mark.parametrize("q", [2.0, 50.0, 2000.0])
@pytest.mark.parametrize("case", CASES)
def test_every_fixture_agrees_with_ngspice(case, q, tmp_path):
    """Amplitude and phase agree to 1e-6 over five decades, for Q of 2 to 2000."""
    branches, source, detector = CASES[case](q)
    output = tmp_path / "out"
    file = tmp_path / "circuit.cir"
    edges = (F0_HZ / 316.0, F0_HZ * 316.0)
    file.write_text(netlist(branches, source, detector, edges, output))
    subprocess.run([NGSPICE, "-b", file], check=True, capture_output=True, timeout=50)  # noqa: S603 # its own command
    circuit = Circuit(
        branches,
        source_node=source,
        source_resistance_ohm=50.0,
        detector_node=detector,
    )
    for sweep in (0, 1):
        columns = np.loadtxt(f"{output}{sweep}.data")
        expected = columns[:, 1] + 1j * columns[:, 2]
        found = circuit.transfer(columns[:, 0])
        np.testing.assert_array_less(np.abs(found / expected - 1.0), RELATIVE)
