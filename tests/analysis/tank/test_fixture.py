"""What a fixture adds, from tanks that are written out here."""

import math

import numpy as np
import pytest

from halfpower.analysis import (
    AnalysisError,
    InputError,
    Peak,
    ResonanceFit,
    Stated,
    Trace,
    fit,
)
from halfpower.analysis.quantity import Quantity
from halfpower.analysis.tank import (
    PROBE,
    CoilPoint,
    FixtureCoil,
    Tank,
    deduce_loading,
    deduce_probe,
    deduce_stray,
)

NOTHING = Stated(value=0.0)
HENRY, STRAY_F, OWN_F = 25e-6, 5e-12, 4e-12


def tank(**known: Stated) -> Tank:
    """A tank with nothing in it but what is given."""
    names = (
        "capacitor_f", "capacitor_loss", "self_capacitance_f", "stray_f", "stray_loss",
        "lead_h", "lead_ohm", "coupling_f", "probe_f", "frequency_reference",
        "linearity", "loss_exponent",
    )  # fmt: skip
    given = dict.fromkeys(names, NOTHING) | {
        "source_ohm": Stated(value=50.0),
        "probe_ohm": Stated(value=1e15),
    }
    return Tank(kind="coupled-tank", **(given | known))


def resonance(farad: float, *, q: float, henry: float = HENRY) -> ResonanceFit:
    """Fit the response of L with this much across it, with a little scatter."""
    f0 = 1.0 / (2.0 * math.pi * math.sqrt(henry * farad))
    t = np.linspace(-3.0, 3.0, 31) / q
    x = t / 2.0 + np.sqrt(1.0 + t**2 / 4.0)
    wobble = 1.0 + 1e-6 * (-1.0) ** np.arange(31)
    amplitude = x / np.sqrt(1.0 + (q * t) ** 2) * wobble
    trace = Trace(frequency_hz=f0 * x, amplitude_v=amplitude)
    return fit(trace, response=Peak(exponent=1.0))


def work_coil(
    name: str, *, own: Stated, henry: float = HENRY, u_f: float = 0.0
) -> FixtureCoil:
    """A coil on three capacitors, its own capacitance and the stray across it."""
    points = tuple(
        CoilPoint(
            step=f"{name}, {pf} pF",
            capacitor_f=Stated(value=pf * 1e-12, u=u_f),
            capacitor_loss=NOTHING,
            found=resonance(pf * 1e-12 + own.value + STRAY_F, q=250.0, henry=henry),
            capacitor=f"{pf} pF",
        )
        for pf in (68, 150, 470)
    )
    return FixtureCoil(name=name, self_capacitance_f=own, points=points)


def named(found: tuple[Quantity, ...], name: str) -> Quantity:
    """Pick one of the deduced."""
    return next(one for one in found if one.name == name)


def test_the_intercept_less_the_coil_s_own_is_the_stray() -> None:
    """5 pF come back; the doubt of the coil's 4 pF is the stray's, pF for pF."""
    coil = work_coil("A", own=Stated(value=OWN_F, u=0.3e-12))
    found = deduce_stray(tank(), coils=[coil])
    stray = named(found, "stray_capacitance")
    assert stray.value == pytest.approx(STRAY_F, rel=1e-4, abs=0.0)
    assert stray.standard_uncertainty == pytest.approx(0.3e-12, rel=0.01, abs=0.0)
    assert named(found, "inductance, A").value == pytest.approx(
        HENRY, rel=1e-5, abs=0.0
    )


def test_a_second_coil_tells_the_shares_apart() -> None:
    """Two estimates of 0.3 pF each leave 0.3/sqrt(2) = 0.212 pF."""
    own = Stated(value=OWN_F, u=0.3e-12)
    coils = [work_coil("A", own=own), work_coil("B", own=own, henry=6e-6)]
    stray = named(deduce_stray(tank(), coils=coils), "stray_capacitance")
    assert stray.value == pytest.approx(STRAY_F, rel=1e-4, abs=0.0)
    assert stray.standard_uncertainty == pytest.approx(0.2121e-12, rel=0.01, abs=0.0)


