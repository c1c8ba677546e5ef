"""The circuit against scikit-rf's network arithmetic, for every bundled fixture.

Each fixture is built a second time here, element by element as its description
says, as a cascade of scikit-rf two-ports and shunt one-ports; the simulation solves
nodal equations. The two share the elements' impedances and nothing else.
"""

import math

import numpy as np
import pytest

skrf = pytest.importorskip("skrf", reason="scikit-rf is a test dependency")
from skrf.media import DefinedGammaZ0  # noqa: E402 # after the skip

from halfpower.sim import bundled_scenes, load_scene  # noqa: E402
from halfpower.sim.scene_files import bundled_fixtures  # noqa: E402

# A double has 16 digits, scattering parameters of 10 Mohm beside 1 kohm lose 5, and
# a resonance of Q = 2000 three more where the impedances nearly cancel.
RELATIVE = 1e-9
REFERENCE_OHM = 1e3

INDUCTANCE_H, CAPACITANCE_F, SELF_F, DETECTOR_F = 3.3e-6, 150e-12, 2e-12, 4e-12

SCENE = """
schema = "halfpower.scene/1"
title = "t"
setting = "s"
[generator]
resource = "TCPIP0::192.0.2.10::inst0::INSTR"
[detector]
kind = "scope"
resource = "TCPIP0::192.0.2.11::inst0::INSTR"
input_resistance_ohm = {detector_ohm}
input_capacitance_f = 4e-12
input_dissipation = 2e-3
[fixture]
table = "{fixture}"
[parts.capacitor]
kind = "capacitor"
capacitance_f = 150e-12
dissipation_factor = 1e-4
dissipation_exponent = 0.1
inductance_h = 4e-9
resistance_ohm = 0.01
[parts.coil]
kind = "coil"
inductance_h = 3.3e-6
resistance_ohm = 0.05
rise_ohm = {rise_ohm}
rise_exponent = 0.6
reference_hz = 7e6
core_loss_tangent = 1e-4
self_capacitance_f = 2e-12
self_capacitance_dissipation = 3e-3
"""
STRAP = """
[parts.strap]
kind = "coil"
inductance_h = 1e-9
resistance_ohm = 1e-4
"""


class Impedances:
    """The elements' impedances, written out from their definitions."""

    def __init__(self, truth, frequency_hz):
        self.truth = truth
        self.f = frequency_hz
        self.s = 2j * math.pi * frequency_hz

    def capacitor(self, farad, d, exponent=0.0, reference_hz=1e6):
        """A lossy capacitor has the admittance omega C (D + j)."""
        loss = d * (self.f / reference_hz) ** exponent
        return 1.0 / (2.0 * math.pi * self.f * farad * (loss + 1j))

    def element(self, name):
        """A fixture's element: resistance, inductance, capacitance in series."""
        get = lambda key: self.truth.get(f"fixture.{name}.{key}", 0.0)  # noqa: E731 # local
        z = get("resistance_ohm") + self.s * get("inductance_h")
        if get("capacitance_f"):
            z = z + self.capacitor(get("capacitance_f"), get("dissipation_factor"))
        return z

    def part(self):
        """Give the known capacitor and the coil."""
        known = 0.01 + self.s * 4e-9 + self.capacitor(CAPACITANCE_F, 1e-4, 0.1)
        rise = self.truth["coil.rise_ohm"] * (self.f / 7e6) ** 0.6
        winding = 0.05 + rise + self.s * INDUCTANCE_H * (1.0 - 1e-4j)
        coil = 1.0 / (1.0 / winding + 1.0 / self.capacitor(SELF_F, 3e-3))
        return known, coil

    def detector(self):
        """Give the detector's input."""
        ohm = self.truth["detector.input_resistance_ohm"]
        return 1.0 / (1.0 / ohm + 1.0 / self.capacitor(DETECTOR_F, 2e-3))


