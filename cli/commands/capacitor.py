"""`halfpower capacitor`: value and loss by substitution."""

from typing import Annotated

import typer

from ..at_bench import Setup, measures
from ..words import (
    TankCapacitorOption,
    TankLossOption,
    WorkCoilOption,
    choice_of,
    expected_of,
    known_capacitor,
    stated_or_none,
)

__all__ = ["capacitor"]

DIAL_TARGET = 0.005  # of a half-width: a person turns for it


@measures
def capacitor(
    *,
    setup: Setup,
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
) -> None:
    """Measure a capacitor: value, loss, equivalent series resistance.

    Example: halfpower capacitor --bench bench.toml --tank '150pF +- 1%' --from 1MHz
    --to 4MHz --label C3
    """
    from ...analysis.errors import InputError
    from ...analysis.quantity import parse_quantity
    from ...sweeps.procedures import METHODS, CapacitorJob, Marked, measure_capacitor
    from ..words import hand_out

    job = CapacitorJob(
        tank=None if tank is None else known_capacitor(tank, loss=tank_loss),
        self_capacitance_f=stated_or_none(self_capacitance, "F"),
        method=choice_of(method, METHODS, option="--method"),
        expected_f=expected_of(expect, "F"),
        frequency_hz=None if at is None else parse_quantity(at, "Hz"),
        marked=None if marked is None else Marked(marked, "capacitor"),
    )
    if tank is None and tank_loss is not None:
        raise InputError("--tank-loss is that of --tank; name it, or leave it out")
    if job.frequency_hz is not None:
        if setup.names_a_span:
            raise InputError("a dial is turned at one frequency; leave --from and --to")
        span = setup.span_between(
            job.frequency_hz / 2.0, job.frequency_hz * 2.0, least_target=DIAL_TARGET
        )
    else:
        span = setup.span()
    wanted = setup.wanted()
    asked = {"span": span, "capacitor": job}
    with setup.measuring("capacitor", job=asked) as (on_bench, session):
        result = measure_capacitor(on_bench, span, job=job, session=session)
    hand_out(result, wanted)