def test_what_the_coils_share_is_not_averaged_away() -> None:
    """The same uncertain capacitors with both coils: hardly better than with one."""
    own = Stated(value=OWN_F)
    one = [work_coil("A", own=own, u_f=0.5e-12)]
    two = [*one, work_coil("B", own=own, henry=6e-6, u_f=0.5e-12)]
    alone, both = (
        named(deduce_stray(tank(), coils=coils), "stray_capacitance")
        for coils in (one, two)
    )
    assert both.standard_uncertainty == pytest.approx(
        alone.standard_uncertainty, rel=0.02
    )


def test_a_stray_below_zero_is_refused() -> None:
    """A coil whose own capacitance was stated 10 pF too large."""
    coil = work_coil("A", own=Stated(value=OWN_F))
    wrong = FixtureCoil(
        name="A", self_capacitance_f=Stated(value=OWN_F + 10e-12), points=coil.points
    )
    with pytest.raises(AnalysisError, match="no fixture is below zero"):
        deduce_stray(tank(), coils=[wrong])


def test_one_capacitor_makes_no_line() -> None:
    """Two or more, and not too alike."""
    coil = work_coil("A", own=Stated(value=OWN_F))
    short = FixtureCoil(
        name="A", self_capacitance_f=coil.self_capacitance_f, points=coil.points[:1]
    )
    with pytest.raises(InputError, match="two known capacitors"):
        deduce_stray(tank(), coils=[short])


def test_a_second_probe_is_what_the_first_one_is() -> None:
    """10 pF and 2 Mohm, added to a tank of 170 pF whose coil has 1.2 ohm."""
    known = tank(capacitor_f=Stated(value=170e-12))

    def loaded(farad: float, siemens: float) -> ResonanceFit:
        omega = (HENRY * farad) ** -0.5
        return resonance(
            farad, q=1.0 / (1.2 / (omega * HENRY) + siemens / (omega * farad))
        )

    found = deduce_probe(
        known,
        reference=loaded(170e-12, 0.0),
        loaded=loaded(180e-12, 0.5e-6),
        alike=Stated.within(0.0, half_width=0.1),
    )
    assert named(found, "probe_capacitance").value == pytest.approx(
        10e-12, rel=1e-3, abs=0.0
    )
    resistance = named(found, "probe_resistance")
    assert resistance.value == pytest.approx(2e6, rel=0.01)
    # 10 % limits of likeness are 5.77 % of u, and nothing else is in doubt here
    assert resistance.standard_uncertainty == pytest.approx(0.0577 * 2e6, rel=0.05)
    assert PROBE == "second probe"


def test_a_coil_of_known_q_shows_what_the_probe_takes() -> None:
    """Q = 300 alone, 250 with a probe: R = w L / (1/250 - 1/300), 592 kohm here."""
    known = tank(capacitor_f=Stated(value=170e-12))
    found = resonance(170e-12, q=250.0)
    omega = (HENRY * 170e-12) ** -0.5
    expected = omega * HENRY / (1.0 / 250.0 - 1.0 / 300.0)
    (resistance,) = deduce_loading(
        known, found=found, coil_q=Stated(value=300.0, u=3.0)
    )
    assert resistance.value == pytest.approx(expected, rel=1e-3)


def test_a_loading_that_cannot_be_told_is_refused() -> None:
    """A coil of Q = 251 +- 5 % says nothing of a tank that has 250."""
    known = tank(capacitor_f=Stated(value=170e-12))
    with pytest.raises(AnalysisError, match="does not stand out"):
        deduce_loading(
            known,
            found=resonance(170e-12, q=250.0),
            coil_q=Stated.within(251.0, half_width=12.0),
        )
