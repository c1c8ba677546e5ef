"""Measure a capacitor by substitution in a tank."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from ..analysis.attached import CAPACITOR_UNITS, REFERENCE, UNKNOWN, bound_of
from ..analysis.capacitor import (
    SERIES,
    deduce_in_series,
    deduce_parallel,
    exponent_in_series,
)
from ..analysis.capacitor_by_dial import Dial, deduce_by_dial
from ..analysis.coil import Tank, tank_shunt
from ..analysis.errors import InputError
from ..analysis.in_capacitance import CapacitanceFit, capacitance_fit
from ..analysis.outcome import quantities_of
from ..analysis.propagate import Deduced
from ..analysis.quantities import describe
from ..analysis.resonance import fit
from ..analysis.response import Peak
from ..analysis.result import Caution, Quantity, Result, Swept
from ..analysis.stated import Stated
from ..drivers.bench_file import BenchFile, CapacitorTable
from .dial_planner import DialGoal
from .errors import NoResonanceError, SweepError
from .known import (
    USUAL_SELF_CAPACITANCE,
    Expected,
    KnownCapacitor,
    assumed_of_tank,
    compared,
)
from .marked import Marked
from .on_bench import (
    EXPONENTS,
    IdentifiedBench,
    Span,
    collect_evidence,
    settings_of,
    tank_on_bench,
)
from .planner import trace_of
from .session import Session
from .steps import Arrangement, Steps

__all__ = [
    "METHODS",
    "CapacitorJob",
    "CapacitorMethod",
    "attached_span",
    "bounded",
    "measure_capacitor",
    "tank_with",
]

CapacitorMethod = Literal["auto", "parallel", "series", "dial"]
METHODS: tuple[CapacitorMethod, ...] = ("auto", "parallel", "series", "dial")
EXACT = Stated(value=0.0)
# Across the tank the coil's resistance has to be carried from one frequency to the
# other: at five times the capacitance over an octave and more.
SERIES_FROM = 4.0
WIDEST_FALL = 12.0  # of the frequency, where nothing is known of the unknown
ABOVE = 1.08  # of the tank's own resonance: room for the upper flank
SLACK = 2.0  # factor that an expected capacitance may be off by


@dataclass(frozen=True, slots=True, kw_only=True)
class CapacitorJob:
    """How a capacitor is to be measured, and what is known.

    Attributes
    ----------
    tank
        The known capacitor that stays across the coil; None: the fixture alone.
    self_capacitance_f
        The work coil's, in F; None: that of a usual single-layer coil.
    method
        ``parallel`` (across the tank), ``series`` (with the coil), ``dial`` (a variable
        capacitor at one frequency), ``auto``: across the tank, and in series if it
        turns out large.
    expected_f
        What it was marked or predicted to be.
    frequency_hz
        For ``dial``: the frequency, in Hz.
    marked
        What is printed on it.
    """

    tank: KnownCapacitor | None = None
    self_capacitance_f: Stated | None = None
    method: CapacitorMethod = "auto"
    expected_f: Expected | None = None
    frequency_hz: float | None = None
    marked: Marked | None = None

    def __post_init__(self) -> None:
        """Refuse a job that cannot be."""
        if (self.method == "dial") != (self.frequency_hz is not None):
            raise InputError(
                "the method with a dial works at one frequency, the others sweep: give "
                "--at FREQUENCY with it, and only with it"
            )
        if self.method == "dial" and self.tank is not None:
            raise InputError(
                "with the method 'dial' the variable capacitor is the tank's; leave "
                "--tank out"
            )


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
        See `halfpower.sweeps.steps.Steps.sweep`.
    """
    session = session or Session()
    steps = session.steps(bench)
    if job.method == "dial":
        result = _by_dial(bench, span, job=job, session=session, steps=steps)
    else:
        result = _by_sweeps(bench, span, job=job, session=session, steps=steps)
    session.sink.result(result)
    return result


def tank_with(
    bench: IdentifiedBench,
    *,
    capacitor: KnownCapacitor | None,
    self_capacitance_f: Stated | None,
) -> Tank:
    """Put the bench's constants and what stays across the work coil together."""
    return tank_on_bench(
        bench.file,
        capacitor_f=EXACT if capacitor is None else capacitor.capacitance_f,
        capacitor_loss=EXACT if capacitor is None else capacitor.usual_loss,
        self_capacitance_f=self_capacitance_f or USUAL_SELF_CAPACITANCE,
    )


