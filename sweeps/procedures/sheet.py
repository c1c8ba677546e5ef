"""Measure a sheet of insulator between two plates."""

from collections.abc import Sequence
from dataclasses import dataclass

from ...analysis.errors import InputError
from ...analysis.markings import candidates
from ...analysis.quantity import Caution, Quantity, Stated, format_quantity
from ...analysis.result import Condition, Result, Swept
from ...analysis.tank import (
    AIR,
    REFERENCE,
    SHEET,
    THICK,
    Method,
    SheetSample,
    Tank,
    deduce_sheet,
)
from ...analysis.uncertainty import stated_in
from ..errors import GuardError, NoResonanceError, SweepError
from ..run import (
    Arrangement,
    IdentifiedBench,
    KnownCapacitor,
    Session,
    SheetState,
    Span,
    Steps,
    assumed_of_tank,
    conditions,
    settings_of,
)
from .work_coil import attached_span, bounded, tank_with

__all__ = ["SheetJob", "measure_sheet"]

FAR_APART = 0.2  # of the calculated air value: a gap that asks for an explanation

SLOTS = {THICK: "thicker"}  # of a simulated fixture; the others' is "unknown"
_HOOKUPS: dict[SheetState, str] = {
    "out": "plates-out",
    "air": "plates-air",
    "in": "plates-sheet",
}
_STEPS: dict[str, tuple[str, SheetState]] = {
    REFERENCE: (
        "Put the work coil on the fixture{known}, and take the plates off.",
        "out",
    ),
    AIR: (
        (
            "Put the plates on, held apart by the sheet's thickness with nothing "
            "between them."
        ),
        "air",
    ),
    SHEET: ("Put the sheet between the plates, pressed flat.", "in"),
    THICK: ("Put the thicker sheet between the plates, pressed flat.", "in"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetJob:
    """What is between which plates, and how the edge is to be known.

    Attributes
    ----------
    sample
        The sheet and its plates.
    method
        See `halfpower.analysis.tank.sheet`.
    tank
        The known capacitor that stays across the coil; None: the fixture alone.
    self_capacitance_f
        The work coil's, in F; None: that of a usual single-layer coil.
    """

    sample: SheetSample
    method: Method = "air"
    tank: KnownCapacitor | None = None
    self_capacitance_f: Stated | None = None

    def __post_init__(self) -> None:
        """Refuse a method without its second sheet."""
        if self.method != "calculated" and self.sample.lead_f.value:
            raise InputError(
                "the plates' leads are stated for the method 'calculated' alone; the "
                "others take them out"
            )
        if (self.method == "two-thicknesses") != (self.sample.thicker_m is not None):
            raise InputError(
                "the thickness of a second sheet belongs to the method with two "
                "thicknesses, and only to it"
            )

    @property
    def steps(self) -> tuple[str, ...]:
        """The sweeps that the method takes, in order."""
        return {
            "calculated": (REFERENCE, SHEET),
            "air": (REFERENCE, AIR, SHEET),
            "two-thicknesses": (REFERENCE, SHEET, THICK),
        }[self.method]


def measure_sheet(
    bench: IdentifiedBench,
    span: Span,
    *,
    job: SheetJob,
    session: Session | None = None,
) -> Result:
    """Measure a sheet's relative permittivity and loss tangent.

    Parameters
    ----------
    bench
        An open bench.
    span
        Where the tank resonates without the plates, and how closely to measure.
    job
        The sheet, the plates, the method.
    session
        Who is there, and where the readings go.

    Raises
    ------
    AnalysisError
        The readings do not bear a value, or contradict a passive sheet.
    SweepError, GuardError, SettingError, DriverError
        See `halfpower.sweeps.run.Steps.sweep`.
    """
    session = session or Session()
    steps = session.steps(bench)
    tank = tank_with(
        bench, capacitor=job.tank, self_capacitance_f=job.self_capacitance_f
    )
    sweeps = _on_each_step(bench, span, job=job, steps=steps, tank=tank)
    deduced = deduce_sheet(
        tank,
        sample=job.sample,
        method=job.method,
        found={one.step: one.found for one in sweeps},
    )
    quantities = bounded(deduced, losses=("loss_tangent",))
    shown, beside = quantities[:2], quantities[2:]
    return session.conclude(
        bench,
        procedure="sheet",
        quantities=quantities,
        warnings=(
            *steps.cautions,
            *assumed_of_tank(job.tank, self_capacitance_f=job.self_capacitance_f),
            *_gap_caution(beside),
        ),
        settings=(*settings_of(bench.file, tank=tank, span=span), *_geometry(job)),
        sweeps=sweeps,
        remarks=(*_gap(beside), *_candidates(shown)),
    )


def _on_each_step(
    bench: IdentifiedBench, span: Span, *, job: SheetJob, steps: Steps, tank: Tank
) -> list[Swept]:
    """Sweep without the plates, then with them as the method has them."""
    before, *attached = job.steps
    reference = steps.sweep(_arranged(before, job=job), span, tank=tank)
    lower = attached_span(
        span, bench=bench, tank=tank, reference=reference, expected_f=None
    )
    sweeps = [reference]
    for step in attached:
        try:
            sweeps.append(steps.sweep(_arranged(step, job=job), lower, tank=tank))
        except GuardError:
            raise  # a voltage says nothing of the plates, and nothing goes on at it
        except SweepError as error:
            raise NoResonanceError(
                f"with the plates on ({step}) the tank has no resonance to measure: "
                f"they touch, or the sheet is far too lossy; {error}"
            ) from error
    return sweeps


def _arranged(step: str, *, job: SheetJob) -> Arrangement:
    """Say what is on the fixture in a step, and how the plates are."""
    instruction, state = _STEPS[step]
    known = "" if job.tank is None else f" and the {job.tank.name} across it"
    capacitor = () if job.tank is None else ("capacitor",)
    plates = () if state == "out" else (SLOTS.get(step, "unknown"),)
    return Arrangement(
        step=step,
        instruction=instruction.format(known=known),
        fitted=("coil", "strap", *capacitor, *plates),
        sheet=state,
        hookup=_HOOKUPS[state],
    )


def _geometry(job: SheetJob) -> tuple[Condition, ...]:
    """Give the method and the sheet's and the plates' dimensions."""
    around = "wider than the plates" if job.sample.extends else "flush"
    return (
        Condition(name="method", value=job.method),
        Condition(name="sheet", value=around),
        *conditions(stated_in(job.sample.record)),
    )


def _named(quantities: Sequence[Quantity], name: str) -> Quantity | None:
    return next((one for one in quantities if one.name == name), None)


def _gap(quantities: Sequence[Quantity]) -> tuple[str, ...]:
    """Show how measured and calculated capacitance in air compare, and why."""
    measured = _named(quantities, "capacitance_in_air")
    calculated = _named(quantities, "calculated_in_air")
    if measured is None or calculated is None:
        return ()
    one, two = (
        format_quantity(x.value, u=_half_width(x), unit="F")
        for x in (measured, calculated)
    )
    gap_pf = 1e12 * (measured.value - calculated.value)
    return (
        (
            f"In air the plates measure {one[0]} ± {one[1]} {one[2]}, calculated with "
            f"their edge field {two[0]} ± {two[1]} {two[2]}: the {gap_pf:+.2g} pF "
            "between them is the plates' leads, their thickness, and what stands near."
        ),
    )


def _half_width(quantity: Quantity) -> float:
    low, high = quantity.limits
    return max(high - quantity.value, quantity.value - low)


def _gap_caution(quantities: Sequence[Quantity]) -> tuple[Caution, ...]:
    measured = _named(quantities, "capacitance_in_air")
    calculated = _named(quantities, "calculated_in_air")
    if measured is None or calculated is None:
        return ()
    share = measured.value / calculated.value - 1.0
    if abs(share) <= FAR_APART:
        return ()
    return (
        Caution(
            code="air_value_far_off",
            text=f"in air the plates are {100.0 * share:+.0f} % from what their size "
            "and spacing give: see to spacing, tilt and leads before the sheet's value "
            "is believed",
        ),
    )


def _candidates(quantities: Sequence[Quantity]) -> tuple[str, ...]:
    permittivity, loss = quantities
    return (
        candidates(
            permittivity=permittivity.value,
            u_permittivity=permittivity.standard_uncertainty,
            loss_tangent=loss.value if loss.at_most is None else None,
            most_loss=loss.at_most,
            u_loss=loss.standard_uncertainty,
        ),
    )
