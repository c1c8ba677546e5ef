"""`halfpower coil`: inductance, Q, self-capacitance, losses."""

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
    TargetOption,
    ToOption,
    TraceOption,
    expected_of,
    known_capacitor,
    span_of,
    stated_or_none,
)

__all__ = ["coil"]


def coil(
    *,
    capacitor: Annotated[
        list[str] | None,
        typer.Option(
            "--capacitor",
            metavar="CAPACITANCE",
            help="A known resonating capacitor, as '150pF +- 1%'; several give the "
            "self-capacitance too (repeat the option), none leaves the coil to its "
            "own and the fixture's.",
        ),
    ] = None,
    bench: BenchOption = None,
    scene: SceneOption = None,
    seed: SeedOption = 0,
    lowest: FromOption = None,
    highest: ToOption = None,
    expect: Annotated[
        str | None,
        typer.Option(
            "--expect",
            metavar="INDUCTANCE",
            help="What it is marked or predicted to be, as '33uH +- 10%': the result "
            "is compared with it, and without --from and --to it sets the span.",
        ),
    ] = None,
    marked: Annotated[
        str | None,
        typer.Option(
            "--marked",
            metavar="CODE",
            help="What is printed on it, as 330K: the result says which reading of it "
            "is right.",
        ),
    ] = None,
    self_capacitance: Annotated[
        str | None,
        typer.Option(
            "--self-capacitance",
            metavar="CAPACITANCE",
            help="The coil's own, as '2pF +- 1pF'.",
        ),
    ] = None,
    capacitor_loss: Annotated[
        str | None,
        typer.Option(
            "--capacitor-loss",
            metavar="D",
            help="The capacitors' dissipation factor, as '0.0002 +- 0.0001'.",
        ),
    ] = None,
    common_error: Annotated[
        str,
        typer.Option(
            "--common-error",
            metavar="SHARE",
            help="Limits of an error that the capacitors share (one batch, one meter).",
        ),
    ] = "0%",
    level: Annotated[
        list[str] | None,
        typer.Option(
            "--level",
            metavar="VOLTAGE",
            help="Measure at this e.m.f. too (repeat the option): dependence on drive.",
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
    """Measure a coil: inductance, Q, self-capacitance, series resistance.

    Example: halfpower coil --bench bench.toml --capacitor '150pF +- 1%' --from 5MHz
    --to 10MHz --label L17
    """
    from ..analysis.quantities import parse_quantity
    from ..sweeps.coil import KnownParts, coil_span, measure_coil
    from ..sweeps.marked import Marked
    from .on_bench import Place, measuring
    from .output import Wanted, hand_out

    expected = expected_of(expect, "H")
    known = KnownParts(
        capacitors=tuple(
            known_capacitor(one, loss=capacitor_loss) for one in capacitor or ()
        ),
        self_capacitance_f=stated_or_none(self_capacitance, "F"),
        common_error=parse_quantity(common_error, "fraction"),
        expected_h=expected,
        marked=None if marked is None else Marked(marked, "inductor"),
        levels_v=tuple(parse_quantity(one, "V") for one in level or ()),
    )
    if lowest is None and highest is None and expected is not None:
        edges = coil_span(expected.value.value, known=known)
        lowest, highest = (f"{edge!r}Hz" for edge in edges)
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
    with measuring(place, procedure="coil", label=label) as (on_bench, session):
        result = measure_coil(on_bench, span, known=known, session=session)
    hand_out(result, wanted)
