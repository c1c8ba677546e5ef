"""`halfpower sweep`: whatever resonates on the fixture."""

from .options import (
    BenchOption,
    FromOption,
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
    span_of,
)

__all__ = ["sweep"]


def sweep(
    *,
    bench: BenchOption = None,
    scene: SceneOption = None,
    seed: SeedOption = 0,
    lowest: FromOption = None,
    highest: ToOption = None,
    label: LabelOption = "",
    target: TargetOption = "0.2%",
    most_readings: MostOption = 200,
    json: JsonOption = None,
    plot: PlotOption = None,
    page: PageOption = None,
    readings: ReadingsOption = None,
    resume: ResumeOption = None,
    trace: TraceOption = None,
) -> None:
    """Find and measure whatever resonates between two frequencies.

    Example: halfpower sweep --bench bench.toml --from 5MHz --to 10MHz
    """
    from ..sweeps.sweep import measure_resonance
    from .on_bench import Place, measuring
    from .output import Wanted, hand_out

    span = span_of(lowest, highest, target=target, most_readings=most_readings)
    wanted = Wanted(json=json, plot=plot, page=page)
    place = Place(
        bench=bench,
        scene=scene,
        seed=seed,
        trace=trace,
        readings=readings,
        resume=resume,
    )
    with measuring(place, procedure="sweep", label=label) as (on_bench, session):
        result = measure_resonance(on_bench, span, session=session)
    hand_out(result, wanted)
