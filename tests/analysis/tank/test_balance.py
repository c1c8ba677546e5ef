"""The balance of a tank, there and back, and against complex arithmetic."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize

from halfpower.analysis.tank.balance import AtResonance, Loop, loop_from, shunt_from
from halfpower.analysis.tank.shunt import Shunt


@given(
    q=st.floats(3.0, 2000.0),
    share=st.floats(0.0, 0.95),
    f0=st.floats(1e4, 1e8),
)
def test_loop_and_shunt_are_each_other_s_inverse(
    q: float, share: float, f0: float
) -> None:
    """What is across a loop comes back from the loop that it gave, at any Q."""
    omega = 2.0 * math.pi * f0
    shunt = Shunt(capacitance_f=1e-10, conductance_s=share * omega * 1e-10 / q)
    at = AtResonance(omega=omega, loss=1.0 / q)
    again = shunt_from(at, loop=loop_from(at, shunt=shunt))
    assert again.capacitance_f == pytest.approx(1e-10, rel=1e-9, abs=0.0)
    assert again.conductance_s == pytest.approx(
        shunt.conductance_s, rel=1e-6, abs=1e-9 * omega * 1e-10
    )


def test_the_balance_is_the_circuit_s_own_pole() -> None:
    """G + sT + 1/(R + sL) = 0 has |s| = w0 and -2 Re s = w0/Q: complex arithmetic."""
    ohm, henry, farad, siemens = 2.0, 25e-6, 170e-12, 4e-7

    def admittance(part: list[float]) -> tuple[float, float]:
        s = complex(part[0], part[1]) * 1e7
        y = siemens + s * farad + 1.0 / (ohm + s * henry)
        return y.real * 1e6, y.imag * 1e6

    real, imaginary = optimize.fsolve(
        admittance, [-0.005, (henry * farad) ** -0.5 / 1e7], xtol=1e-14
    )
    s = complex(real, imaginary) * 1e7
    at = AtResonance(omega=abs(s), loss=-2.0 * s.real / abs(s))
    loop = loop_from(at, shunt=Shunt(capacitance_f=farad, conductance_s=siemens))
    assert loop.inductance_h == pytest.approx(henry, rel=1e-9, abs=0.0)
    assert loop.resistance_ohm == pytest.approx(ohm, rel=1e-6)
    across = shunt_from(at, loop=Loop(resistance_ohm=ohm, inductance_h=henry))
    assert across.conductance_s == pytest.approx(siemens, rel=1e-5, abs=0.0)