def attached_span(
    span: Span,
    *,
    bench: IdentifiedBench,
    tank: Tank,
    reference: Swept,
    expected_f: float | None,
) -> Span:
    """Give the span that holds the resonance once something was put across the tank."""
    f1 = reference.found.resonant_frequency_hz
    limits = bench.file.limits
    low, high = f1 / WIDEST_FALL, ABOVE * f1
    if expected_f is not None:
        before = _across_f(tank, frequency_hz=f1)
        low = f1 / math.sqrt(1.0 + SLACK * expected_f / before) / 1.1
        high = 1.1 * f1 / math.sqrt(1.0 + expected_f / SLACK / before)
    return replace(
        span,
        lowest_hz=max(low, limits.lowest_frequency_hz),
        highest_hz=min(high, limits.highest_frequency_hz),
    )


def bounded(deduced: Sequence[Deduced], *, losses: Sequence[str]) -> dict[str, float]:
    """Give the 95 % limits of those losses that cannot be resolved, by name."""
    limits = {one.name: bound_of(one) for one in deduced if one.name in losses}
    return {name: limit for name, limit in limits.items() if limit is not None}


def _across_f(tank: Tank, *, frequency_hz: float) -> float:
    values = {name: one.value for name, one in tank.stated.items()}
    shunt = tank_shunt(values, omega=2.0 * math.pi * frequency_hz)
    return float(shunt.capacitance_f)


