"""`halfpower capacitor`: value and loss by substitution."""

from typing import Annotated

import typer

from .options import (
    BenchOption,
    FromOption,
    HookupOption,
    JsonOption,
    LabelOption,
    MostOption,
    PageOption,
    PlotOption,
    ReadingsOption,
    ResumeOption,
    SceneOption,
    SeedOption,
    TankCapacitorOption,
    TankLossOption,
    TargetOption,
    ToOption,
    TraceOption,
    WorkCoilOption,
    choice_of,
    expected_of,
    known_capacitor,
    span_of,
    stated_or_none,
)

__all__ = ["capacitor"]


def capacitor(
    *,
    bench: BenchOption = None,
    scene: SceneOption = None,
    seed: SeedOption = 0,
    lowest: FromOption = None,
    highest: ToOption = None,
    tank: TankCapacitorOption = None,
    tank_loss: TankLossOption = None,
    self_capacitance: WorkCoilOption = None,
    method: Annotated[
        str,
        typer.Option(
            "--method",
            metavar="METHOD",
            help="parallel (across the tank), series (with the coil), dial (a variable "
            "capacitor at one frequency), or auto: parallel, and series if large.",
        ),
    ] = "auto",
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="FREQUENCY", help="The frequency, for a dial."),
    ] = None,
    expect: Annotated[
        str | None,
        typer.Option(
            "--expect",
            metavar="CAPACITANCE",
            help="What it is thought to be, as '100pF +- 10%': fewer readings, and the "
            "result is compared with it.",
        ),
    ] = None,
    marked: Annotated[
        str | None,
        typer.Option(
            "--marked",
            metavar="CODE",
            help="What is printed on it, as 104K: the result says which reading of it "
            "is right.",
        ),
    ] = None,
    label: LabelOption = "",
    target: TargetOption = "0.2%",
    most_readings: MostOption = 200,
    json: JsonOption = None,
    plot: PlotOption = None,
    page: PageOption = None,
    readings: ReadingsOption = None,
    hookup: HookupOption = None,
    resume: ResumeOption = None,
    trace: TraceOption = None,
) -> None:
    """Measure a capacitor: value, loss, equivalent series resistance.

    Example: halfpower capacitor --bench bench.toml --tank '150pF +- 1%' --from 1MHz
    --to 4MHz --label C3
    """
    from ..analysis.quantities import parse_quantity
    from ..sweeps.capacitor import METHODS, CapacitorJob, measure_capacitor
    from ..sweeps.marked import Marked
    from ..sweeps.on_bench import Span
    from .on_bench import Place, measuring
    from .output import Wanted, hand_out

    job = CapacitorJob(
        tank=None if tank is None else known_capacitor(tank, loss=tank_loss),
        self_capacitance_f=stated_or_none(self_capacitance, "F"),
        method=choice_of(method, METHODS, option="--method"),
        expected_f=expected_of(expect, "F"),
        frequency_hz=None if at is None else parse_quantity(at, "Hz"),
        marked=None if marked is None else Marked(marked, "capacitor"),
    )
    if job.frequency_hz is not None and lowest is None and highest is None:
        span = Span(
            lowest_hz=job.frequency_hz / 2.0,
            highest_hz=job.frequency_hz * 2.0,
            target=max(parse_quantity(target, "fraction"), 0.005),
            most_readings=most_readings,
        )
    else:
        span = span_of(lowest, highest, target=target, most_readings=most_readings)
    wanted = Wanted(json=json, plot=plot, page=page)
    place = Place(
        bench=bench,
        scene=scene,
        seed=seed,
        trace=trace,
        readings=readings,
        hookups=hookup,
        resume=resume,
    )
    with measuring(place, procedure="capacitor", label=label) as (on_bench, session):
        result = measure_capacitor(on_bench, span, job=job, session=session)
    hand_out(result, wanted)
