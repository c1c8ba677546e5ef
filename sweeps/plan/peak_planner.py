"""Plan the readings that find a resonance and measure it. No I/O, no clock.

The plan is asked for a setting and told the reading, until it has no more to ask::

    while (setting := planner.ask()) is not None:
        planner.tell(take(setting))

It goes through these phases. *Search*: a coarse grid over the span. Far from
resonance the response follows 1/|t| whatever Q is, so the grid need not be as fine
as the peak: a few readings on the skirts locate it. *Bracket*: the closed form through
the readings about the highest one says where to look next, until both flanks of the
peak have been read. *Refine*: a look at the whole peak, then readings where they
tell most about Q (a third on the peak, a third on each side at half the amplitude,
Qt = +-sqrt(3)), until Q is known as closely as asked or the readings are spent.
Last, a look at twice and three times the frequency, to see that the peak is no ghost;
and a step from the peak far down and back, to see that all had settled: a detector that
lags shows it there.

Where other parts of the same kind have been measured, a prior says where the peak is
likely to be. Then the plan looks there first, and searches the whole span only when
that has not led to a resonance: a prior saves readings and never ends a plan.
"""

import contextlib
import math
from collections.abc import Generator, Iterable, Sequence
from typing import Literal

import numpy as np

from ...analysis.errors import FitError
from ...analysis.fitting import (
    Lag,
    PeakEstimate,
    ResonanceFit,
    Trace,
    closed_form,
    fit,
    lag_of,
)
from ...analysis.fitting.curves import Peak
from ...analysis.quantity import FloatArray
from ...analysis.reading import UNKNOWN_Q, Reading, Setting, ring_up_s
from ..errors import EdgeError, NoResonanceError, SweepError
from .ask_tell import (
    FLANKS,
    AskTell,
    NotHadError,
    amplitudes_of,
    averaged,
    flanked,
    ranges_of,
    shown_before,
)
from .ask_tell import Steps as Plan
from .peak_goal import HARMONICS, OVERVIEW, ROOT3, PeakGoal, PeakPrior, in_mhz

__all__ = ["PeakGoal", "PeakPlanner", "PeakPrior", "trace_of"]


MOST_LOOKS = 12  # each look at least halves the gap; 12 span 4000 half-bandwidths
MOST_OVERVIEWS = 3
ALIKE = 1.6  # factor in Q up to which an overview still shows the whole peak
ROUND = (0.0, ROOT3, -ROOT3, -ROOT3, ROOT3, 0.0)  # there and back: a drift cancels
WINDOW = 6.0  # half-bandwidths that the fit may use
# A noise estimated from few readings is low as often as high, and a plan that stops
# when it looks low would stop on luck.
LEAST_DOF = 20.0
GHOSTLY = 2.0  # a real peak falls by about Q at twice its frequency; a ghost rises
DOWN = (3.0, -3.0)  # half-bandwidths: a third of the peak, on the same range
SUSPECT = 2.0  # standard deviations: a lag that is looked at again
MOST_STEPS = 8  # down and back
HOPELESS = 0.3  # u(Q)/Q of an overview that has seen no resonance
NEEDED_SIDE = 1.0  # half-bandwidths of span that must be left on each side
SETTLE_MARGIN = 2.0  # a part may have more Q than its fellows
LED_LOOKS = 3  # to bracket a peak that a prior foretold, before it is given up
# Readings that a prior can cost before it is given up: its first looks, three for
# each further one, and the overviews of a peak that was none.
LED_COST = 3 + 3 * LED_LOOKS + MOST_OVERVIEWS * len(OVERVIEW)