# Swept frequency --------------------------------------------------------------------


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
    fitted = ("coil", "strap") + (("capacitor",) if job.tank is not None else ())
    known = "" if job.tank is None else f" and the {job.tank.name} across it"
    reference = steps.sweep(
        Arrangement(
            step=REFERENCE,
            instruction=f"Put the work coil on the fixture{known}, and take the "
            "unknown off.",
            fitted=fitted,
            hookup="capacitor-reference",
        ),
        span,
        tank=tank,
    )
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
        series = _series(bench, span, steps=steps, fitted=fitted, first=sweeps)
        series, in_series = _fitted_in_series(
            bench.file, tank=tank, reference=reference, series=series
        )
        sweeps.append(series)
        remarks.append(_why_series(job, deduced, in_series))
        deduced = in_series
    return _result(
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
    except SweepError as error:
        before_f = _across_f(tank, frequency_hz=reference.found.resonant_frequency_hz)
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


def _series(
    bench: IdentifiedBench,
    span: Span,
    *,
    steps: Steps,
    fitted: tuple[str, ...],
    first: Sequence[Swept],
) -> Swept:
    f1 = first[0].found.resonant_frequency_hz
    limits = bench.file.limits
    return steps.sweep(
        Arrangement(
            step=SERIES,
            instruction="Take the unknown off the tank, take out the strap at the "
            "coil's cold end, and put the unknown in its place.",
            fitted=(*(one for one in fitted if one != "strap"), "unknown@series"),
            hookup="capacitor-series",
        ),
        replace(
            span,
            lowest_hz=max(0.9 * f1, limits.lowest_frequency_hz),
            highest_hz=min(4.0 * f1, limits.highest_frequency_hz),
        ),
        tank=tank_with(bench, capacitor=None, self_capacitance_f=EXACT),
    )


def _fitted_in_series(
    file: BenchFile, *, tank: Tank, reference: Swept, series: Swept
) -> tuple[Swept, tuple[Deduced, ...]]:
    """Fit the series sweep with its own exponent, which needs what it finds."""
    found = deduce_in_series(tank, reference=reference.found, series=series.found)
    for _ in range(2):
        capacitance = next(one for one in found if one.name == "capacitance")
        exponent = exponent_in_series(
            tank,
            frequency_hz=series.found.resonant_frequency_hz,
            capacitance_f=capacitance.value,
            fixture=EXPONENTS[file.fixture.kind],
        )
        used = [series.readings[index] for index in series.used]
        series = replace(
            series, found=fit(trace_of(used), response=Peak(exponent=exponent))
        )
        found = deduce_in_series(tank, reference=reference.found, series=series.found)
    return series, found


def _is_large(deduced: Sequence[Deduced], tank: Tank, sweeps: Sequence[Swept]) -> bool:
    capacitance = next(one for one in deduced if one.name == "capacitance")
    f1 = sweeps[0].found.resonant_frequency_hz
    return capacitance.value > SERIES_FROM * _across_f(tank, frequency_hz=f1)


def _why_series(
    job: CapacitorJob,
    parallel: Sequence[Deduced] | None,
    in_series: Sequence[Deduced],
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
        f"uncertain by {2.0 * one.u:.1g}, in series by {2.0 * two.u:.1g}."
    )


# Dial -------------------------------------------------------------------------------


def _by_dial(
    bench: IdentifiedBench,
    span: Span,
    *,
    job: CapacitorJob,
    session: Session,
    steps: Steps,
) -> Result:
    table = bench.file.capacitor
    frequency_hz = job.frequency_hz
    if table is None or frequency_hz is None:
        raise InputError(
            "the bench file has no variable capacitor; describe it in a table "
            "[capacitor], or sweep the frequency"
        )
    lowest = Stated(value=table.lowest_f)
    tank = tank_on_bench(
        bench.file,
        capacitor_f=lowest,
        capacitor_loss=table.loss,
        self_capacitance_f=job.self_capacitance_f or USUAL_SELF_CAPACITANCE,
    )
    goal = DialGoal(
        frequency_hz=frequency_hz,
        lowest_f=table.lowest_f,
        highest_f=table.highest_f,
        beside_f=_across_f(tank, frequency_hz=frequency_hz) - table.lowest_f,
        target=max(span.target, 0.001),
        most_readings=span.most_readings,
    )
    careful = "turn the capacitor by its insulated knob"
    reference = steps.turn(
        Arrangement(
            step=REFERENCE,
            instruction="Put the work coil on the fixture with the variable capacitor "
            f"across it, and take the unknown off; {careful}.",
            fitted=("coil", "strap", "capacitor"),
            hookup="capacitor-dial",
        ),
        goal,
        tank=tank,
    )
    unknown = steps.turn(
        Arrangement(
            step=UNKNOWN,
            instruction="Attach the unknown across the tank, with leads as short as "
            f"can be, and change nothing else; {careful}.",
            fitted=("coil", "strap", "capacitor", "unknown"),
            hookup="capacitor-dial",
        ),
        _below(goal, reference, table=table),
        tank=tank,
    )
    deduced = deduce_by_dial(
        Dial(
            scale_error=Stated.within(0.0, half_width=table.scale_error),
            loss=table.loss,
            inductance_h=table.inductance,
        ),
        frequency_hz=frequency_hz,
        reference=_fit_of(reference),
        unknown=_fit_of(unknown),
        linearity=tank.linearity,
    )
    settings = settings_of(bench.file, tank=tank) | {
        "frequency": describe(Stated(value=frequency_hz), unit="Hz"),
        "dial's scale error": repr(table.scale_error),
    }
    return _result(
        bench,
        job=job,
        session=session,
        deduced=deduced,
        sweeps=(reference, unknown),
        settings=settings,
        warnings=tuple(steps.cautions),
        remarks=[],
    )


def _fit_of(swept: Swept) -> CapacitanceFit:
    return capacitance_fit(swept.found)


def _below(goal: DialGoal, reference: Swept, *, table: CapacitorTable) -> DialGoal:
    """Look below the first resonance: an added capacitor turns the dial down."""
    first_f = reference.found.resonant_frequency_hz
    highest_f = min(first_f + 4.0 * reference.found.bandwidth_hz, table.highest_f)
    return replace(goal, highest_f=highest_f)


# All --------------------------------------------------------------------------------


def _result(
    bench: IdentifiedBench,
    *,
    job: CapacitorJob,
    session: Session,
    deduced: Sequence[Deduced],
    sweeps: Sequence[Swept],
    settings: dict[str, str],
    warnings: Sequence[Caution],
    remarks: Sequence[str],
) -> Result:
    bounds = bounded(deduced, losses=("dissipation_factor", "series_resistance"))
    if "dissipation_factor" not in bounds:
        bounds = {}
    quantities = quantities_of(deduced, units=CAPACITOR_UNITS, bounds=bounds)
    return Result(
        procedure="capacitor",
        label=session.label,
        quantities=quantities,
        warnings=(*warnings, *_unresolved(bounds)),
        evidence=collect_evidence(
            bench, settings=settings, sweeps=sweeps, begun=session.begun
        ),
        remarks=(*remarks, *_agreement(quantities, job=job)),
    )


def _unresolved(bounds: dict[str, float]) -> tuple[Caution, ...]:
    if not bounds:
        return ()
    return (
        Caution(
            code="loss_not_resolved",
            text="the unknown's loss cannot be told from the tank's own: a limit is "
            "given instead of a value; a better coil, looser coupling or a closer "
            "knowledge of the tank would resolve it",
        ),
    )


def _agreement(quantities: Sequence[Quantity], *, job: CapacitorJob) -> tuple[str, ...]:
    one = next(q for q in quantities if q.name == "capacitance")
    low, high = one.interval or (one.value, one.value)
    said = [] if job.marked is None else [job.marked.verdict(one)]
    if job.expected_f is not None:
        said.append(
            compared(
                "capacitance",
                value=one.value,
                half_width=max(high - one.value, one.value - low),
                unit="F",
                expected=job.expected_f,
            )
        )
    return tuple(said)
