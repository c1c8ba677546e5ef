"""What a coupling puts across the tank, against complex arithmetic."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfpower.analysis.tank.shunt import Shunt, coupled_branch

PICO = st.floats(min_value=1e-14, max_value=1e-9)


@given(
    coupling_f=PICO,
    capacitance_f=st.just(0.0) | PICO,
    resistance_ohm=st.floats(min_value=0.1, max_value=1e7),
    frequency_hz=st.floats(min_value=1e4, max_value=1e9),
)
def test_a_branch_is_the_series_of_its_impedances(
    coupling_f: float, capacitance_f: float, resistance_ohm: float, frequency_hz: float
) -> None:
    """1 / (1/jwC + 1/(1/R + jwC_R)), taken apart, to rounding of the larger part."""
    omega = 2.0 * math.pi * frequency_hz
    end = 1.0 / (1.0 / resistance_ohm + 1j * omega * capacitance_f)
    admittance = 1.0 / (1.0 / (1j * omega * coupling_f) + end)
    got = coupled_branch(
        coupling_f,
        resistance_ohm=resistance_ohm,
        omega=omega,
        capacitance_f=capacitance_f,
    )
    rounding = 1e-13 * abs(admittance)
    assert got.conductance_s == pytest.approx(admittance.real, rel=1e-9, abs=rounding)
    assert omega * got.capacitance_f == pytest.approx(
        admittance.imag, rel=1e-9, abs=rounding
    )


def test_a_small_coupling_s_conductance_is_the_known_approximation() -> None:
    """(wC)^2 R within (wCR)^2 of itself: 1 pF into 50 ohm at 7 MHz."""
    omega = 2.0 * math.pi * 7e6
    got = coupled_branch(1e-12, resistance_ohm=50.0, omega=omega)
    small = (omega * 1e-12 * 50.0) ** 2
    assert got.conductance_s == pytest.approx(
        (omega * 1e-12) ** 2 * 50.0, abs=0.0, rel=2 * small
    )
    assert got.capacitance_f == pytest.approx(1e-12, abs=0.0, rel=2 * small)


def test_shunts_in_parallel_add() -> None:
    """Capacitances and conductances each, on arrays as on numbers."""
    total = Shunt(capacitance_f=np.array([1.0, 2.0]), conductance_s=3.0) + Shunt(
        capacitance_f=0.5, conductance_s=4.0
    )
    assert list(total.capacitance_f) == [1.5, 2.5]
    assert total.conductance_s == 7.0
    rest = total - Shunt(capacitance_f=0.5, conductance_s=4.0)
    assert list(rest.capacitance_f) == [1.0, 2.0]
    assert rest.conductance_s == 3.0