def networks(frequency_hz):
    """Give makers of a series element and of a shunt element."""
    f = skrf.Frequency.from_f(frequency_hz, unit="hz")
    media = DefinedGammaZ0(f, z0=REFERENCE_OHM, gamma=1j)

    def series(z):
        return media.resistor(z * np.ones(len(frequency_hz), complex))

    def shunt(z):
        z = z * np.ones(len(frequency_hz), complex)
        return media.shunt(media.load((z - REFERENCE_OHM) / (z + REFERENCE_OHM)))

    return series, shunt


def chain(fixture, z, series, shunt):
    """Write the fixture's description down as a cascade, source first."""
    known, coil = z.part()
    e = z.element
    start = series(50.0 + 0.0j)
    if fixture == "coupled-tank-strap":
        strap = 1e-4 + z.s * 1e-9
        branch = e("lead") + coil + strap
        tank = shunt(e("stray")) ** shunt(known) ** shunt(branch)
        feed = start ** shunt(e("cable")) ** series(e("coupling"))
        return feed**tank ** shunt(z.detector())
    if fixture == "coupled-tank":
        tank = shunt(e("stray")) ** shunt(known) ** shunt(e("lead") + coil)
        feed = start ** shunt(e("cable")) ** series(e("coupling"))
        return feed**tank ** shunt(z.detector())
    if fixture == "coupled-both-sides":
        tank = shunt(e("stray")) ** shunt(known) ** shunt(e("lead") + coil)
        feed = start ** shunt(e("cable")) ** series(e("coupling"))
        return feed**tank ** series(e("pickup")) ** shunt(z.detector())
    if fixture == "series-injection":
        feed = start ** shunt(e("cable")) ** series(e("feed"))
        branch = series(coil + e("lead")) ** shunt(known) ** shunt(e("stray"))
        return feed ** shunt(e("injection")) ** branch ** shunt(z.detector())
    if fixture == "trap":
        joint = 1.0 / (1.0 / known + 1.0 / e("stray"))
        leg = e("lead") + coil + joint
        return start ** shunt(e("line")) ** shunt(leg) ** shunt(z.detector())
    raise AssertionError(f"the fixture {fixture} has no second description here")


@pytest.mark.parametrize("fixture", bundled_fixtures())
@pytest.mark.parametrize("q", [2.0, 50.0, 2000.0])
def test_every_fixture_agrees_with_network_arithmetic(fixture, q, tmp_path):
    """Amplitude and phase agree to 1e-9 over five decades, for Q of 2 to 2000."""
    path = tmp_path / "scene.toml"
    detector_ohm = 50.0 if fixture in ("trap", "coupled-both-sides") else 10e6
    # of the winding alone: omega L / R at 7 MHz
    rise_ohm = 2.0 * math.pi * 7e6 * INDUCTANCE_H / q
    scene = SCENE + (STRAP if fixture == "coupled-tank-strap" else "")
    path.write_text(
        scene.format(fixture=fixture, detector_ohm=detector_ohm, rise_ohm=rise_ohm)
    )
    bench = load_scene(path).build(seed=5)
    f0_hz = min(mode.frequency_hz for mode in bench.modes) if bench.modes else 7e6
    far = np.geomspace(f0_hz / 316.0, f0_hz * 316.0, 101)
    near = f0_hz * (1.0 + np.linspace(-3.0, 3.0, 51) / max(q, 4.0))
    frequency_hz = np.unique(np.concatenate([far, near]))

    series, shunt = networks(frequency_hz)
    network = chain(fixture, Impedances(bench.truth, frequency_hz), series, shunt)
    # open output: V2 / E = 1 / A
    expected = 1.0 / network.a[:, 0, 0]

    found = bench.circuit.transfer(frequency_hz)
    np.testing.assert_array_less(np.abs(found / expected - 1.0), RELATIVE)


def test_every_bundled_scene_stands_on_a_fixture_that_is_checked():
    """No bundled scene uses a fixture outside the ones compared above."""
    used = {load_scene(name).table.fixture.table for name in bundled_scenes()}
    assert used <= set(bundled_fixtures())
