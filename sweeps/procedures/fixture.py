"""Measure what a fixture adds to a tank."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from ...analysis.errors import InputError
from ...analysis.quantity import Quantity, Stated
from ...analysis.result import Condition, Result, Swept
from ...analysis.tank import (
    PROBE,
    FixtureCoil,
    Tank,
    capacitors_stated,
    deduce_loading,
    deduce_probe,
    deduce_stray,
)
from ...drivers.bench import FixtureRecord
from ..run import (
    MOST_SHARE,
    ON_SEVERAL,
    Arrangement,
    IdentifiedBench,
    KnownCapacitor,
    Session,
    Span,
    Steps,
    assumed_loss,
    conditions,
    settings_of,
)
from .work_coil import attached_span, on_each_capacitor, tank_with

STRAY = "fixture's stray"  # as a budget shows it

__all__ = ["FixtureJob", "WorkCoil", "fixture_record", "measure_fixture"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkCoil:
    """A coil to measure a fixture with.

    Attributes
    ----------
    name
        What it is called.
    self_capacitance_f
        Its own, in F, estimated or measured elsewhere: the stray is no better known.
    """

    name: str
    self_capacitance_f: Stated


@dataclass(frozen=True, slots=True, kw_only=True)
class FixtureJob:
    """How a fixture is to be measured.

    Attributes
    ----------
    coils
        One or two work coils; the second tells the coil's share from the fixture's.
    capacitors
        Two known capacitors or more, used with each coil.
    common_error
        Limits of a relative error that the capacitors share.
    second_probe
        Whether a second probe like the first is at hand.
    alike
        Limits of the relative difference of the two.
    coil_q
        The first coil's unloaded Q on the first capacitor, where it is known.
    """

    coils: tuple[WorkCoil, ...]
    capacitors: tuple[KnownCapacitor, ...]
    common_error: float = 0.0
    second_probe: bool = False
    alike: float = 0.15
    coil_q: Stated | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be done."""
        if not self.coils:
            raise InputError("a fixture is measured with a work coil; name one")
        if len(self.capacitors) < 2:  # noqa: PLR2004 - a line
            raise InputError(
                "a fixture is measured with two known capacitors or more; name them"
            )
        names = [coil.name for coil in self.coils]
        if len(set(names)) < len(names):
            raise InputError(f"two coils are called {names[0]!r}")
        if self.coil_q is not None and self.coil_q.value <= 0.0:
            raise InputError(f"a coil's Q of {self.coil_q.value:g} is not above zero")
        for name, share in (
            ("common error", self.common_error),
            ("difference of two probes", self.alike),
        ):
            if not 0.0 <= share < MOST_SHARE:
                raise InputError(
                    f"a {name} of {100.0 * share:g} % is not between 0 and "
                    f"{100.0 * MOST_SHARE:g} %"
                )
        if self.second_probe and self.coil_q is not None:
            raise InputError(
                "the loading is measured with a second probe or with a coil of known "
                "Q, not both"
            )

    @property
    def measures_loading(self) -> bool:
        """Whether the probe's loading is measured, too."""
        return self.second_probe or self.coil_q is not None


def measure_fixture(
    bench: IdentifiedBench,
    span: Span,
    *,
    job: FixtureJob,
    session: Session | None = None,
) -> Result:
    """Measure a fixture's stray capacitance, and its probe's loading if asked.

    Parameters
    ----------
    bench
        An open bench.
    span
        Where each coil resonates on the first capacitor, and how closely to measure.
    job
        The coils, the capacitors, the probe.
    session
        Who is there, and where the readings go.

    Raises
    ------
    AnalysisError
        The readings do not bear a value.
    SweepError, GuardError, SettingError, DriverError
        See `halfpower.sweeps.run.Steps.sweep`.
    """
    session = session or Session()
    steps = session.steps(bench)
    sweeps: list[Swept] = []
    coils = [
        _with_coil(bench, span, job=job, number=number, steps=steps, sweeps=sweeps)
        for number in range(1, len(job.coils) + 1)
    ]
    tank = tank_with(bench, capacitor=None, self_capacitance_f=None)
    common = Stated.within(0.0, half_width=job.common_error)
    deduced = list(deduce_stray(tank, coils=coils, common=common))
    loaded = _with_stray(bench, job=job, stray=deduced[0])
    deduced += _loading(bench, span, job=job, steps=steps, sweeps=sweeps, tank=loaded)
    lossy = any(one.loss is None for one in job.capacitors)
    assumed = [assumed_loss("known capacitors'")] if lossy else []
    unused = () if job.measures_loading else (*ON_SEVERAL, STRAY)
    return session.conclude(
        bench,
        procedure="fixture",
        quantities=deduced,
        warnings=(*steps.cautions, *assumed),
        settings=(
            *settings_of(bench.file, tank=loaded, span=span, left_out=unused),
            *_of_job(job, coils=coils, common=common),
        ),
        sweeps=sweeps,
        remarks=_agreement(coils, job=job, bench=bench, common=common),
    )