class PeakPlanner(AskTell[ResonanceFit]):
    """Ask/tell plan for one peak in a span.

    Parameters
    ----------
    goal
        Where to look and how closely to measure.

    Attributes
    ----------
    phase
        ``search``, ``bracket``, ``refine``, ``ghosts``, ``witness`` or ``done``.
    witnesses
        Indices of the readings that were taken for the sake of a lag alone.
    """

    witnesses: tuple[int, ...] = ()

    def __init__(self, goal: PeakGoal) -> None:
        self.goal = goal
        self.phase = "search"
        self._led = (
            goal.prior is not None
            and goal.most_readings >= goal.least_readings + LED_COST
            and all(
                goal.lowest_hz < look_hz < goal.highest_hz
                for look_hz in goal.prior.looks_hz
            )
        )
        self._first = 0  # of the readings that count
        super().__init__()

    def afresh(self) -> "PeakPlanner":
        """Return a plan with the same goal that has been told nothing."""
        return PeakPlanner(self.goal)

    @property
    def optional(self) -> bool:
        """Whether the plan can do without the setting that it asks for."""
        return self.phase in {"ghosts", "witness"}

    @property
    def lag(self) -> Lag | None:
        """What every reading kept of the one before; None: it cannot be told."""
        return lag_of(
            np.array([reading.frequency_hz for reading in self.readings]),
            amplitude_v=amplitudes_of(self.readings),
            before_v=shown_before(self.readings),
            used=(*self.used, *self.witnesses),
            found=self.found,
        )

    @property
    def expected_readings(self) -> int:
        """How many readings the plan is likely to take in all."""
        if self.phase in {"search", "bracket"} or self._fit is None:
            search = 3 if self._led else self.goal.n_search
            return search + 3 * len(OVERVIEW)
        # The scatter falls with the root of the number of readings.
        share = self._fit.u_loaded_q / self._fit.loaded_q / self.goal.target
        before = len(self.readings) - len(self.used)
        wanted = before + math.ceil(len(self.used) * max(share, 1.0) ** 2)
        return min(max(wanted, len(self.readings)), self.goal.most_readings)

    def _steps(self) -> Plan:
        if self._led and self.goal.prior is not None:
            try:
                yield from self._by_prior(self.goal.prior)
            except (NoResonanceError, EdgeError):
                # It may be elsewhere, and that is found out as without a prior:
                # by readings that no expectation has chosen.
                self._led, self._fit, self.phase = False, None, "search"
                self._first = len(self.readings)
            else:
                return
        yield from self._search()
        yield from self._measure(MOST_LOOKS)

    def _by_prior(self, prior: PeakPrior) -> Plan:
        """Measure the peak where it is expected.

        Raises
        ------
        NoResonanceError, EdgeError
            It is not there, or is no peak of the part's own.
        """
        yield from self._at(prior.looks_hz, q=SETTLE_MARGIN * prior.loaded_q)
        yield from self._measure(LED_LOOKS)

    def _measure(self, most_looks: int) -> Plan:
        self.phase = "bracket"
        estimate = yield from self._bracket(most_looks)
        self.phase = "refine"
        yield from self._refine(estimate)
        self.phase = "ghosts"
        with contextlib.suppress(NotHadError):  # the generator does not go there
            yield from self._unmask()
        self.phase = "witness"
        with contextlib.suppress(NotHadError):
            yield from self._witness()

    def _search(self) -> Plan:
        goal = self.goal
        for frequency_hz in np.geomspace(
            goal.lowest_hz, goal.highest_hz, goal.n_search
        ):
            yield self._setting_at(float(frequency_hz), q=UNKNOWN_Q)

    def _bracket(self, most_looks: int) -> Generator[Setting, Reading, PeakEstimate]:
        for _ in range(most_looks):
            frequency, response = self._profile()
            top = int(np.argmax(response))
            estimate = self._estimate(frequency, response, top)
            if estimate is None:
                lower, upper = frequency[max(top - 1, 0)], frequency[top]
                upper2 = frequency[min(top + 1, frequency.size - 1)]
                looks = [math.sqrt(lower * upper), math.sqrt(upper * upper2)]
                yield from self._at(looks, q=UNKNOWN_Q)
            elif estimate.loaded_q is None:
                yield from self._at([estimate.resonant_frequency_hz], q=UNKNOWN_Q)
            else:
                if flanked(response, top):
                    return estimate
                yield from self._about(estimate, (0.0, ROOT3, -ROOT3))
        raise NoResonanceError(
            f"no resonance between {self._span}: after {len(self.readings)} readings "
            "none has a peak's flanks on both sides; check that the part is connected, "
            "or look elsewhere",
            n_readings=len(self.readings),
        )

    def _estimate(
        self, frequency: FloatArray, response: FloatArray, top: int
    ) -> PeakEstimate | None:
        """Place the peak from the readings about the highest one."""
        near = slice(max(top - 2, 0), top + 3)
        estimate = None
        try:
            estimate = closed_form(frequency[near], amplitude_v=response[near])
        except FitError:
            estimate = None
        at_edge = top in {0, frequency.size - 1}
        inside = (
            estimate is not None
            and frequency[0] < estimate.resonant_frequency_hz < frequency[-1]
        )
        if at_edge and not inside:
            raise self._highest_at("lower" if top == 0 else "upper")
        return estimate if inside else None

    def _highest_at(self, edge: Literal["lower", "upper"]) -> EdgeError:
        at_hz = self.goal.lowest_hz if edge == "lower" else self.goal.highest_hz
        return EdgeError(
            f"the response is highest at the {edge} edge of the span, {in_mhz(at_hz)}, "
            f"so no resonance lies between {self._span}; move the span that way, or "
            "check that the part is connected",
            frequency_hz=at_hz,
        )

    def _refine(self, estimate: PeakEstimate) -> Plan:
        estimate = yield from self._overview(estimate)
        while True:
            found = self._fit_window(estimate)
            known = found.u_loaded_q / found.loaded_q
            if known > HOPELESS:
                raise NoResonanceError(
                    f"no resonance stands out between {self._span}: the best is at "
                    f"{in_mhz(found.resonant_frequency_hz)} with Q = "
                    f"{found.loaded_q:.2g}, uncertain by {100.0 * known:.0f} %; check "
                    "that the part is connected and the level is high enough",
                    n_readings=len(self.readings),
                )
            needed = len(ROUND) + len(HARMONICS) + 2 * self.goal.witness
            spent = len(self.readings) + needed > self._most
            sure = found.degrees_of_freedom >= LEAST_DOF
            if spent or (sure and known <= self.goal.target):
                return
            estimate = _estimate_of(found)
            yield from self._about(estimate, ROUND)

    def _overview(
        self, estimate: PeakEstimate
    ) -> Generator[Setting, Reading, PeakEstimate]:
        """Read the whole peak; again where it is not as wide as it was thought.

        An estimate from skirts near the detector's floor may be off by a factor.
        """
        for _ in range(MOST_OVERVIEWS):
            yield from self._about(estimate, OVERVIEW)
            frequency, response = self._profile()
            high = response >= FLANKS[0] * response.max()
            try:
                seen = closed_form(frequency[high], amplitude_v=response[high])
            except FitError:
                return estimate
            if seen.loaded_q is None or estimate.loaded_q is None:
                return estimate
            wider = estimate.loaded_q / seen.loaded_q
            moved = seen.resonant_frequency_hz / estimate.resonant_frequency_hz - 1.0
            estimate = seen
            if 1.0 / ALIKE < wider < ALIKE and abs(2.0 * moved) * seen.loaded_q < 1.0:
                break
        return estimate

    def _fit_window(self, estimate: PeakEstimate) -> ResonanceFit:
        """Fit the readings about the peak; remember the fit and what it used."""
        f0, q = estimate.resonant_frequency_hz, estimate.loaded_q or UNKNOWN_Q
        some = self.readings[self._first :]
        frequency = np.array([reading.frequency_hz for reading in some])
        near = np.abs(q * (frequency / f0 - f0 / frequency)) <= WINDOW
        used = self._first + np.flatnonzero(near)
        trace = trace_of([self.readings[index] for index in used])
        try:
            self._fit = fit(trace, response=Peak(exponent=self.goal.exponent))
        except FitError as error:
            raise NoResonanceError(
                f"no resonance between {self._span}: {error}",
                n_readings=len(self.readings),
            ) from error
        self.used = tuple(int(index) for index in used)
        return self._fit

    def _about(self, estimate: PeakEstimate, places: Iterable[float]) -> Plan:
        """Ask at these half-bandwidths from the peak, as far as the span goes."""
        f0, q = estimate.resonant_frequency_hz, estimate.loaded_q or UNKNOWN_Q
        room = [
            q * (e / f0 - f0 / e) for e in (self.goal.lowest_hz, self.goal.highest_hz)
        ]
        if room[0] > 0.0 or room[1] < 0.0:
            raise self._highest_at("lower" if room[0] > 0.0 else "upper")
        if room[0] > -NEEDED_SIDE or room[1] < NEEDED_SIDE:
            raise EdgeError(
                f"the peak at {in_mhz(f0)} lies within half a bandwidth of the edge of "
                f"the span ({self._span}); widen the span",
                frequency_hz=f0,
            )
        for place in places:
            if room[0] <= place <= room[1]:
                half_t = place / (2.0 * q)
                frequency_hz = f0 * (math.sqrt(1.0 + half_t**2) + half_t)
                yield self._setting_at(frequency_hz, q=q)

    def _at(self, frequencies_hz: Iterable[float], *, q: float) -> Plan:
        for frequency_hz in frequencies_hz:
            yield self._setting_at(float(frequency_hz), q=q)

    def _setting_at(self, frequency_hz: float, *, q: float) -> Setting:
        if len(self.readings) >= self._most:
            raise SweepError(
                f"{len(self.readings)} readings are spent and no resonance is "
                f"bracketed between {self._span}; allow more, or narrow the span",
                n_readings=len(self.readings),
            )
        return Setting(frequency_hz=frequency_hz, settle_s=ring_up_s(frequency_hz, q=q))

    def _unmask(self) -> Plan:
        """See that the peak is no ghost, rung by a harmonic of the generator.

        A broadband detector sees the tank ring at f0 while the generator stands at
        f0/2 or f0/3. Then the response at twice or three times the peak's frequency
        is the real one, and larger by what the harmonic is weaker.
        """
        found = self.found
        for order in HARMONICS:
            frequency_hz = order * found.resonant_frequency_hz
            if frequency_hz > self.goal.generator_highest_hz:
                return
            yield self._setting_at(frequency_hz, q=found.loaded_q)
            if self.readings[-1].amplitude_v > GHOSTLY * found.amplitude_v:
                raise NoResonanceError(
                    f"the peak at {in_mhz(found.resonant_frequency_hz)} is a ghost: "
                    f"the generator's harmonic of order {order} rings a resonance near "
                    f"{in_mhz(frequency_hz)}; sweep there",
                    frequency_hz=frequency_hz,
                )

    def _witness(self) -> Plan:
        """Step down the peak and back; again where a lag is not seen, nor ruled out."""
        if not self.goal.witness:
            return
        steps: list[Setting] = []
        for _ in range(MOST_STEPS):
            if len(self.readings) + 2 > self._most:
                return
            steps = steps or self._down_and_back()
            for step in steps:  # noqa: UP028 - a list cannot be sent readings
                yield step
            if not steps:
                return
            n = len(self.readings)
            self.witnesses += (n - 2, n - 1)
            lag = self.lag
            if lag is None or lag.significant or lag.share < SUSPECT * lag.u_share:
                return

    def _down_and_back(self) -> list[Setting]:
        """Give the two settings of a step; the first is far from the last reading."""
        peak = _estimate_of(self.found)
        try:
            steps = [next(self._about(peak, DOWN)), next(self._about(peak, (0.0,)))]
        except (EdgeError, StopIteration):
            return []  # the span has no room for it; what was measured stands
        is_low = self.readings[-1].amplitude_v < self.found.amplitude_v / 2.0
        return steps[::-1] if is_low else steps

    def _profile(self) -> tuple[FloatArray, FloatArray]:
        """Put the readings in order of frequency, the fixture's slope taken out."""
        some = self.readings[self._first :]
        frequency = np.array([reading.frequency_hz for reading in some])
        unique, mean = averaged(frequency, some)
        return unique, mean * (unique / unique[0]) ** -self.goal.exponent

    @property
    def _most(self) -> int:
        """Readings that may be taken; where a prior leads, a search is kept in hand."""
        kept = self.goal.least_readings if self._led else 0
        return self.goal.most_readings - kept

    @property
    def _span(self) -> str:
        return f"{in_mhz(self.goal.lowest_hz)} and {in_mhz(self.goal.highest_hz)}"


def _estimate_of(found: ResonanceFit) -> PeakEstimate:
    return PeakEstimate(
        resonant_frequency_hz=found.resonant_frequency_hz,
        loaded_q=found.loaded_q,
        amplitude_v=found.amplitude_v,
    )


def trace_of(readings: Sequence[Reading]) -> Trace:
    """Make a trace, weighted by the detector's ranges where it has them."""
    return Trace(
        frequency_hz=np.array([reading.frequency_hz for reading in readings]),
        amplitude_v=np.array([reading.amplitude_v for reading in readings]),
        u_amplitude_v=ranges_of(readings),
        u_scale_known=False,
    )
