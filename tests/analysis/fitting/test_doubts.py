"""Doubts: each flag, on a trace that deserves it."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from halfpower.analysis import FitError, LeakyPeak, Peak, PeakOnFloor, Trace, fit
from halfpower.analysis.fitting import Flag
from halfpower.analysis.fitting.curves import Notch
from halfpower.analysis.fitting.doubts import judge
from halfpower.analysis.fitting.family_fit import fit_family
from halfpower.analysis.fitting.judged import Judged
from halfpower.analysis.fitting.noise import NoiseSource
from halfpower.analysis.fitting.resonance import ResonanceFit

F0, Q, A, SIGMA = 7.1e6, 120.0, 0.4, 0.004


def trace_at(
    detuning: np.ndarray, *, q: float = Q, sigma: float = SIGMA, seed: int = 1
) -> Trace:
    """Return noisy readings of a tank at detunings in half-bandwidths."""
    f = F0 * np.exp(np.arcsinh(detuning / (2 * q)))
    v = A / np.sqrt(1 + detuning**2)
    noise = np.random.default_rng(seed).normal(0, sigma, detuning.size)
    return Trace(frequency_hz=f, amplitude_v=np.abs(v + noise))


def fitted(detuning: np.ndarray, **kwargs: float) -> ResonanceFit:
    """Return the fit of a plain peak to them."""
    return fit(trace_at(detuning, **kwargs), response=Peak())  # type: ignore[arg-type] # seed is an int


EVEN = np.linspace(-5, 5, 61)


def test_a_sound_trace_raises_no_flag() -> None:
    """Over 200 traces, no more than four raise one: each test's risk is 5e-4."""
    flagged = [bool(fitted(EVEN + 0.3, seed=i).flags) for i in range(200)]
    assert sum(flagged) <= 4


def test_one_open_side_is_flagged_at_high_q() -> None:
    """A flank not read is inferred from the one that was."""
    assert Flag.NOT_BRACKETED in fitted(np.linspace(-0.7, 5, 61)).flags


def test_a_peak_at_the_first_reading_is_flagged() -> None:
    """The highest reading is the first one."""
    assert Flag.PEAK_AT_EDGE in fitted(np.linspace(0.0, 6, 61), sigma=1e-5).flags


def test_a_peak_read_too_coarsely_is_flagged() -> None:
    """Steps of three half-bandwidths leave one reading on the peak."""
    assert Flag.FEW_ON_PEAK in fitted(np.linspace(-30, 30, 21) + 0.3, sigma=1e-3).flags


def test_missing_skirts_are_flagged() -> None:
    """The upper side ends at 0.9 half-bandwidths, with one reading past 0.75."""
    q = np.concatenate((np.linspace(-5, 0.6, 40), [0.8]))
    assert Flag.FEW_IN_SKIRTS in fitted(q).flags


def test_few_degrees_of_freedom_are_flagged() -> None:
    """Eight readings leave five."""
    assert Flag.FEW_READINGS in fitted(np.linspace(-3, 3, 8)).flags


def test_a_doubtful_q_is_flagged() -> None:
    """Readings of the peak alone cannot tell its width from a floor under it."""
    narrow = trace_at(np.linspace(-1.5, 1.5, 31), sigma=0.1 * A, seed=2)
    found = fit(narrow, response=PeakOnFloor())
    assert found.u_loaded_q > found.loaded_q / 3
    assert Flag.Q_UNCERTAIN in found.flags


def test_a_low_q_is_flagged() -> None:
    """Below 10 the circuit must be fitted."""
    assert Flag.LOW_Q in fitted(EVEN, q=6.0).flags
    assert Flag.LOW_Q not in fitted(EVEN, q=20.0).flags