def _with_stray(bench: IdentifiedBench, *, job: FixtureJob, stray: Quantity) -> Tank:
    """Give the first coil's tank on the first capacitor, its stray as measured."""
    tank = tank_with(
        bench,
        capacitor=job.capacitors[0],
        self_capacitance_f=job.coils[0].self_capacitance_f,
    )
    measured = Stated(value=max(stray.value, 0.0), u=stray.standard_uncertainty)
    return replace(tank, stray_f=measured)


def _of_job(
    job: FixtureJob, *, coils: Sequence[FixtureCoil], common: Stated
) -> tuple[Condition, ...]:
    """Give what is known of the coils, the capacitors and the second probe."""
    own = [
        Condition(
            name=f"self-capacitance of {coil.name}",
            value=coil.self_capacitance_f,
            unit="F",
        )
        for coil in coils
    ]
    # Every coil is on the same capacitors.
    capacitors = conditions(capacitors_stated(coils[0].points, common=common))
    beside = []
    if job.second_probe:
        alike = Stated.within(0.0, half_width=job.alike)
        beside.append(Condition(name="second probe's likeness", value=alike))
    if job.coil_q is not None:
        beside.append(Condition(name="coil's Q", value=job.coil_q))
    return (*own, *capacitors, *beside)


def _with_coil(
    bench: IdentifiedBench,
    span: Span,
    *,
    job: FixtureJob,
    number: int,
    steps: Steps,
    sweeps: list[Swept],
) -> FixtureCoil:
    """Sweep one coil on every capacitor."""
    coil = job.coils[number - 1]
    slot = "coil" if number == 1 else f"coil-{number}"
    taken, points = on_each_capacitor(
        bench,
        span,
        capacitors=job.capacitors,
        self_capacitance_f=coil.self_capacitance_f,
        steps=steps,
        arranged=lambda capacitor, across: Arrangement(
            step=f"{coil.name}, {capacitor.name}",
            instruction=f"Put {coil.name} on the fixture with the "
            f"{capacitor.name} capacitor across it, and nothing else.",
            fitted=(slot, "strap", across),
            hookup="fixture-known-capacitor",
        ),
    )
    sweeps.extend(taken)
    return FixtureCoil(
        name=coil.name,
        self_capacitance_f=coil.self_capacitance_f,
        points=tuple(points),
    )


def _loading(
    bench: IdentifiedBench,
    span: Span,
    *,
    job: FixtureJob,
    steps: Steps,
    sweeps: list[Swept],
    tank: Tank,
) -> tuple[Quantity, ...]:
    """Measure what the probe puts across the tank, in the way that is at hand."""
    first = sweeps[0]
    if job.coil_q is not None:
        return deduce_loading(tank, found=first.found, coil_q=job.coil_q)
    if not job.second_probe:
        return ()
    loaded = steps.sweep(
        Arrangement(
            step=PROBE,
            instruction=f"Put {job.coils[0].name} on the fixture with the "
            f"{job.capacitors[0].name} capacitor across it, and a second probe like "
            "the first beside it, its instrument connected.",
            fitted=("coil", "strap", "capacitor", "probe"),
            hookup="fixture-second-probe",
        ),
        attached_span(span, bench=bench, tank=tank, reference=first, expected_f=10e-12),
        tank=tank,
    )
    sweeps.append(loaded)
    return deduce_probe(
        tank,
        reference=first.found,
        loaded=loaded.found,
        alike=Stated.within(0.0, half_width=job.alike),
    )


def _agreement(
    coils: list[FixtureCoil],
    *,
    job: FixtureJob,
    bench: IdentifiedBench,
    common: Stated,
) -> tuple[str, ...]:
    """Say what each coil by itself makes of the stray."""
    if len(coils) < 2:  # noqa: PLR2004 - a comparison
        return (
            (
                "The stray leans on the self-capacitance stated of "
                f"{job.coils[0].name}; a second coil would check it."
            ),
        )
    tank = tank_with(bench, capacitor=None, self_capacitance_f=None)
    alone = [deduce_stray(tank, coils=[coil], common=common)[0] for coil in coils]
    told = ", ".join(
        f"{1e12 * one.value:.2f} ± {2e12 * one.standard_uncertainty:.2f} pF "
        f"by {coil.name}"
        for one, coil in zip(alone, coils, strict=True)
    )
    return (f"The stray by each coil alone: {told}.",)


def fixture_record(result: Result, *, kind: str, made: datetime) -> FixtureRecord:
    """Make a record, for a bench file to name, of what was measured of a fixture.

    Parameters
    ----------
    result
        Of `measure_fixture`.
    kind
        The fixture's.
    made
        When, with its offset from UTC.
    """
    measured = {
        one.name: Stated(value=max(one.value, 0.0), u=one.standard_uncertainty)
        for one in result.quantities
    }
    instruments = dict(result.evidence.instruments)
    return FixtureRecord(
        made=made,
        fixture=kind,
        generator=instruments["generator"],
        detector=instruments["detector"],
        frequency_hz=result.evidence.sweeps[0].found.resonant_frequency_hz,
        stray_capacitance=measured["stray_capacitance"],
        probe_capacitance=measured.get("probe_capacitance"),
        probe_resistance=measured.get("probe_resistance"),
    )
