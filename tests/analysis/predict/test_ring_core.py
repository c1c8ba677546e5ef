"""A coil on a ring core."""

import math

import pytest
from scipy import integrate

from halfpower.analysis import InputError, Stated
from halfpower.analysis.predict import RingCore, predict_on_al, predict_on_ring
from halfpower.analysis.predict.ring_core import ring_h
from halfpower.analysis.predict.solenoid import MU0


def ring(**changed: Stated) -> RingCore:
    """Make an invented ring: 23/14/7 mm, mu_r = 125."""
    made = {
        "outer_m": Stated(value=23e-3),
        "inner_m": Stated(value=14e-3),
        "height_m": Stated(value=7e-3),
        "relative_permeability": Stated.within(125.0, half_width=25.0),
    }
    return RingCore(**(made | changed))


def test_a_ring_s_inductance_is_the_flux_integral() -> None:
    """Ampere's law: B = mu I N/(2 pi r) over the section, integrated numerically."""
    flux, _ = integrate.quad(
        lambda r: MU0 * 125.0 * 12.0 / (2.0 * math.pi * r) * 7e-3, 7e-3, 11.5e-3
    )
    got = ring_h(
        outer_m=23e-3,
        inner_m=14e-3,
        height_m=7e-3,
        relative_permeability=125.0,
        turns=12.0,
    )
    assert got == pytest.approx(12.0 * flux, rel=1e-9, abs=0.0)


def test_a_thin_ring_is_the_mean_path_s() -> None:
    """Mu A N^2 / (pi D) where the section is small against the ring."""
    got = ring_h(
        outer_m=0.1005, inner_m=0.0995, height_m=1e-3, relative_permeability=1.0
    )
    assert got == pytest.approx(
        MU0 * 1e-3 * 0.5e-3 / (math.pi * 0.1), rel=1e-4, abs=0.0
    )


def test_turns_go_in_squares() -> None:
    """A_L of 4.9 nH and 20 turns: 1.96 uH."""
    assert predict_on_al(Stated(value=4.9e-9), turns=20)["inductance"].value == (
        pytest.approx(1.96e-6, rel=1e-12, abs=0.0)
    )


def test_the_core_s_tolerance_is_the_doubt() -> None:
    """20 % limits are 11.5 % standard; the winding's 2 % limits beside it."""
    made = predict_on_ring(ring(), turns=10)["inductance"]
    relative = math.hypot(0.2 / math.sqrt(3.0), 0.02 / math.sqrt(3.0))
    assert made.standard_uncertainty / made.value == pytest.approx(relative, rel=1e-6)


def test_a_core_taken_as_exact_is_said_so() -> None:
    """No core is."""
    codes = {one.code for one in predict_on_al(Stated(value=4.9e-9), turns=20).warnings}
    assert codes == {"core-taken-as-exact"}


def test_a_low_permeability_is_said_so() -> None:
    """Field outside the core."""
    core = ring(relative_permeability=Stated(value=6.0, u=0.3))
    codes = {one.code for one in predict_on_ring(core, turns=10).warnings}
    assert codes == {"field-outside-core"}


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"height_m": Stated(value=0.0)}, "height is above zero"),
        ({"inner_m": Stated(value=24e-3)}, "not below the outer one"),
        ({"relative_permeability": Stated(value=0.5)}, r"1 to 1e\+06, not 0.5"),
    ],
)
def test_a_ring_that_cannot_be_is_refused(
    changed: dict[str, Stated], sentence: str
) -> None:
    """One sentence each."""
    with pytest.raises(InputError, match=sentence):
        ring(**changed)


@pytest.mark.parametrize("turns", [0, -2])
def test_no_turns_are_refused(turns: int) -> None:
    """By both ways."""
    with pytest.raises(InputError, match="1 to 100000 turns"):
        predict_on_al(Stated(value=4.9e-9), turns=turns)
    with pytest.raises(InputError, match="1 to 100000 turns"):
        predict_on_ring(ring(), turns=turns)


def test_an_al_of_nothing_is_refused() -> None:
    """Zero is no core."""
    with pytest.raises(InputError, match="A_L is above zero"):
        predict_on_al(Stated(value=0.0), turns=3)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"inner_m": Stated.within(22e-3, half_width=2e-3)}, "lets them meet"),
        ({"outer_m": Stated.within(23e-3, half_width=12e-3)}, "lets them meet"),
        ({"relative_permeability": Stated(value=125.0, u=100.0)}, "so widely"),
        ({"relative_permeability": Stated(value=1e9)}, "not 1e"),
    ],
)
def test_a_ring_so_doubtful_that_nothing_follows_is_refused(
    changed: dict[str, Stated], sentence: str
) -> None:
    """It used to be given an inductance that could as well be below zero."""
    with pytest.raises(InputError, match=sentence):
        ring(**changed)


def test_an_al_that_is_hardly_known_is_refused() -> None:
    """5 nH to 100 % is no A_L."""
    with pytest.raises(InputError, match="so widely"):
        predict_on_al(Stated.within(5e-9, half_width=5e-9), turns=10)


def test_self_capacitance_is_said_to_be_unknown() -> None:
    """Of a core nobody can say it beforehand."""
    (remark,) = predict_on_al(Stated(value=4.9e-9, u=1e-10), turns=20).remarks
    assert remark.startswith("Self-capacitance")
