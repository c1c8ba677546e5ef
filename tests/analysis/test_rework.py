"""Many results worked out again at once, against one at a time."""

import math
from dataclasses import dataclass, replace
from typing import Generic

import numpy as np
import pytest

from halfpower.analysis import AnalysisError, InputError, Stated
from halfpower.analysis.lots import (
    DECISIONS,
    Decision,
    GuardBand,
    Limits,
    decide,
    decide_rows,
    worst_of,
)
from halfpower.analysis.tank import (
    CAPACITOR_UNITS,
    COIL_UNITS,
    Resonance,
    Tank,
    capacitors_again,
    coils_again,
    deduce_coil,
)
from halfpower.analysis.tank.attached import Steps
from halfpower.analysis.tank.capacitor import across_deduction
from halfpower.analysis.uncertainty import (
    Joint,
    Known,
    Member,
    N,
    propagate,
    propagate_rows,
)


def invented_tank(kind: str = "coupled-tank") -> Tank:
    """An invented fixture with a doubt on everything."""
    both = kind == "coupled-both-sides"
    return Tank(
        kind="coupled-both-sides" if both else "coupled-tank",
        capacitor_f=Stated.within(150e-12, half_width=1.5e-12),
        capacitor_loss=Stated(value=2.5e-4, u=1.4e-4),
        self_capacitance_f=Stated.within(2.5e-12, half_width=2e-12),
        stray_f=Stated(value=4.2e-12, u=0.2e-12),
        stray_loss=Stated(value=1e-3, u=5e-4),
        lead_h=Stated(value=20e-9, u=5e-9),
        lead_ohm=Stated(value=0.05, u=0.02),
        coupling_f=Stated(value=1e-12, u=0.1e-12),
        source_ohm=Stated(value=50.0, u=0.5),
        probe_ohm=Stated(value=50.0 if both else 1e6, u=1.0 if both else 5e4),
        probe_f=Stated(value=2e-12, u=0.3e-12),
        output_coupling_f=Stated(value=1e-12, u=0.1e-12) if both else None,
        frequency_reference=Stated.within(0.0, half_width=1e-5),
        linearity=Stated.within(0.0, half_width=0.01),
        loss_exponent=Stated(value=0.5, u=0.25),
    )


def invented_pairs(count: int, *, lower: float = 1.0) -> Joint:
    """Resonances near 2.2 MHz with Q of 60 to 110 and correlated doubts."""
    rng = np.random.default_rng(5)
    f0 = 2.2e6 * rng.uniform(0.95, 1.05, count) * lower
    q = rng.uniform(60.0, 110.0, count) * (1.0 if lower == 1.0 else 0.97)
    u_f, u_q = 1e-5 * f0, 2e-3 * q
    covariance = np.empty((count, 2, 2))
    covariance[:, 0, 0], covariance[:, 1, 1] = u_f**2, u_q**2
    covariance[:, 0, 1] = covariance[:, 1, 0] = 0.3 * u_f * u_q
    return Joint(
        values=np.stack((f0, q), axis=1),
        covariance=covariance,
        degrees_of_freedom=np.resize([math.inf, 12.0, 2.0], count),
    )


def single(pairs: Joint, i: int) -> Resonance[Member]:
    """One part's resonance."""
    return Resonance.of(pairs.select(slice(i, i + 1)))


@pytest.mark.parametrize("kind", ["coupled-tank", "coupled-both-sides"])
def test_coils_are_those_of_one_at_a_time(kind: str) -> None:
    """Values and standard uncertainties are deduce_coil's, to 1e-12 of themselves."""
    tank, pairs = invented_tank(kind), invented_pairs(6)
    rows = coils_again(tank, measured=Resonance.of(pairs))
    assert rows.names == tuple(COIL_UNITS)
    for i in range(6):
        one = deduce_coil(tank, measured=single(pairs, i))
        np.testing.assert_allclose(rows.values[i], [d.value for d in one], rtol=1e-12)
        np.testing.assert_allclose(
            rows.u[i], [d.standard_uncertainty for d in one], rtol=1e-12
        )


