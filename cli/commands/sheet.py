"""`halfpower sheet`: permittivity and loss tangent between two plates."""

from typing import Annotated

import typer

from ..at_bench import Setup, measures
from ..words import (
    TankCapacitorOption,
    TankLossOption,
    WorkCoilOption,
    choice_of,
    known_capacitor,
    length_of,
    length_or_none,
    stated_or_none,
)

__all__ = ["sheet"]


@measures
def sheet(
    *,
    setup: Setup,
    thickness: Annotated[
        list[str],
        typer.Option(
            "--thickness",
            metavar="LENGTH",
            help="The sheet's, as '1.6mm +- 0.02mm'; repeat it for readings at several "
            "places, and what differs is an uncertainty.",
        ),
    ],
    diameter: Annotated[
        str | None,
        typer.Option("--diameter", metavar="LENGTH", help="Of round plates."),
    ] = None,
    width: Annotated[
        str | None,
        typer.Option("--width", metavar="LENGTH", help="Of rectangular plates."),
    ] = None,
    length: Annotated[
        str | None,
        typer.Option("--length", metavar="LENGTH", help="Of rectangular plates."),
    ] = None,
    overhang: Annotated[
        str,
        typer.Option(
            "--overhang",
            metavar="LENGTH",
            help="How far the sheet reaches beyond the plates on all sides: 0mm for "
            "flush, or twice its thickness or more.",
        ),
    ] = "0mm",
    method: Annotated[
        str,
        typer.Option(
            "--method",
            metavar="METHOD",
            help="air (the same plates in air), calculated (edge field and leads as "
            "calculated and stated), or two-thicknesses.",
        ),
    ] = "air",
    thicker: Annotated[
        list[str] | None,
        typer.Option(
            "--thicker",
            metavar="LENGTH",
            help="The second sheet's thickness, for two-thicknesses.",
        ),
    ] = None,
    plate_leads: Annotated[
        str | None,
        typer.Option(
            "--plate-leads",
            metavar="CAPACITANCE",
            help="Stray of the plates' leads, as '0.3pF +- 0.2pF', for calculated.",
        ),
    ] = None,
    bond: Annotated[
        str | None,
        typer.Option(
            "--bond",
            metavar="LENGTH",
            help="A layer of air or glue in series, as '15um +- 5um'.",
        ),
    ] = None,
    bond_permittivity: Annotated[
        str,
        typer.Option("--bond-permittivity", metavar="NUMBER", help="Of that layer."),
    ] = "1",
    tank: TankCapacitorOption = None,
    tank_loss: TankLossOption = None,
    self_capacitance: WorkCoilOption = None,
) -> None:
    """Measure a sheet of insulator: relative permittivity and loss tangent.

    Example: halfpower sheet --bench bench.toml --tank '150pF +- 1%' --from 1MHz
    --to 4MHz --diameter '50mm +- 0.1mm' --thickness '1.6mm +- 0.02mm'
    """
    from ...analysis.errors import InputError
    from ...analysis.quantity import parse_stated
    from ...analysis.tank import METHODS, SheetSample, mean_thickness
    from ...sweeps.procedures import SheetJob, measure_sheet
    from ..words import hand_out

    sample = SheetSample(
        thickness_m=mean_thickness(
            [length_of(one, option="--thickness") for one in thickness]
        ),
        diameter_m=length_or_none(diameter, option="--diameter"),
        width_m=length_or_none(width, option="--width"),
        length_m=length_or_none(length, option="--length"),
        overhang_m=length_of(overhang, option="--overhang").value,
        lead_f=parse_stated(plate_leads or "0pF", "F"),
        bond_m=length_of(bond or "0mm", option="--bond"),
        bond_permittivity=parse_stated(bond_permittivity, "fraction"),
        thicker_m=mean_thickness(
            [length_of(one, option="--thicker") for one in thicker]
        )
        if thicker
        else None,
    )
    if tank is None and tank_loss is not None:
        raise InputError("--tank-loss is that of --tank; name it, or leave it out")
    job = SheetJob(
        sample=sample,
        method=choice_of(method, METHODS, option="--method"),
        tank=None if tank is None else known_capacitor(tank, loss=tank_loss),
        self_capacitance_f=stated_or_none(self_capacitance, "F"),
    )
    span = setup.span()
    wanted = setup.wanted()
    asked = {"span": span, "sheet": job}
    with setup.measuring("sheet", job=asked) as (on_bench, session):
        result = measure_sheet(on_bench, span, job=job, session=session)
    hand_out(result, wanted)
