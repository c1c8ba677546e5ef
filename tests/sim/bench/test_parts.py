"""Parts become branches: what each part measures as, by formulas of its own."""

import math

import numpy as np
import pytest

from halfpower.sim.bench.parts import Draw, draw_values, part_branches, with_defect
from halfpower.sim.circuit import Circuit
from halfpower.sim.scene import Defect, SheetPart, Spread
from halfpower.sim.scene.part_models import CoilPart

NODES = ("source", "ground")


def impedance(branches, frequency_hz):
    """The impedance seen by a source behind 50 ohm: Z = 50 H / (1 - H)."""
    circuit = Circuit(
        branches,
        source_node="source",
        source_resistance_ohm=50.0,
        detector_node="source",
    )
    h = circuit.transfer(np.array([frequency_hz]))[0]
    return complex(50.0 * h / (1.0 - h))


def values_of(part):
    """Give the true values of a part without spread."""
    return draw_values(part, "x", Draw(0))


COIL = CoilPart.model_validate(
    {"kind": "coil", "inductance_h": 1e-4, "resistance_ohm": 2.0}
    | {"self_capacitance_f": 8e-12}
)


def test_self_capacitance_raises_what_a_coil_appears_to_be():
    """L = 100 uH, R = 2 ohm, 8 pF at 1 MHz: La/L = 1.0326127, Ra/R = 1.066289.

    Formulas of NBS Circular C74 (1918); the numbers are a recomputation of them. The
    first leaves out C R^2 / L = 3.2e-7 of the inductance.
    """
    z = impedance(part_branches("coil", "coil", NODES, values_of(COIL)), 1e6)
    assert z.imag / (2.0 * math.pi * 1e6) / 1e-4 == pytest.approx(1.0326127, abs=4e-7)
    assert z.real / 2.0 == pytest.approx(1.066289, abs=1e-6)


def test_a_shorted_turn_is_a_transformer_with_its_secondary_shorted():
    """Z = j w L + (w M)^2 / (R2 + j w L2), any L2 with M^2 = k^2 L L2."""
    defect = Defect(kind="shorted-turn", probability=1.0, coupling=Spread(nominal=0.1))
    bare = COIL.model_copy(update={"self_capacitance_f": Spread(nominal=0.0)})
    v = with_defect(defect, values_of(bare), lambda _, s: s.nominal)
    z = impedance(part_branches("coil", "coil", NODES, v), 2e6)
    omega, l2 = 2.0 * math.pi * 2e6, 1e-8
    r2 = 2.0 * math.pi * 1e6 * l2 / 30.0  # a turn of Q = 30 at 1 MHz
    m2 = 0.1 * 1e-4 * l2
    expected = 2.0 + 1j * omega * 1e-4 + omega**2 * m2 / (r2 + 1j * omega * l2)
    assert z == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("kind", "factor"), [("cracked-core", 0.7), ("wrong-value", 0.7)]
)
def test_a_wrong_inductance_is_wrong_by_its_factor(kind, factor):
    """And a cracked core loses more besides."""
    defect = Defect(kind=kind, probability=1.0)
    v = with_defect(defect, values_of(COIL), lambda _, s: s.nominal)
    assert v["inductance_h"] == pytest.approx(1e-4 * factor)
    assert (v["core_loss_tangent"] > 0.0) == (kind == "cracked-core")


def test_an_open_coil_is_its_self_capacitance():
    """Nothing but 8 pF is left."""
    v = with_defect(Defect(kind="open", probability=1.0), values_of(COIL), None)
    z = impedance(part_branches("coil", "coil", NODES, v), 1e6)
    assert -1.0 / (z.imag * 2.0 * math.pi * 1e6) == pytest.approx(
        8e-12, rel=1e-9, abs=0.0
    )


def test_a_second_resonance_stands_where_it_is_told():
    """At its frequency the coil is nearly shorted by omega L / Q."""
    part = COIL.model_copy(
        update={
            "second_resonance_hz": Spread(nominal=30e6),
            "second_inductance_h": Spread(nominal=1e-6),
            "second_resonance_q": Spread(nominal=40.0),
        }
    )
    z = impedance(part_branches("coil", "coil", NODES, values_of(part)), 30e6)
    assert abs(z) == pytest.approx(2.0 * math.pi * 30e6 * 1e-6 / 40.0, rel=0.02)


SHEET = SheetPart.model_validate(
    {
        "kind": "sheet",
        "relative_permittivity": 4.5,
        "loss_tangent": 0.02,
        "area_m2": 3.6e-3,
        "thickness_m": 1.6e-3,
        "edge_capacitance_f": 2e-12,
        "bond_thickness_m": 20e-6,
    }
)


def test_a_sheet_is_plates_in_series_with_its_bond_and_beside_its_edge():
    """C = C_edge + (t / (eps0 eps_r A) + d / (eps0 A))^-1, eps0 = 8.8541878188e-12."""
    lossless = SHEET.model_copy(update={"loss_tangent": Spread(nominal=0.0)})
    z = impedance(part_branches("sheet", "s", NODES, values_of(lossless)), 1e6)
    eps = 8.8541878188e-12
    series = 1.6e-3 / (eps * 4.5 * 3.6e-3) + 20e-6 / (eps * 3.6e-3)
    expected = 2e-12 + 1.0 / series
    assert -1.0 / (z.imag * 2.0 * math.pi * 1e6) == pytest.approx(
        expected, rel=1e-9, abs=0.0
    )


def test_the_edge_dilutes_the_loss():
    """The tan delta of the whole is that of the sheet times C_sheet / C_whole."""
    part = SHEET.model_copy(update={"bond_thickness_m": Spread(nominal=0.0)})
    y = 1.0 / impedance(part_branches("sheet", "s", NODES, values_of(part)), 1e6)
    plates = 8.8541878188e-12 * 4.5 * 3.6e-3 / 1.6e-3
    assert y.real / y.imag == pytest.approx(0.02 * plates / (plates + 2e-12), rel=1e-9)


def test_a_wider_sheets_edge_goes_with_the_sheet():
    """In its place air has the edge capacitance that is stated for air."""
    part = SHEET.model_copy(
        update={"edge_capacitance_in_air_f": Spread(nominal=1.2e-12)}
    )
    v = values_of(part) | {"in_air": True}
    y = 1.0 / impedance(part_branches("sheet", "s", NODES, v), 1e6)
    expected = 8.8541878188e-12 * 3.6e-3 / 1.6e-3 + 1.2e-12
    assert y.imag / (2.0 * math.pi * 1e6) == pytest.approx(expected, rel=1e-9, abs=0.0)


def test_air_in_the_sheets_place_is_lossless_and_has_no_permittivity():
    """The same plates at the same spacing."""
    v = values_of(SHEET) | {"in_air": True}
    y = 1.0 / impedance(part_branches("sheet", "s", NODES, v), 1e6)
    expected = 8.8541878188e-12 * 3.6e-3 / 1.6e-3 + 2e-12
    assert y.imag / (2.0 * math.pi * 1e6) == pytest.approx(expected, rel=1e-9, abs=0.0)
    assert abs(y.real) < 1e-12 * abs(y.imag) + 1e-15
