"""Measure a capacitor by substitution in a tank."""

from collections.abc import Sequence

from ...analysis.quantity import Quantity
from ...analysis.result import Result, Swept
from ...analysis.tank import (
    REFERENCE,
    UNKNOWN,
    Tank,
    deduce_in_series,
    deduce_parallel,
)
from ..errors import GuardError, NoResonanceError, SweepError
from ..run import (
    Arrangement,
    IdentifiedBench,
    Session,
    Span,
    Steps,
    assumed_of_tank,
    settings_of,
)
from .capacitor_by_dial import measure_by_dial
from .capacitor_in_series import refuse_small, sweep_in_series
from .capacitor_job import CapacitorJob, capacitor_result
from .work_coil import across_f, attached_span, tank_with

__all__ = ["measure_capacitor"]

# Across the tank the coil's resistance has to be carried from one frequency to the
# other: at five times the capacitance over an octave and more.
SERIES_FROM = 4.0


def measure_capacitor(
    bench: IdentifiedBench,
    span: Span,
    *,
    job: CapacitorJob,
    session: Session | None = None,
) -> Result:
    """Measure a capacitor's value and loss.

    Parameters
    ----------
    bench
        An open bench.
    span
        Where the tank resonates without the unknown, and how closely to measure.
    job
        How, and what is known.
    session
        Who is there, and where the readings go.

    Raises
    ------
    AnalysisError
        The readings do not bear a value, or contradict a passive part.
    SweepError, GuardError, SettingError, DriverError
        See `halfpower.sweeps.run.Steps.sweep`.
    """
    session = session or Session()
    steps = session.steps(bench)
    if job.method == "dial":
        return measure_by_dial(bench, span, job=job, session=session, steps=steps)
    return _by_sweeps(bench, span, job=job, session=session, steps=steps)


def _by_sweeps(
    bench: IdentifiedBench,
    span: Span,
    *,
    job: CapacitorJob,
    session: Session,
    steps: Steps,
) -> Result:
    tank = tank_with(
        bench, capacitor=job.tank, self_capacitance_f=job.self_capacitance_f
    )
    if job.method == "series" and job.expected_f is not None:
        refuse_small(bench, span, tank=tank, expected_f=job.expected_f.value)
    fitted = ("coil", "strap") + (("capacitor",) if job.tank is not None else ())
    reference = steps.sweep(_without(job, fitted=fitted), span, tank=tank)
    sweeps, deduced = [reference], None
    if job.method != "series":
        unknown = _parallel(
            bench, span, job=job, steps=steps, tank=tank, reference=reference
        )
        if unknown is not None:
            sweeps.append(unknown)
            deduced = deduce_parallel(
                tank, reference=reference.found, unknown=unknown.found
            )
    remarks: list[str] = []
    if deduced is None or (job.method == "auto" and _is_large(deduced, tank, sweeps)):
        series = sweep_in_series(
            bench, span, steps=steps, fitted=fitted, tank=tank, reference=reference
        )
        in_series = deduce_in_series(
            tank, reference=reference.found, series=series.found
        )
        sweeps.append(series)
        remarks.append(_why_series(job, deduced, in_series))
        deduced = in_series
    return capacitor_result(
        bench,
        job=job,
        session=session,
        deduced=deduced,
        sweeps=sweeps,
        settings=settings_of(bench.file, tank=tank, span=span),
        warnings=(
            *steps.cautions,
            *assumed_of_tank(job.tank, self_capacitance_f=job.self_capacitance_f),
        ),
        remarks=remarks,
    )


def _without(job: CapacitorJob, *, fitted: tuple[str, ...]) -> Arrangement:
    known = "" if job.tank is None else f" and the {job.tank.name} across it"
    return Arrangement(
        step=REFERENCE,
        instruction=f"Put the work coil on the fixture{known}, and take the "
        "unknown off.",
        fitted=fitted,
        hookup="capacitor-reference",
    )


def _parallel(
    bench: IdentifiedBench,
    span: Span,
    *,
    job: CapacitorJob,
    steps: Steps,
    tank: Tank,
    reference: Swept,
) -> Swept | None:
    """Sweep with the unknown across the tank; None where it must go in series."""
    expected = None if job.expected_f is None else job.expected_f.value.value
    present = ("coil", "strap", "unknown")
    try:
        return steps.sweep(
            Arrangement(
                step=UNKNOWN,
                instruction="Attach the unknown across the tank, with leads as short "
                "as can be, and change nothing else.",
                fitted=present + (("capacitor",) if job.tank is not None else ()),
                hookup="capacitor-parallel",
            ),
            attached_span(
                span,
                bench=bench,
                tank=tank,
                reference=reference,
                expected_f=expected,
            ),
            tank=tank,
        )
    except GuardError:
        raise  # a voltage says nothing of the part, and nothing goes on at it
    except SweepError as error:
        before_f = across_f(tank, frequency_hz=reference.found.resonant_frequency_hz)
        if job.method == "auto" and (expected or 0.0) > SERIES_FROM * before_f:
            return None
        raise NoResonanceError(
            "with the unknown attached the tank has no resonance to measure: the part "
            "is shorted or far too lossy, or so large that the resonance left the span "
            f"(then try the series method){_if_expected(expected)}; {error}"
        ) from error


def _if_expected(expected_f: float | None) -> str:
    if expected_f is None:
        return ""
    return (
        f", or it is not near the {expected_f * 1e12:.4g} pF expected (then leave "
        "--expect out)"
    )


def _is_large(deduced: Sequence[Quantity], tank: Tank, sweeps: Sequence[Swept]) -> bool:
    capacitance = next(one for one in deduced if one.name == "capacitance")
    f1 = sweeps[0].found.resonant_frequency_hz
    return capacitance.value > SERIES_FROM * across_f(tank, frequency_hz=f1)


def _why_series(
    job: CapacitorJob,
    parallel: Sequence[Quantity] | None,
    in_series: Sequence[Quantity],
) -> str:
    if job.method == "series":
        return "Measured in series with the coil, as asked."
    if parallel is None:
        return (
            "Measured in series with the coil: across the tank no resonance was found "
            "where the expected capacitance would have it."
        )
    one, two = (
        next(x for x in some if x.name == "dissipation_factor")
        for some in (parallel, in_series)
    )
    value = next(x for x in parallel if x.name == "capacitance")
    return (
        "Measured in series with the coil, since it is large against the tank: across "
        f"it the capacitance came out as {value.value * 1e12:.4g} pF and the loss "
        f"uncertain by {2.0 * one.standard_uncertainty:.1g}, in series by "
        f"{2.0 * two.standard_uncertainty:.1g}."
    )
