"""Plan the settings of a variable capacitor that find a resonance and measure it.

Like `halfpower.sweeps.plan.peak_planner`, asked for a setting and told the reading;
but a person may be turning the dial, so that every reading counts. Over the
capacitance the response is an exact Lorentzian
(`halfpower.analysis.fitting.in_capacitance`), so that 1/V^2 is a parabola: a few
settings anywhere on the skirts place the peak. *Search*: a handful over the dial.
*Bracket*: where the parabola through the highest says, until both flanks have been
read. *Refine*: a look at the whole peak, then a third of the readings on the peak and
a third on each side at half the amplitude.
"""

import math
from collections.abc import Generator, Iterable
from dataclasses import dataclass

import numpy as np

from ...analysis.errors import FitError, InputError
from ...analysis.fitting import CapacitanceFit, Lag, fit_in_capacitance, lag_of
from ...analysis.quantity import FloatArray
from ...analysis.reading import Reading, Setting, ring_up_s
from ..errors import EdgeError, NoResonanceError, SweepError
from .ask_tell import (
    FLANKS,
    AskTell,
    amplitudes_of,
    averaged,
    flanked,
    ranges_of,
    shown_before,
)
from .ask_tell import Steps as Plan
from .peak_goal import ROOT3
from .peak_planner import (
    ALIKE,
    HOPELESS,
    MOST_OVERVIEWS,
    ROUND,
    WINDOW,
)

__all__ = ["DialGoal", "DialPlanner"]

SEARCH = 7
MOST_LOOKS = 8
OVERVIEW = (0.0, 0.5, -0.5, 1.0, -1.0, ROOT3, -ROOT3)  # in half-widths
LEAST_DOF = 10.0
LEAST_READINGS = SEARCH + 2 * len(OVERVIEW)


@dataclass(frozen=True, slots=True, kw_only=True)
class DialGoal:
    """Where to turn, at which frequency, how closely to measure.

    Attributes
    ----------
    frequency_hz
        The generator's, in Hz.
    lowest_f, highest_f
        The part of the dial to look at, in F.
    beside_f
        About what else is across the coil, in F: a guess will do.
    target
        Relative standard uncertainty of the half-width to stop at, > 0.
    most_readings
        Readings to stop at in any case.
    """

    frequency_hz: float
    lowest_f: float
    highest_f: float
    beside_f: float = 0.0
    target: float = 0.01
    most_readings: int = 60

    def __post_init__(self) -> None:
        """Refuse a dial or a target that cannot be."""
        if not 0.0 < self.frequency_hz < math.inf:
            raise InputError(f"a frequency of {self.frequency_hz:g} Hz cannot be set")
        if not 0.0 < self.lowest_f < self.highest_f < math.inf:
            raise InputError(
                f"a dial from {_pf(self.lowest_f)} to {_pf(self.highest_f)} is empty; "
                "give the lower end first"
            )
        if not 0.0 < self.target < 1.0:
            raise InputError(
                f"a target of {self.target:g} for the uncertainty of the half-width is "
                "not between 0 and 1"
            )
        if self.most_readings < LEAST_READINGS:
            raise InputError(
                f"{self.most_readings} readings are too few for a dial; it takes at "
                f"least {LEAST_READINGS}"
            )