@pytest.mark.parametrize("floor", [0.03, -0.01])
def test_a_floor_under_a_plain_peak_shows_as_a_pattern(floor: float) -> None:
    """Power of 3 % of the peak's, or an offset of -1 %, at 1 % noise."""
    q = np.linspace(-8, 8, 81)
    f = F0 * np.exp(np.arcsinh(q / (2 * Q)))
    v = A * np.sqrt(np.maximum(1 / (1 + q**2) + floor, 0.0))
    v = np.abs(v + np.random.default_rng(2).normal(0, SIGMA, q.size))
    flags = fit(Trace(frequency_hz=f, amplitude_v=v), response=Peak()).flags
    assert Flag.RESIDUAL_PATTERN in flags


def test_repeats_that_agree_better_than_the_curve_show_as_a_pattern() -> None:
    """Nine frequencies read six times, each shifted by the noise, up and down.

    Neighbours say too little there: of 54 readings, a correlation of a third.
    """
    q = np.repeat(np.linspace(-2.0, 2.2, 9), 6)
    f = F0 * np.exp(np.arcsinh(q / (2 * Q)))
    rng = np.random.default_rng(5)
    shift = SIGMA * np.repeat([1, -1, 1, -1, 1, -1, 1, -1, 1], 6)
    v = A / np.sqrt(1 + q**2) + shift + rng.normal(0, SIGMA, q.size)
    u = np.full(q.size, 3 * SIGMA)  # a chi-squared that sees nothing
    trace = Trace(frequency_hz=f, amplitude_v=v, u_amplitude_v=u)
    assert Flag.RESIDUAL_PATTERN in fit(trace, response=Peak()).flags


@pytest.mark.parametrize("sigma", [1e-9, SIGMA])
def test_a_clipped_peak_is_flagged(sigma: float) -> None:
    """A detector that stops at 0.8 of the peak, with and without noise."""
    trace = trace_at(EVEN, sigma=sigma)
    v = np.minimum(trace.amplitude_v, 0.8 * A)
    flags = fit(
        Trace(frequency_hz=trace.frequency_hz, amplitude_v=v), response=Peak()
    ).flags
    assert Flag.CLIPPED in flags


def test_steps_larger_than_the_noise_are_flagged() -> None:
    """Steps of a twentieth of the peak at 0.1 % noise; and not at 5 %."""
    for sigma, expected in ((0.001 * A, True), (0.05 * A, False)):
        trace = trace_at(EVEN, sigma=sigma)
        v = np.round(trace.amplitude_v / (A / 20)) * (A / 20)
        found = fit(
            Trace(frequency_hz=trace.frequency_hz, amplitude_v=v), response=Peak()
        )
        assert (Flag.COARSE_STEPS in found.flags) is expected


@pytest.mark.parametrize(("factor", "flag"), [(0.5, "chi2_high"), (2.0, "chi2_low")])
def test_misstated_noise_is_flagged(factor: float, flag: str) -> None:
    """Half or double the true noise on 61 readings."""
    trace = trace_at(EVEN)
    stated = Trace(
        frequency_hz=trace.frequency_hz,
        amplitude_v=trace.amplitude_v,
        u_amplitude_v=np.full(61, factor * SIGMA),
    )
    assert Flag(flag) in fit(stated, response=Peak()).flags


def test_a_notch_fitted_as_a_leaky_peak_is_no_sound_result() -> None:
    """Skirts above the peak are those of no tank: refused or flagged."""
    q = EVEN
    v = A * np.sqrt((0.04 + q**2) / (1 + q**2))
    trace = Trace(frequency_hz=trace_at(q).frequency_hz, amplitude_v=v)
    try:
        flags = fit(trace, response=LeakyPeak()).flags
    except FitError:
        return
    assert {Flag.UNPHYSICAL, Flag.NOT_CONVERGED} & set(flags)


def case_of(detuning: np.ndarray, *, q: float = Q, sigma: float = 1e-4 * A) -> Judged:
    """Give a case of readings that miss the curve by sigma up and down in turn."""
    f = F0 * np.exp(np.arcsinh(detuning / (2 * q)))
    wobble = sigma * (-1.0) ** np.arange(detuning.size)
    trace = Trace(frequency_hz=f, amplitude_v=A / np.sqrt(1 + detuning**2) + wobble)
    found = fit_family(trace, response=Peak())
    return Judged(
        trace=trace,
        found=found,
        parameters=found.minimum.parameters,
        n_refused=0,
    )


