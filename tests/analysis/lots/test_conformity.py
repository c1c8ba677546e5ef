"""Decisions by limits and guard bands: the zones, the edges, the risks."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from halfpower.analysis import AnalysisError, InputError
from halfpower.analysis.lots import Decision, GuardBand, Limits, decide
from halfpower.analysis.lots.conformity import (
    Process,
    conformance_probability,
    global_risks,
    guard_band_for,
)

TEN = Limits(lower=9.0, upper=11.0)
UPPER = Limits(upper=11.0)
SIMPLE = GuardBand()
TWO_U = GuardBand(multiple=2.0)
BINARY = GuardBand(multiple=2.0, undecided_zone=False)

values = st.floats(min_value=5.0, max_value=15.0)
doubts = st.floats(min_value=0.0, max_value=2.0)


@pytest.mark.parametrize(
    ("value", "decision"),
    [
        (10.0, Decision.ACCEPTED),
        (9.25, Decision.ACCEPTED),  # 9 + 2 x 0.125, exact in binary
        (9.2, Decision.UNDECIDED),
        (8.8, Decision.UNDECIDED),
        (8.75, Decision.UNDECIDED),
        (8.7, Decision.REJECTED),
        (11.2, Decision.UNDECIDED),
        (11.3, Decision.REJECTED),
    ],
)
def test_the_band_lies_on_both_sides_of_a_limit(
    value: float, decision: Decision
) -> None:
    """Limits 9 and 11, u = 0.125, a band of 2 u = 0.25."""
    assert decide(value, u=0.125, limits=TEN, guard_band=TWO_U).decision is decision


def test_without_a_zone_what_is_not_accepted_is_rejected() -> None:
    """JCGM 106, 8.3.2: guarded acceptance is a binary rule."""
    found = decide(9.2, u=0.125, limits=TEN, guard_band=BINARY)
    assert found.decision is Decision.REJECTED
    assert found.acceptance == Limits(lower=9.25, upper=10.75)


@given(values, doubts)
def test_simple_acceptance_never_leaves_a_part_undecided(
    value: float, u: float
) -> None:
    """Without a guard band the limits alone decide."""
    found = decide(value, u=u, limits=TEN, guard_band=SIMPLE)
    wanted = Decision.ACCEPTED if TEN.contain(value) else Decision.REJECTED
    assert found.decision is wanted


@given(values, st.floats(min_value=1e-3, max_value=2.0))
def test_an_accepted_part_runs_no_more_than_the_band_s_risk(
    value: float, u: float
) -> None:
    """A band of 2 u: at most Phi(-2) beyond each limit, derived."""
    found = decide(value, u=u, limits=TEN, guard_band=TWO_U)
    if found.decision is not Decision.UNDECIDED:
        assert found.risk is not None
        assert found.risk <= 2.0 * stats.norm.sf(2.0) + 1e-12


@given(values, doubts)
def test_the_probabilities_of_two_halves_make_a_whole(value: float, u: float) -> None:
    """Below 10 and above it; with u = 0 the common limit conforms to both."""
    below = conformance_probability(value, u=u, limits=Limits(upper=10.0))
    above = conformance_probability(value, u=u, limits=Limits(lower=10.0))
    whole = 2.0 if u == 0.0 and value == 10.0 else 1.0
    assert below + above == pytest.approx(whole, abs=1e-12)


def test_far_tails_keep_their_digits() -> None:
    """Phi(-10) and nothing rounded to zero, on either side."""
    tail = stats.norm.sf(10.0)
    one_sided = Limits(upper=11.0)
    high = conformance_probability(12.0, u=0.1, limits=one_sided)
    low = conformance_probability(8.0, u=0.1, limits=TEN)
    assert high == pytest.approx(tail, rel=1e-9, abs=0.0)
    assert low == pytest.approx(tail, rel=1e-9, abs=0.0)


def test_bands_that_meet_accept_nothing_and_say_so() -> None:
    """U = 0.5, bands of 1 on a tolerance of 2: not even the middle."""
    found = decide(10.0, u=0.5, limits=TEN, guard_band=TWO_U)
    assert found.decision is Decision.UNDECIDED
    assert found.acceptance is None
    assert [one.code for one in found.cautions] == ["nothing_acceptable"]
    assert "of 0.5 meet within a tolerance of 2;" in found.cautions[0].text
    binary = decide(10.0, u=0.5, limits=TEN, guard_band=BINARY)
    assert binary.decision is Decision.REJECTED
    assert binary.cautions == found.cautions


def test_one_limit_never_leaves_nothing_to_accept() -> None:
    """However large u is."""
    found = decide(-500.0, u=100.0, limits=UPPER, guard_band=TWO_U)
    assert found.decision is Decision.ACCEPTED
    assert found.acceptance == Limits(upper=-189.0)
    assert not found.cautions


@pytest.mark.parametrize("value", [9.0, 11.0])
def test_an_exact_value_on_a_limit_conforms(value: float) -> None:
    """JCGM 106, 3.3.5: a tolerance interval includes its limits."""
    found = decide(value, u=0.0, limits=TEN, guard_band=TWO_U)
    assert (found.decision, found.probability, found.risk) == (
        Decision.ACCEPTED,
        1.0,
        0.0,
    )
    just_out = math.nextafter(value, 20.0 if value > 10.0 else 0.0)
    assert conformance_probability(just_out, u=0.0, limits=TEN) == 0.0


def test_tolerances_are_about_the_nominal_value() -> None:
    """-20 % +80 %, a negative nominal too, and one-sided by a zero."""
    both = Limits.about(100.0, tolerance_relative=(0.2, 0.8))
    assert (both.lower, both.upper) == (80.0, 180.0)
    assert Limits.about(-100.0, tolerance_relative=0.5) == Limits(lower=-150, upper=-50)
    assert Limits.about(8.0, tolerance_relative=(0.0, 0.25)).low == 8.0


def test_an_expanded_band_is_its_share_of_k_u() -> None:
    """0.83 U with k = 2 is 1.66 u."""
    assert GuardBand.of_expanded(0.83).multiple == pytest.approx(1.66)


@pytest.mark.parametrize("u", [0.0, 0.02, 0.3])
@pytest.mark.parametrize("rule", [SIMPLE, TWO_U, BINARY])
def test_a_lot_s_risks_are_what_drawn_parts_run(u: float, rule: GuardBand) -> None:
    """200 000 parts drawn, measured and decided; within 4.5 standard errors."""
    rng = np.random.default_rng(5)
    true = rng.normal(10.3, 0.4, 200_000)
    read = true + u * rng.standard_normal(true.size)
    width = rule.multiple * u
    good = (true >= 9.0) & (true <= 11.0)
    accepted = (read >= 9.0 + width) & (read <= 11.0 - width)
    out = width if rule.undecided_zone else -width
    rejected = (read < 9.0 - out) | (read > 11.0 + out)
    found = global_risks(Process(mean=10.3, sd=0.4), u=u, limits=TEN, guard_band=rule)
    pairs = [
        (found.conforming, good),
        (found.consumer, accepted & ~good),
        (found.producer, rejected & good),
        (found.undecided, ~accepted & ~rejected),
    ]
    for share, drawn in pairs:
        error = math.sqrt(max(share, 1e-5) / true.size)
        assert share == pytest.approx(drawn.mean(), abs=4.5 * error)


def test_one_sided_risks_are_bivariate_normal_quadrants() -> None:
    """Independent: scipy's bivariate normal distribution (Genz's algorithm)."""
    process, u = Process(mean=10.5, sd=0.4), 0.1
    found = global_risks(process, u=u, limits=UPPER, guard_band=SIMPLE)
    spread = math.hypot(0.4, u)
    rho = 0.4 / spread
    both = stats.multivariate_normal([0, 0], [[1, rho], [rho, 1]])
    good, accepted = 0.5 / 0.4, 0.5 / spread
    together = both.cdf([good, accepted])
    assert found.consumer == pytest.approx(
        stats.norm.cdf(accepted) - together, abs=1e-7
    )
    assert found.producer == pytest.approx(stats.norm.cdf(good) - together, abs=1e-7)


def test_a_band_for_a_risk_just_meets_it() -> None:
    """And is none where simple acceptance does."""
    process = Process(mean=10.3, sd=0.4)
    band = guard_band_for(1e-3, process=process, u=0.1, limits=TEN)
    found = global_risks(process, u=0.1, limits=TEN, guard_band=band)
    assert found.consumer == pytest.approx(1e-3, rel=1e-6)
    assert guard_band_for(0.5, process=process, u=0.1, limits=TEN).multiple == 0.0


def test_a_risk_that_no_band_meets_is_refused() -> None:
    """All parts just beyond a limit: 10 u of it still leave Phi(-10) = 8e-24."""
    process = Process(mean=11.01, sd=1e-3)
    with pytest.raises(AnalysisError, match="no guard band"):
        guard_band_for(1e-26, process=process, u=1.0, limits=UPPER)


@pytest.mark.parametrize(
    "limits",
    [
        {},
        {"lower": 1.0, "upper": 1.0},
        {"lower": 2.0, "upper": 1.0},
        {"upper": math.nan},
        {"lower": math.inf},
    ],
)
def test_limits_with_nothing_between_are_refused(limits: dict[str, float]) -> None:
    """None at all, crossed, meeting, not finite."""
    with pytest.raises(InputError):
        Limits(**limits)


@pytest.mark.parametrize("tolerance", [-0.1, math.nan, (0.1, -0.2), 0.0])
def test_tolerances_that_are_none_are_refused(
    tolerance: float | tuple[float, float],
) -> None:
    """Below zero, no number, or of no width."""
    with pytest.raises(InputError):
        Limits.about(10.0, tolerance_relative=tolerance)


def test_a_tolerance_of_nothing_is_refused() -> None:
    """Five per cent of zero."""
    with pytest.raises(InputError, match="not zero"):
        Limits.about(0.0, tolerance_relative=0.05)


@pytest.mark.parametrize(
    ("value", "u"), [(math.nan, 0.1), (10.0, math.nan), (10.0, -0.1), (10.0, math.inf)]
)
def test_what_was_not_measured_is_not_decided_on(value: float, u: float) -> None:
    """Never by a comparison with NaN that happens to come out one way."""
    with pytest.raises(InputError, match="not measured"):
        decide(value, u=u, limits=TEN, guard_band=TWO_U)


def test_other_refusals() -> None:
    """A band below zero, no spread, a risk of none or all, a doubt of NaN."""
    with pytest.raises(InputError):
        GuardBand(multiple=-1.0)
    with pytest.raises(InputError):
        Process(mean=1.0, sd=0.0)
    process = Process(mean=10.0, sd=1.0)
    for risk in (0.0, 1.0, 1.5):
        with pytest.raises(InputError):
            guard_band_for(risk, process=process, u=0.1, limits=TEN)
    with pytest.raises(InputError):
        global_risks(process, u=math.nan, limits=TEN, guard_band=SIMPLE)
