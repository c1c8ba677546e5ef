"""`halfpower coil`: inductance, Q, self-capacitance, losses."""

from typing import Annotated

import typer

from ..at_bench import Setup, measures
from ..words import CapacitorLossOption, expected_of, known_capacitor, stated_or_none

__all__ = ["coil"]


@measures
def coil(
    *,
    setup: Setup,
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
    expect: Annotated[
        str | None,
        typer.Option(
            "--expect",
            metavar="INDUCTANCE",
            help="What it is marked or predicted to be, as '33uH +- 10%': the result "
            "is compared with it (exit status 1: it does not fit), and without --from "
            "and --to it sets the span.",
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
    capacitor_loss: CapacitorLossOption = None,
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
) -> None:
    """Measure a coil: inductance, Q, self-capacitance, series resistance.

    Example: halfpower coil --bench bench.toml --capacitor '150pF +- 1%' --from 5MHz
    --to 10MHz --label L17
    """
    from ...analysis.errors import InputError
    from ...analysis.quantity import parse_quantity
    from ...sweeps.procedures import KnownParts, Marked, coil_span, measure_coil
    from ..words import hand_out

    if capacitor_loss is not None and not capacitor:
        raise InputError("--capacitor-loss is that of --capacitor; name one")
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
    if expected is not None and not setup.names_a_span:
        span = setup.span_between(*coil_span(expected.value.value, known=known))
    else:
        span = setup.span()
    wanted = setup.wanted()
    asked = {"span": span, "known": known}
    with setup.measuring("coil", job=asked) as (on_bench, session):
        result = measure_coil(on_bench, span, known=known, session=session)
    hand_out(result, wanted)