def with_fit(case: Judged, **changes: object) -> Judged:
    """Give the case with other figures of its fit."""
    return replace(case, found=replace(case.found, **changes))  # type: ignore[arg-type] # of any field


LOPSIDED = EVEN + 0.03


@pytest.mark.parametrize(
    ("detuning", "flag"),
    [
        (np.linspace(-0.98, 5, 61), Flag.NOT_BRACKETED),
        (np.linspace(-5, 0.98, 61), Flag.NOT_BRACKETED),
        (np.linspace(-6, 0.0, 61), Flag.PEAK_AT_EDGE),
        (np.array([*EVEN[np.abs(EVEN) > 1.1], 0.1, 0.2]), Flag.FEW_ON_PEAK),
        (np.array([-2.0, *np.linspace(-0.7, 5, 60)]), Flag.FEW_IN_SKIRTS),
        (np.array([*np.linspace(-5, 0.7, 60), 2.0]), Flag.FEW_IN_SKIRTS),
    ],
)
def test_where_readings_lie_is_judged_on_either_side(
    detuning: np.ndarray, flag: Flag
) -> None:
    """In half-bandwidths, of readings that are exact to 1e-4."""
    assert flag in judge(case_of(detuning))


def test_what_just_suffices_raises_no_flag() -> None:
    """Both half-power points, three readings on the peak, two in either skirt."""
    places = np.array([-1.02, -0.8, -0.3, 0.05, 0.4, 0.8, 1.02])
    flags = set(judge(case_of(np.repeat(places, 3) + 1e-3 * np.arange(21))))
    assert not flags
    two = np.array([-2.0, -1.5, *np.linspace(-0.7, 5, 59)])
    assert Flag.FEW_IN_SKIRTS not in judge(case_of(two))
    assert Flag.FEW_IN_SKIRTS not in judge(case_of(-two[::-1]))
    on_peak = np.array([*EVEN[np.abs(EVEN) > 1.1], 0.1, 0.2, -0.4])
    assert Flag.FEW_ON_PEAK not in judge(case_of(on_peak))


@pytest.mark.parametrize(
    ("flag", "raised", "silent"),
    [
        (Flag.FEW_READINGS, {"degrees_of_freedom": 9.0}, {"degrees_of_freedom": 10.0}),
        (Flag.WEAK_PEAK, {"stands": 7.9}, {"stands": 8.1}),
        (Flag.Q_UNCERTAIN, {"u_log_q": 0.34}, {"u_log_q": 0.33}),
        (Flag.NOT_CONVERGED, {"settled": False}, {"settled": True}),
        (Flag.GLITCHES_REFUSED, {"n_refused": 1}, {"n_refused": 0}),
        (Flag.MANY_GLITCHES, {"n_refused": 7}, {"n_refused": 6}),  # of 61
        (Flag.LOW_Q, {"q": 9.9}, {"q": 10.1}),
    ],
)
def test_a_flag_is_raised_where_its_sentence_says(
    flag: Flag, raised: dict[str, float], silent: dict[str, float]
) -> None:
    """Ten degrees of freedom, 8 deviations, a third of Q, a tenth of the readings."""
    for changes, expected in ((raised, True), (silent, False)):
        case = case_of(LOPSIDED, q=changes.get("q", Q))
        minimum, variance = case.found.minimum, case.found.variance
        if "stands" in changes:
            variance *= (case.strength / changes["stands"]) ** 2
        if "u_log_q" in changes:
            variance = changes["u_log_q"] ** 2 / minimum.inverse_normal[1, 1]
        if "settled" in changes:
            minimum = replace(minimum, settled=bool(changes["settled"]))
        changed = with_fit(
            replace(case, n_refused=int(changes.get("n_refused", 0))),
            minimum=minimum,
            variance=variance,
            degrees_of_freedom=changes.get(
                "degrees_of_freedom", case.found.degrees_of_freedom
            ),
        )
        assert (flag in judge(changed)) is expected


