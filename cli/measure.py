"""`halfpower sweep` and `halfpower coil`: measurements on a bench."""

from typing import TYPE_CHECKING, Annotated

import typer

from .options import (
    BenchOption,
    FromOption,
    JsonOption,
    LabelOption,
    MostOption,
    PageOption,
    PlotOption,
    ReadingsOption,
    SceneOption,
    SeedOption,
    TargetOption,
    ToOption,
    TraceOption,
    span_of,
)

if TYPE_CHECKING:
    from ..analysis.quantities import Unit
    from ..analysis.stated import Stated
    from ..sweeps.coil import KnownParts

__all__ = ["coil", "sweep"]


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
    trace: TraceOption = None,
) -> None:
    """Find and measure whatever resonates between two frequencies.

    Example: halfpower sweep --bench bench.toml --from 5MHz --to 10MHz
    """
    from ..sweeps.sweep import measure_resonance
    from .on_bench import opened, readings_kept
    from .output import Wanted, hand_out, now_utc

    span = span_of(lowest, highest, target=target, most_readings=most_readings)
    wanted = Wanted(json=json, plot=plot, page=page)
    with (
        opened(bench, scene=scene, seed=seed, trace=trace) as on_bench,
        readings_kept(readings, bench=on_bench, procedure="sweep", label=label) as sink,
    ):
        result = measure_resonance(
            on_bench, span, label=label, begun=now_utc(), sink=sink
        )
    hand_out(result, wanted)


def coil(
    *,
    capacitor: Annotated[
        str,
        typer.Option(
            "--capacitor",
            metavar="CAPACITANCE",
            help="The known resonating capacitor, as '150pF +- 1%'.",
        ),
    ],
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
            help="About what it should be, instead of --from and --to.",
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
            help="The capacitor's dissipation factor, as '0.0002 +- 0.0001'.",
        ),
    ] = None,
    label: LabelOption = "",
    target: TargetOption = "0.2%",
    most_readings: MostOption = 200,
    json: JsonOption = None,
    plot: PlotOption = None,
    page: PageOption = None,
    readings: ReadingsOption = None,
    trace: TraceOption = None,
) -> None:
    """Measure a coil: inductance, Q, series and parallel resistance.

    Example: halfpower coil --bench bench.toml --capacitor '150pF +- 1%' --from 5MHz
    --to 10MHz --label L17
    """
    from ..analysis.errors import InputError
    from ..analysis.quantities import parse_stated
    from ..sweeps.coil import KnownParts, measure_coil
    from .on_bench import opened, readings_kept
    from .output import Wanted, hand_out, now_utc

    known = KnownParts(
        capacitor_f=parse_stated(capacitor, "F"),
        capacitor_loss=_stated(capacitor_loss, unit="fraction"),
        self_capacitance_f=_stated(self_capacitance, unit="F"),
    )
    if expect is not None:
        if lowest is not None or highest is not None:
            raise InputError("--expect sets the span; leave --from and --to out")
        lowest, highest = _span_for(expect, known=known)
    span = span_of(lowest, highest, target=target, most_readings=most_readings)
    wanted = Wanted(json=json, plot=plot, page=page)
    with (
        opened(bench, scene=scene, seed=seed, trace=trace) as on_bench,
        readings_kept(readings, bench=on_bench, procedure="coil", label=label) as sink,
    ):
        result = measure_coil(
            on_bench, span, known=known, label=label, begun=now_utc(), sink=sink
        )
    hand_out(result, wanted)


def _stated(text: str | None, *, unit: "Unit") -> "Stated | None":
    from ..analysis.quantities import parse_stated

    return None if text is None else parse_stated(text, unit)


def _span_for(expect: str, *, known: "KnownParts") -> tuple[str, str]:
    """Give the span about the resonance of an expected inductance, as text."""
    from ..analysis.quantities import parse_quantity
    from ..sweeps.coil import expected_span

    low_hz, high_hz = expected_span(parse_quantity(expect, "H"), known=known)
    return f"{low_hz!r}Hz", f"{high_hz!r}Hz"
