"""`halfpower demo`: the main job on a simulated bench, to a report."""

from pathlib import Path
from typing import Annotated

import typer

from ..words import JsonOption, OverwriteOption, SeedOption

__all__ = ["demo"]

INVENTED = (
    "An invented setting: a small maker of receiver kits checks its hand-wound coils "
    "on a simulated bench. No such workshop, coil or instrument exists; the code that "
    "measures is the code that drives a real bench."
)


def demo(
    *,
    seed: SeedOption = 1,
    out: Annotated[
        Path,
        typer.Option("--out", metavar="FOLDER", help="Where the report goes."),
    ] = Path("halfpower-out"),
    json: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Measure a coil on the simulated bench and write a report.

    Example: halfpower demo
    """
    from ...analysis.quantity import parse_stated
    from ...records.files import free_stem
    from ...sweeps.procedures import KnownParts, measure_coil
    from ...sweeps.run import KnownCapacitor, Span
    from ..at_bench import Place, measuring
    from ..words import Wanted, check_outputs, hand_out, talk

    capacitor = KnownCapacitor(
        capacitance_f=parse_stated("150pF +- 1%", "F"),
        loss=parse_stated("0.0001 +- 0.00005", "fraction"),
    )
    known = KnownParts(
        capacitors=(capacitor,),
        self_capacitance_f=parse_stated("2pF +- 0.3pF", "F"),
    )
    span = Span(lowest_hz=4e6, highest_hz=10e6)
    label = f"kit coil {seed}"
    stem = free_stem(out / f"demo-{seed}", suffixes=(".csv", ".json", ".png", ".html"))
    talk(INVENTED)
    wanted = Wanted(
        json=json if json is not None else str(stem.with_suffix(".json")),
        plot=stem.with_suffix(".png"),
        page=stem.with_suffix(".html"),
        invented=INVENTED,
        overwrite=overwrite,
    )
    check_outputs(
        {**wanted.files, "--out": stem.with_suffix(".csv")}, overwrite=overwrite
    )
    place = Place(
        scene="kit-coil",
        seed=seed,
        readings=stem.with_suffix(".csv"),
        job={"span": span, "known": known},
        wanted=wanted,
    )
    with measuring(place, procedure="coil", label=label) as (bench, session):
        result = measure_coil(bench, span, known=known, session=session)
    hand_out(result, wanted)