@pytest.mark.parametrize("free", [np.inf, 20.0])
def test_chi_squared_is_judged_at_one_in_two_thousand(free: float) -> None:
    """Of either tail; F where the noise itself rests on 20 degrees of freedom.

    The quantiles are scipy.stats', a tenth of the risk to this side and to that.
    """
    case = case_of(LOPSIDED)
    n = case.found.n_free
    law = stats.chi2(n) if np.isinf(free) else stats.f(n, free, scale=n)
    for quantile, flag in ((law.isf, Flag.CHI2_HIGH), (law.ppf, Flag.CHI2_LOW)):
        for risk, expected in ((4.5e-4, True), (5.5e-4, False)):
            cost = float(quantile(risk)) * 1e-6
            changed = with_fit(
                case,
                minimum=replace(case.found.minimum, cost=cost),
                variance=1e-6,
                degrees_of_freedom=free,
                noise_source=NoiseSource.REPLICATES,
            )
            flags = set(judge(changed)) & {Flag.CHI2_HIGH, Flag.CHI2_LOW}
            assert flags == ({flag} if expected else set())


@pytest.mark.parametrize(
    ("others", "factor", "expected"),
    [
        ([-7.0, -5.0, -4.0, -3.0, 3.0, 4.0, 5.0, 7.0], 1.0, False),
        ([-7.0, -5.0, -4.0, -3.0, 3.0, 4.0, 5.0, 7.0], 1.7, True),
        ([-4.0, -3.0, 3.0], 1.7, False),  # three fix a peak, and judge nothing
    ],
)
def test_a_lone_top_reading_that_makes_the_curve_is_flagged(
    others: list[float], factor: float, *, expected: bool
) -> None:
    """One reading on the peak, the next three half-bandwidths away.

    As it is, the rest draw the same curve; raised by 70 %, it alone makes it narrower.
    """
    case = case_of(np.array([*others, 0.05]), sigma=1e-6 * A)
    v = case.trace.amplitude_v.copy()
    v[-1] *= factor
    trace = replace(case.trace, amplitude_v=v)
    found = fit_family(trace, response=Peak())
    case = replace(case, trace=trace, found=found, parameters=found.minimum.parameters)
    assert found.leverage(v.size - 1) > 0.5
    assert (Flag.ONE_READING in judge(case)) is expected


@pytest.mark.parametrize(("depth", "expected"), [(0.95, False), (1.0, True)])
def test_a_notch_that_leaves_everything_is_flagged(
    depth: float, *, expected: bool
) -> None:
    """What is left at f0 is less than what is beside it, or there is no notch."""
    trace = case_of(LOPSIDED).trace
    notch = np.sqrt(1.0 - 0.99 / (1.0 + LOPSIDED**2))
    trace = replace(trace, amplitude_v=A * notch)
    found = fit_family(trace, response=Notch())
    parameters = found.minimum.parameters.copy()
    parameters[3] = depth
    case = Judged(trace=trace, found=found, parameters=parameters, n_refused=0)
    flags = judge(case)
    assert (Flag.UNPHYSICAL in flags) is expected
    assert Flag.ONE_READING not in flags


def test_what_no_passive_circuit_gives_is_flagged() -> None:
    """Skirts below nothing by over three uncertainties, or above the peak."""
    trace = case_of(LOPSIDED).trace
    found = fit_family(trace, response=LeakyPeak())
    parameters = found.minimum.parameters
    u = float(np.sqrt(found.minimum.inverse_normal[4, 4] * found.variance))
    case = Judged(trace=trace, found=found, parameters=parameters, n_refused=0)
    for lopsided, excess, expected in (
        (0.0, -2.9 * u, False),
        (0.0, -3.1 * u, True),
        (0.6, 0.63, False),  # 0.36 and 0.63 of the peak's power, far off
        (0.6, 0.65, True),
    ):
        changed = np.array([*parameters[:3], lopsided, excess])
        flags = judge(replace(case, parameters=changed))
        assert (Flag.UNPHYSICAL in flags) is expected