def test_capacitors_are_those_of_one_at_a_time() -> None:
    """So are those of two resonances, whose tank is common to both."""
    tank = invented_tank()
    reference, unknown = invented_pairs(4), invented_pairs(4, lower=0.8)
    rows = capacitors_again(
        tank, reference=Resonance.of(reference), unknown=Resonance.of(unknown)
    )
    for i in range(4):
        steps = Steps.known(
            tank, before=single(reference, i), loaded=single(unknown, i)
        )
        one = propagate(across_deduction, steps, units=CAPACITOR_UNITS)
        np.testing.assert_allclose(rows.values[i], [d.value for d in one], rtol=1e-12)
        np.testing.assert_allclose(
            rows.u[i], [d.standard_uncertainty for d in one], rtol=1e-12
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Line(Generic[N]):
    """A straight line."""

    a: N
    x: N
    b: N


def test_a_sum_of_squares_is_what_it_must_be() -> None:
    """With y = a x + b, u^2 = x^2 u(a)^2 + a^2 u(x)^2 + u(b)^2, by hand."""
    x, b = Joint(
        values=np.array([[3.0, 10.0]]),
        covariance=np.array([[[0.04, 0.0], [0.0, 0.25]]]),
        degrees_of_freedom=np.array([math.inf]),
    ).members
    line: Line[Known] = Line(a=Stated(value=2.0, u=0.1), x=x, b=b)
    rows = propagate_rows(lambda at: {"y": at.a * at.x + at.b}, line)
    assert rows.values[0, 0] == pytest.approx(16.0, rel=1e-15)
    assert rows.u[0, 0] == pytest.approx(math.sqrt(0.09 + 0.16 + 0.25), rel=1e-12)


def test_many_chunks_are_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """How many parts go at once changes nothing."""
    tank, pairs = invented_tank(), invented_pairs(7)
    whole = coils_again(tank, measured=Resonance.of(pairs))
    monkeypatch.setattr("halfpower.analysis.uncertainty.rows.AT_ONCE", 3)
    cut = coils_again(tank, measured=Resonance.of(pairs))
    np.testing.assert_array_equal(cut.values, whole.values)
    np.testing.assert_array_equal(cut.u, whole.u)


def test_a_coil_below_its_fixtures_loading_is_refused() -> None:
    """Where deduce_coil refuses, the part has no values, and the others have."""
    tank = replace(invented_tank(), probe_ohm=Stated(value=1e5, u=1e3))
    pairs = invented_pairs(2)
    pairs.values[1, 1] = 400.0
    with pytest.raises(AnalysisError, match="loaded Q"):
        deduce_coil(tank, measured=single(pairs, 1))
    rows = coils_again(tank, measured=Resonance.of(pairs))
    assert rows.refused.tolist() == [False, True]
    assert np.isnan(rows.values[1]).all()
    assert np.isfinite(rows.values[0]).all()


def test_a_coil_that_is_all_leads_is_refused() -> None:
    """Leads of more than the loop's inductance leave no coil."""
    tank = replace(invented_tank(), lead_h=Stated(value=1.0, u=0.0))
    assert coils_again(tank, measured=Resonance.of(invented_pairs(2))).refused.all()


def test_an_unmeasured_part_stays_unmeasured() -> None:
    """NaN in, NaN out, and not called refused."""
    pairs = invented_pairs(3)
    pairs.values[1] = np.nan
    rows = coils_again(invented_tank(), measured=Resonance.of(pairs))
    assert np.isnan(rows.values[1]).all()
    assert not rows.refused.any()


def test_a_capacitor_that_raises_the_frequency_is_refused() -> None:
    """No capacitor across a tank does that."""
    rows = capacitors_again(
        invented_tank(),
        reference=Resonance.of(invented_pairs(2)),
        unknown=Resonance.of(invented_pairs(2, lower=1.01)),
    )
    assert rows.refused.all()


def test_pairs_of_other_shapes_are_refused() -> None:
    """A covariance for each part, or none."""
    pairs = invented_pairs(2)
    with pytest.raises(InputError, match="shapes"):
        replace(pairs, covariance=pairs.covariance[:1])


@pytest.mark.parametrize("zone", [True, False])
@pytest.mark.parametrize(
    "limits",
    [Limits(lower=9.0, upper=11.0), Limits(lower=9.0), Limits(upper=11.0)],
)
def test_decisions_are_those_of_one_at_a_time(*, limits: Limits, zone: bool) -> None:
    """On a grid of values and doubts, some too wide for the limits to hold any."""
    rule = GuardBand(multiple=2.0, undecided_zone=zone)
    value, u = np.meshgrid(np.linspace(8.0, 12.0, 41), [0.0, 0.1, 0.5, 0.51, 2.0])
    found = decide_rows(value.ravel(), u=u.ravel(), limits=limits, guard_band=rule)
    expected = [
        decide(float(v), u=float(w), limits=limits, guard_band=rule).decision
        for v, w in zip(value.ravel(), u.ravel(), strict=True)
    ]
    assert [DECISIONS[code] for code in found] == expected
    assert len(set(expected)) == 2 + zone


def test_nothing_is_decided_of_nothing() -> None:
    """Without a value or its doubt neither accepted nor rejected, as in `decided`."""
    found = decide_rows(
        np.array([math.nan, math.nan, 1.0, 1.0]),
        u=np.array([math.nan, 0.1, math.nan, 0.1]),
        limits=Limits(lower=0.0),
        guard_band=GuardBand(),
    )
    assert [DECISIONS[code] for code in found] == [
        *3 * [Decision.UNDECIDED],
        Decision.ACCEPTED,
    ]


def test_one_limit_rejects_for_all() -> None:
    """Rejected outweighs undecided, and undecided accepted."""
    one = np.array([0, 0, 1, 2], dtype=np.int8)
    other = np.array([0, 1, 2, 0], dtype=np.int8)
    worst = worst_of([one, other], count=4)
    said = [DECISIONS[code].value for code in worst]
    assert said == ["accepted", "undecided", "rejected", "rejected"]
    assert worst_of([], count=2).tolist() == [0, 0]
