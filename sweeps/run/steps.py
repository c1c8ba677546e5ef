"""A measurement of several resonances: what is on the fixture changes between them.

Each step says in one sentence what is to be attached, whoever attaches it, and then
sweeps. What was read before an interruption is told to the plans again, so that the
measurement goes on where it stood.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

from ...analysis.fitting import ResonanceFit
from ...analysis.quantity import Caution, Quantity
from ...analysis.result import Swept, cautions_of
from ...analysis.tank import Tank, deduce_resonance
from ..errors import SweepError
from ..plan import DialGoal, DialPlanner, PeakPlanner
from .guard import TankGuard
from .on_bench import IdentifiedBench, Span, check_span, guard_on, target_cautions
from .resonate import AnyPlan, Stored, resonate
from .settled import settling_cautions
from .sink import Sink

__all__ = ["Arrangement", "Attendant", "NobodyNeeded", "Steps", "resonance_of"]

SheetState = Literal["in", "air", "out"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """What is to be on the fixture for one sweep.

    Attributes
    ----------
    step
        What the sweep is called.
    instruction
        One sentence to the person at the bench; empty where nothing is to be done.
    fitted
        What is on the fixture: ``coil``, ``capacitor``, ``capacitor-2``, ``unknown``,
        ``strap``, ``probe``.
    sheet
        How the plates are, where there are plates.
    hookup
        The drawing that shows it; empty: none does.
    """

    step: str
    instruction: str
    fitted: tuple[str, ...]
    sheet: SheetState | None = None
    hookup: str = ""


class Attendant(Protocol):
    """Whoever changes what is on the fixture."""

    def arrange(self, arrangement: Arrangement) -> None:
        """Have it done; the generator's output was switched off."""


class NobodyNeeded:
    """The attendant of a measurement whose part is in already."""

    def arrange(self, arrangement: Arrangement) -> None:
        """Nothing: it is as it is."""


def resonance_of(found: ResonanceFit, *, tank: Tank) -> tuple[Quantity, ...]:
    """Give a fit's f0, bandwidth and Q with a tank's corrections."""
    return deduce_resonance(
        found,
        frequency_reference=tank.frequency_reference,
        linearity=tank.linearity,
        loss_exponent=tank.loss_exponent,
    )


class Steps:
    """Carries out a measurement's sweeps, one arrangement after the other.

    Parameters
    ----------
    bench
        An open bench.
    attendant
        Changes what is on the fixture.
    sink
        Gets every reading as it is taken.
    stored
        Readings of an interrupted run, by step.

    Attributes
    ----------
    cautions
        What must be known of the sweeps so far.
    """

    def __init__(
        self,
        bench: IdentifiedBench,
        *,
        attendant: Attendant,
        sink: Sink,
        stored: Mapping[str, Stored] | None = None,
    ) -> None:
        self._bench, self._attendant, self._sink = bench, attendant, sink
        self._stored = dict(stored or {})
        self.cautions: list[Caution] = []

    def sweep(
        self,
        arrangement: Arrangement,
        span: Span,
        *,
        tank: Tank,
        deduce: Callable[[ResonanceFit], tuple[Quantity, ...]] | None = None,
        without_hz: float | None = None,
    ) -> Swept:
        """Sweep the frequency over a span, with the tank's voltage guarded.

        Parameters
        ----------
        arrangement, span, tank
            What is on the fixture, where to look, and what is known of the tank.
        deduce
            What to make of the fit; None: f0, bandwidth and Q alone.
        without_hz
            Where it resonates without what is in series with the coil, in Hz.

        Raises
        ------
        SweepError, GuardError, SettingError, DriverError
            The output is off by then, and the sink has every reading taken.
        """
        file = self._bench.file
        check_span(span, file=file)
        goal = span.goal(file)
        guard = guard_on(
            file,
            tank=tank,
            driven_hz=(goal.lowest_hz, goal.highest_driven_hz),
            level_v=span.level_v,
            without_hz=without_hz,
        )
        planner = self._follow(
            PeakPlanner(goal), arrangement, guard=guard, level_v=span.level_v
        )
        step = arrangement.step
        found = planner.found
        self._note(
            step,
            (
                *cautions_of(found),
                *target_cautions(planner),
                *settling_cautions(planner.lag, readings=planner.readings),
            ),
        )
        return Swept(
            step=step,
            readings=tuple(planner.readings),
            used=planner.used,
            found=found,
            quantities=deduce(found) if deduce else resonance_of(found, tank=tank),
        )

    def turn(self, arrangement: Arrangement, goal: DialGoal, *, tank: Tank) -> Swept:
        """Turn the variable capacitor at one frequency, the tank's voltage guarded.

        Raises
        ------
        SweepError, GuardError, SettingError, DriverError
            The output is off by then, and the sink has every reading taken.
        """
        at_hz = goal.frequency_hz
        guard = guard_on(self._bench.file, tank=tank, driven_hz=(at_hz, at_hz))
        planner = self._follow(DialPlanner(goal), arrangement, guard=guard)
        step = arrangement.step
        found = planner.found.resonance
        settling = settling_cautions(planner.lag, readings=planner.readings)
        self._note(step, (*cautions_of(found), *settling))
        return Swept(
            step=step,
            readings=tuple(planner.readings),
            used=planner.used,
            found=planner.found.resonance,
        )

    def _follow(
        self,
        planner: AnyPlan,
        arrangement: Arrangement,
        *,
        guard: TankGuard,
        level_v: float | None = None,
    ) -> AnyPlan:
        step = arrangement.step
        try:
            return resonate(
                self._bench,
                planner,
                sink=self._sink,
                watch=guard.watch,
                tank_v=guard.tank_v,
                step=step,
                stored=self._stored.get(step),
                prepare=lambda: self._attendant.arrange(arrangement),
                level_v=level_v,
            )
        except SweepError as error:
            if step:
                error.add_note(f"this was the sweep {step!r}")
            raise

    def _note(self, step: str, cautions: tuple[Caution, ...]) -> None:
        beside = f"{step}: " if step else ""
        self.cautions.extend(
            Caution(code=one.code, text=f"{beside}{one.text}") for one in cautions
        )