class DialPlanner(AskTell[CapacitanceFit]):
    """Ask/tell plan for one peak over a dial.

    Parameters
    ----------
    goal
        Where to turn and how closely to measure.

    Attributes
    ----------
    phase
        ``search``, ``bracket``, ``refine`` or ``done``.
    """

    def __init__(self, goal: DialGoal) -> None:
        self.goal = goal
        self.phase = "search"
        super().__init__()

    def afresh(self) -> "DialPlanner":
        """Return a plan with the same goal that has been told nothing."""
        return DialPlanner(self.goal)

    @property
    def lag(self) -> Lag | None:
        """What every reading kept of the one before; None: it cannot be told."""
        return lag_of(
            np.array([one.capacitance_f or 0.0 for one in self.readings]),
            amplitude_v=amplitudes_of(self.readings),
            before_v=shown_before(self.readings),
            used=self.used,
            found=self.found.resonance,
        )

    @property
    def expected_readings(self) -> int:
        """How many readings the plan is likely to take in all."""
        likely = SEARCH + 2 + len(OVERVIEW) + 2 * len(ROUND)
        return min(max(likely, len(self.readings)), self.goal.most_readings)

    def _steps(self) -> Plan:
        goal = self.goal
        whole = np.geomspace(
            goal.lowest_f + goal.beside_f, goal.highest_f + goal.beside_f, SEARCH
        )
        yield from self._at(whole - goal.beside_f)
        self.phase = "bracket"
        peak_f, width_f = yield from self._bracket()
        self.phase = "refine"
        peak_f, width_f = yield from self._overview(peak_f, width_f)
        while True:
            found = self._fit_window(peak_f, width_f)
            known = found.u_half_width_f / found.half_width_f
            if known > HOPELESS:
                raise NoResonanceError(
                    f"no resonance stands out at {goal.frequency_hz / 1e6:.6g} MHz; "
                    "check that coil and part are connected, and the level"
                )
            spent = len(self.readings) + len(ROUND) > goal.most_readings
            sure = found.resonance.degrees_of_freedom >= LEAST_DOF
            if spent or (sure and known <= goal.target):
                return
            peak_f, width_f = found.resonant_capacitance_f, found.half_width_f
            yield from self._at(peak_f + place * width_f for place in ROUND)

    def _overview(
        self, peak_f: float, width_f: float
    ) -> Generator[Setting, Reading, tuple[float, float]]:
        """Read the whole peak; again where it is not as wide as it was thought."""
        for _ in range(MOST_OVERVIEWS):
            yield from self._at(peak_f + place * width_f for place in OVERVIEW)
            setting, amplitude = self._profile()
            high = amplitude >= FLANKS[0] * amplitude.max()
            peak, width = _vertex(setting[high], amplitude[high])
            if peak is None or width is None:
                break
            settled = _alike((peak_f, width_f), (peak, width))
            peak_f, width_f = peak, width
            if settled:
                break
        return peak_f, width_f

    def _bracket(self) -> Generator[Setting, Reading, tuple[float, float]]:
        goal = self.goal
        before: tuple[float, float] | None = None
        for _ in range(MOST_LOOKS):
            setting, amplitude = self._profile()
            top = int(np.argmax(amplitude))
            near = slice(max(top - 2, 0), top + 3)
            peak_f, width_f = _vertex(setting[near], amplitude[near])
            if peak_f is None or not goal.lowest_f <= peak_f <= goal.highest_f:
                self._refuse_edge(setting, top)
                low, high = setting[max(top - 1, 0)], setting[top]
                beyond = setting[min(top + 1, setting.size - 1)]
                yield from self._at([(low + high) / 2.0, (high + beyond) / 2.0])
            elif width_f is None:
                yield from self._at([peak_f])
            else:
                # Noise on the skirts may look like a peak, but not twice alike.
                if flanked(amplitude, top) and _alike(before, (peak_f, width_f)):
                    return peak_f, width_f
                before = peak_f, width_f
                yield from self._at(
                    [peak_f, peak_f + ROOT3 * width_f, peak_f - ROOT3 * width_f]
                )
        raise NoResonanceError(
            f"no resonance on the dial between {_pf(goal.lowest_f)} and "
            f"{_pf(goal.highest_f)} at {goal.frequency_hz / 1e6:.6g} MHz; check that "
            "coil and part are connected, or take another frequency"
        )

    def _refuse_edge(self, setting: FloatArray, top: int) -> None:
        """Refuse a response that is highest at an end of the dial.

        Raises
        ------
        EdgeError
            It is.
        """
        if 0 < top < setting.size - 1:
            return
        end = "lower" if top == 0 else "upper"
        # A lower frequency resonates with more capacitance.
        direction = "raise the frequency" if end == "upper" else "lower the frequency"
        raise EdgeError(
            f"at {self.goal.frequency_hz / 1e6:.6g} MHz the response is highest at the "
            f"{end} end of the dial, {_pf(float(setting[top]))}, so the resonance lies "
            f"beyond it; {direction}, or take another coil",
        )

    def _fit_window(self, peak_f: float, width_f: float) -> CapacitanceFit:
        setting = np.array([one.capacitance_f or 0.0 for one in self.readings])
        near = np.abs(setting - peak_f) <= WINDOW * width_f
        used = np.flatnonzero(near)
        readings = [self.readings[index] for index in used]
        try:
            self._fit = fit_in_capacitance(
                setting[used],
                amplitude_v=amplitudes_of(readings),
                u_amplitude_v=ranges_of(readings),
                u_scale_known=False,
            )
        except FitError as error:
            raise NoResonanceError(
                f"no resonance on the dial at {self.goal.frequency_hz / 1e6:.6g} MHz: "
                f"{error}"
            ) from error
        self.used = tuple(int(index) for index in used)
        return self._fit

    def _at(self, settings_f: Iterable[float]) -> Plan:
        goal = self.goal
        settle_s = ring_up_s(goal.frequency_hz)
        for wanted_f in settings_f:
            if not goal.lowest_f <= wanted_f <= goal.highest_f:
                continue
            if len(self.readings) >= goal.most_readings:
                raise SweepError(
                    f"{len(self.readings)} readings are spent and no resonance is "
                    "bracketed on the dial; allow more, or look at less of it"
                )
            yield Setting(
                frequency_hz=goal.frequency_hz,
                settle_s=settle_s,
                capacitance_f=float(wanted_f),
            )

    def _profile(self) -> tuple[FloatArray, FloatArray]:
        """Put the readings in order of the dial, those at one setting averaged."""
        setting = np.array([one.capacitance_f or 0.0 for one in self.readings])
        return averaged(setting, self.readings)


def _alike(before: tuple[float, float] | None, now: tuple[float, float]) -> bool:
    """Whether two estimates of peak and half-width are of the same peak."""
    if before is None:
        return False
    wider, moved = now[1] / before[1], abs(now[0] - before[0])
    return 1.0 / ALIKE < wider < ALIKE and moved < now[1]


def _vertex(
    setting: FloatArray, amplitude: FloatArray
) -> tuple[float | None, float | None]:
    """Give the vertex and half-width of the parabola 1/V^2 through readings."""
    if setting.size < 3 or amplitude.min() <= 0.0:  # noqa: PLR2004 - a parabola
        return None, None
    centre, scale = setting.mean(), np.ptp(setting)
    c2, c1, c0 = np.polyfit(
        (setting - centre) / scale, amplitude**-2.0, 2, w=amplitude**3.0
    )
    if c2 <= 0.0:
        return None, None
    height = c0 - c1**2 / (4.0 * c2)
    width = math.sqrt(height / c2) * scale if height > 0.0 else None
    return float(centre - c1 / (2.0 * c2) * scale), width


def _pf(capacitance_f: float) -> str:
    return f"{capacitance_f * 1e12:.5g} pF"
