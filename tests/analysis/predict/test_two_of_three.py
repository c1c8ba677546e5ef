"""Any two of inductance, capacitance and frequency."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfpower.analysis import InputError, Stated
from halfpower.analysis.predict import predict_resonance

L = st.floats(min_value=1e-9, max_value=1e-2)
C = st.floats(min_value=1e-13, max_value=1e-6)


@given(inductance=L, capacitance=C)
def test_each_third_gives_the_others_back(
    inductance: float, capacitance: float
) -> None:
    """L and C give f; f with either gives the other."""
    own, across = Stated(value=inductance), Stated(value=capacitance)
    found = predict_resonance(inductance_h=own, capacitance_f=across)
    f = Stated(value=found["resonant_frequency"].value)
    back = predict_resonance(frequency_hz=f, capacitance_f=across)["inductance"]
    assert back.value == pytest.approx(inductance, rel=1e-9, abs=0.0)
    back = predict_resonance(frequency_hz=f, inductance_h=own)["capacitance"]
    assert back.value == pytest.approx(capacitance, rel=1e-9, abs=0.0)


def test_a_round_case_by_hand() -> None:
    """100 uH and 1/(4 pi^2 1e-4 1e12) F resonate at 1 MHz, with 628.3 ohm."""
    capacitance = 1.0 / (4.0 * math.pi**2 * 1e8)
    found = predict_resonance(
        inductance_h=Stated(value=100e-6), capacitance_f=Stated(value=capacitance)
    )
    assert found["resonant_frequency"].value == pytest.approx(1e6, rel=1e-12)
    assert found["reactance"].value == pytest.approx(628.3185, rel=1e-6)


def test_a_frequency_has_half_the_relative_doubts() -> None:
    """u(f)/f is half the root of the squares of those of L and C."""
    found = predict_resonance(
        inductance_h=Stated(value=3.3e-6, u=0.04 * 3.3e-6),
        capacitance_f=Stated(value=150e-12, u=0.03 * 150e-12),
    )["resonant_frequency"]
    relative = found.standard_uncertainty / found.value
    assert relative == pytest.approx(0.025, rel=5e-3)


def test_a_measured_frequency_counts_twice() -> None:
    """L from f and C: twice f's relative doubt."""
    found = predict_resonance(
        frequency_hz=Stated(value=7e6, u=7e4), capacitance_f=Stated(value=150e-12)
    )["inductance"]
    relative = found.standard_uncertainty / found.value
    assert relative == pytest.approx(0.02, rel=1e-3)


@pytest.mark.parametrize("given_ones", [(), ("L",), ("L", "C", "f")])
def test_not_two_of_them_is_refused(given_ones: tuple[str, ...]) -> None:
    """None, one or all three."""
    with pytest.raises(InputError, match="give two of"):
        predict_resonance(
            inductance_h=Stated(value=1e-6) if "L" in given_ones else None,
            capacitance_f=Stated(value=1e-10) if "C" in given_ones else None,
            frequency_hz=Stated(value=1e7) if "f" in given_ones else None,
        )


@pytest.mark.parametrize(
    ("capacitance", "sentence"),
    [
        (Stated(value=0.0), "above zero"),
        (Stated(value=-1e-12), "above zero"),
        (Stated(value=1e-12, u=1e-12), "better than a third"),
    ],
)
def test_a_value_that_says_nothing_is_refused(
    capacitance: Stated, sentence: str
) -> None:
    """One sentence each."""
    with pytest.raises(InputError, match=sentence):
        predict_resonance(inductance_h=Stated(value=1e-6), capacitance_f=capacitance)
