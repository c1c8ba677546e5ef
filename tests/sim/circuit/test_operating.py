"""Drift, temperature, and an inductance that falls under its own current."""

import math

import numpy as np
import pytest

DRIFTING = (
    '[fixture]\ntable = "coupled-tank"\n'
    "[fixture.elements.stray]\ncapacitance_f = 0.0\n"
    "[fixture.elements.coupling]\ncapacitance_f = 1e-18\n"
    "[fixture.elements.lead]\ninductance_h = 1e-15\n"
    "[environment]\ntemperature_c = 33.0\nwarming_k_per_s = 0.1\n"
    '[parts.capacitor]\nkind = "capacitor"\ncapacitance_f = 150e-12\n'
    "temperature_coefficient_ppm_per_k = 100.0\n"
    '[parts.coil]\nkind = "coil"\ninductance_h = 3.3e-6\nresistance_ohm = 0.8\n'
    "drift_ppm_per_s = -40.0\n"
)
NO_INPUT = (
    '[detector]\nkind = "scope"\nresource = "TCPIP0::192.0.2.11::inst0::INSTR"\n'
    "input_resistance_ohm = 1e12\ninput_capacitance_f = 0.0\n"
)


def test_temperature_and_drift_move_the_values_as_their_coefficients_say(make_bench):
    """After 100 s: 20 K of 100 ppm/K on C, 100 s of -40 ppm/s on L."""
    bench = make_bench(rest=DRIFTING, detector=NO_INPUT)
    scale = bench.path._operating.drifted(100.0)  # noqa: SLF001 # no public way in
    names = [b.name for b in bench.circuit.branches]
    winding, known = names.index("coil.winding"), names.index("capacitor.capacitance")
    assert scale.inductance[winding] == pytest.approx(1.0 - 4e-3, rel=1e-12)
    assert scale.capacitance[known] == pytest.approx(1.0 + 2e-3, rel=1e-12)
    assert scale.capacitance[winding] == 1.0


def test_the_peak_moves_with_the_clock(make_bench):
    """f0 ~ (L C)^-1/2: from 0 to 100 s by +2000 ppm (L) - 500 ppm (C)."""
    bench = make_bench(rest=DRIFTING, detector=NO_INPUT)
    f = np.linspace(7.1e6, 7.3e6, 20001)

    def peak_hz(now_s):
        scale = bench.path._operating.drifted(now_s)  # noqa: SLF001 # no public way in
        response = bench.circuit.response(2j * math.pi * f, scale)
        return f[np.argmax(np.abs(response))]

    ratio = peak_hz(100.0) / peak_hz(0.0)
    expected = ((1.0 - 4e-3) * (1.002 / 1.001)) ** -0.5
    assert ratio == pytest.approx(expected, abs=2e-6)  # the grid is 1.4 ppm


SATURATING = (
    '[fixture]\ntable = "series-injection"\n'
    '[parts.capacitor]\nkind = "capacitor"\ncapacitance_f = 1e-9\n'
    '[parts.coil]\nkind = "coil"\ninductance_h = 100e-6\nresistance_ohm = 10.0\n'
    "saturation_current_a = 0.1\n"
)


@pytest.mark.parametrize("emf_v", [1.0, 100.0, 3000.0])
def test_the_operating_point_satisfies_its_own_law(make_bench, emf_v):
    """L = L0 / (1 + (I / Is)^2) at the current that flows with that L."""
    bench = make_bench(rest=SATURATING)
    operating = bench.path._operating  # noqa: SLF001 # no public way in
    omega = 2.0 * math.pi * 480e3
    scale = operating.scale(0.0, omega=omega, emf_v=emf_v)
    solution = bench.circuit.solve(np.array([1j * omega]), scale)
    names = [b.name for b in bench.circuit.branches]
    winding = names.index("coil.winding")
    voltage = bench.circuit.branch_voltage(solution)[0, winding]
    impedance = bench.circuit.impedance(np.array([1j * omega]), scale)[0, winding]
    current = abs(voltage / impedance) * emf_v
    left = scale.inductance[winding]
    assert left == pytest.approx(1.0 / (1.0 + (current / 0.1) ** 2), rel=1e-7)
    assert (left < 0.95) == (emf_v > 1000.0)


def test_a_bench_that_nothing_moves_has_no_operating_point(make_bench):
    """The quick path is taken where there is nothing to work out."""
    assert make_bench().path._operating is None  # noqa: SLF001 # no public way in
