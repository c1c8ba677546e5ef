"""Measure a capacitor at one frequency, with a calibrated variable one."""

from dataclasses import replace

from ...analysis.errors import InputError
from ...analysis.fitting import capacitance_fit
from ...analysis.quantity import Stated
from ...analysis.result import Condition, Result, Swept
from ...analysis.tank import REFERENCE, UNKNOWN, Dial, Tank, deduce_by_dial
from ...analysis.uncertainty import stated_in
from ...drivers.bench import CapacitorTable
from ..plan import DialGoal
from ..run import (
    USUAL_SELF_CAPACITANCE,
    Arrangement,
    IdentifiedBench,
    Session,
    Span,
    Steps,
    conditions,
    settings_of,
    tank_on_bench,
)
from .capacitor_job import CapacitorJob, capacitor_result
from .work_coil import across_f

__all__ = ["measure_by_dial"]

LEAST_TARGET = 0.001  # of a half-width: what a dial is good for

CAREFUL = "turn the capacitor by its insulated knob"
WITHOUT = Arrangement(
    step=REFERENCE,
    instruction="Put the work coil on the fixture with the variable capacitor "
    f"across it, and take the unknown off; {CAREFUL}.",
    fitted=("coil", "strap", "capacitor"),
    hookup="capacitor-dial",
)
WITH = Arrangement(
    step=UNKNOWN,
    instruction="Attach the unknown across the tank, with leads as short as "
    f"can be, and change nothing else; {CAREFUL}.",
    fitted=("coil", "strap", "capacitor", "unknown"),
    hookup="capacitor-dial",
)


def measure_by_dial(
    bench: IdentifiedBench,
    span: Span,
    *,
    job: CapacitorJob,
    session: Session,
    steps: Steps,
) -> Result:
    """Turn to resonance without the unknown and with it.

    Parameters
    ----------
    bench
        An open bench with a variable capacitor.
    span
        How closely to measure; where it looks does not matter.
    job, session, steps
        See `halfpower.sweeps.procedures.measure_capacitor`.

    Raises
    ------
    InputError
        The bench file has no variable capacitor.
    """
    table = bench.file.capacitor
    frequency_hz = job.frequency_hz
    if table is None or frequency_hz is None:
        raise InputError(
            "the bench file has no variable capacitor; describe it in a table "
            "[capacitor], or sweep the frequency"
        )
    tank = tank_on_bench(
        bench.file,
        capacitor_f=Stated(value=table.lowest_f),
        capacitor_loss=table.loss,
        self_capacitance_f=job.self_capacitance_f or USUAL_SELF_CAPACITANCE,
    )
    goal = _goal(span, table=table, tank=tank, frequency_hz=frequency_hz)
    reference = steps.turn(WITHOUT, goal, tank=tank)
    unknown = steps.turn(WITH, _below(goal, reference, table=table), tank=tank)
    dial = _dial(table)
    return capacitor_result(
        bench,
        job=job,
        session=session,
        deduced=deduce_by_dial(
            dial,
            frequency_hz=frequency_hz,
            reference=capacitance_fit(reference.found),
            unknown=capacitance_fit(unknown.found),
            linearity=tank.linearity,
        ),
        sweeps=(reference, unknown),
        settings=(
            *settings_of(bench.file, tank=tank),
            Condition(name="frequency", value=Stated(value=frequency_hz), unit="Hz"),
            *conditions(stated_in(dial)),
        ),
        warnings=steps.cautions,
        remarks=(),
    )


def _dial(table: CapacitorTable) -> Dial:
    return Dial(
        scale_error=Stated.within(0.0, half_width=table.scale_error),
        loss=table.loss,
        inductance_h=table.inductance,
    )


def _goal(
    span: Span, *, table: CapacitorTable, tank: Tank, frequency_hz: float
) -> DialGoal:
    """Look over the whole dial, as closely as one can be read."""
    return DialGoal(
        frequency_hz=frequency_hz,
        lowest_f=table.lowest_f,
        highest_f=table.highest_f,
        beside_f=across_f(tank, frequency_hz=frequency_hz) - table.lowest_f,
        target=max(span.target, LEAST_TARGET),
        most_readings=span.most_readings,
    )


def _below(goal: DialGoal, reference: Swept, *, table: CapacitorTable) -> DialGoal:
    """Look below the first resonance: an added capacitor turns the dial down."""
    found = reference.found
    highest_f = min(found.centre + 4.0 * found.half_width, table.highest_f)
    return replace(goal, highest_f=highest_f)
