"""`halfpower fixture`: what the fixture adds, and whether it still does."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..at_bench import Setup, measures
from ..words import known_capacitor, stated_or_none, with_exit_status

if TYPE_CHECKING:
    from ...analysis.lots import CheckChart
    from ...analysis.quantity import Judgement
    from ...records.files import CheckHistory

__all__ = ["app"]

app = typer.Typer(
    help="The fixture: measure what it adds, check it with a reference part.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
LEAST = 5  # checks that make a history
WORDS = {"resonant_frequency": "resonant frequency", "loaded_q": "loaded Q"}


@with_exit_status
@measures
def measure(
    *,
    setup: Setup,
    capacitor: Annotated[
        list[str],
        typer.Option(
            "--capacitor",
            metavar="CAPACITANCE",
            help="A known capacitor, as '150pF +- 1%'; two or more (repeat it).",
        ),
    ],
    self_capacitance: Annotated[
        list[str],
        typer.Option(
            "--self-capacitance",
            metavar="CAPACITANCE",
            help="The work coil's own, as '4pF +- 1pF'; repeat it for a second coil.",
        ),
    ],
    capacitor_loss: Annotated[
        str | None,
        typer.Option(
            "--capacitor-loss", metavar="D", help="The capacitors' dissipation factor."
        ),
    ] = None,
    common_error: Annotated[
        str,
        typer.Option(
            "--common-error",
            metavar="SHARE",
            help="Limits of an error that the capacitors share.",
        ),
    ] = "0%",
    second_probe: Annotated[
        bool,
        typer.Option(
            "--second-probe",
            help="Measure the probe's loading with a second one like it.",
        ),
    ] = False,
    alike: Annotated[
        str,
        typer.Option(
            "--alike", metavar="SHARE", help="Limits of how the two probes differ."
        ),
    ] = "15%",
    coil_q: Annotated[
        str | None,
        typer.Option(
            "--coil-q",
            metavar="Q",
            help="Measure the loading with a coil of known Q, as '300 +- 15'.",
        ),
    ] = None,
    save: Annotated[
        Path | None,
        typer.Option(
            "--save",
            metavar="FILE",
            help="Write a fixture record, for record = ... in [fixture].",
        ),
    ] = None,
) -> None:
    """Measure the fixture's stray capacitance, and the probe's loading.

    Example: halfpower fixture measure --bench bench.toml --capacitor '68pF +- 1%'
    --capacitor '150pF +- 1%' --capacitor '680pF +- 1%' --self-capacitance '4pF +- 1pF'
    --from 1MHz --to 5MHz --save fixture.toml
    """
    from ...analysis.quantity import parse_quantity, parse_stated
    from ...drivers.bench import fixture_record_text
    from ...records import write_whole
    from ...sweeps.procedures import (
        FixtureJob,
        WorkCoil,
        fixture_record,
        measure_fixture,
    )
    from ..words import hand_out, talk

    job = FixtureJob(
        coils=tuple(
            WorkCoil(name=f"coil {number}", self_capacitance_f=parse_stated(one, "F"))
            for number, one in enumerate(self_capacitance, start=1)
        ),
        capacitors=tuple(
            known_capacitor(one, loss=capacitor_loss) for one in capacitor
        ),
        common_error=parse_quantity(common_error, "fraction"),
        second_probe=second_probe,
        alike=parse_quantity(alike, "fraction"),
        coil_q=stated_or_none(coil_q, "fraction"),
    )
    span = setup.span()
    wanted = setup.wanted(save=save, measured_fixture=False)
    asked = {"span": span, "fixture": job}
    run = setup.measuring("fixture", job=asked, measured_fixture=False)
    with run as (on_bench, session):
        result = measure_fixture(on_bench, span, job=job, session=session)
        kind = on_bench.file.fixture.kind
    if save is not None:  # first: a closed standard output must not cost it
        record = fixture_record(result, kind=kind, made=datetime.now(tz=UTC))
        text = fixture_record_text(record)
        write_whole(save, text, overwrite=setup.overwrite)
        talk(
            f'Wrote {save}; name it in the bench file: [fixture] record = "{save.name}"'
        )
    hand_out(result, wanted)


@with_exit_status
@measures
def check(
    *,
    setup: Setup,
    capacitor: Annotated[
        str,
        typer.Option(
            "--capacitor",
            metavar="CAPACITANCE",
            help="The capacitor that stays across the reference coil.",
        ),
    ],
    history: Annotated[
        Path,
        typer.Option(
            "--history",
            metavar="FILE",
            help="Where the checks of this reference part are kept (CSV); each one "
            "that is in control is added.",
        ),
    ],
) -> None:
    """Measure a reference coil and compare it with its own history.

    Exit status 1: it is out of control; do not measure before it is known why.

    Example: halfpower fixture check --bench bench.toml --capacitor 150pF --from 2MHz
    --to 4MHz --history reference.csv
    """
    from ...analysis.quantity import Judged
    from ...records.files import CHECKED, CheckHistory
    from ...sweeps.procedures import KnownParts, measure_coil
    from ..words import hand_out, talk

    known = KnownParts(capacitors=(known_capacitor(capacitor, loss=None),))
    name = f"{setup.label or 'reference'} on {known.capacitors[0].name}"
    past = CheckHistory(history, part=name)
    charts = _charts(past)
    span = setup.span()
    wanted = setup.wanted(history=history)
    asked = {"span": span, "known": known}
    with setup.measuring("check", job=asked) as (on_bench, session):
        result = measure_coil(on_bench, span, known=known, session=session)
    judged = tuple(
        _judged(name, result[name].value, chart) for name, chart in charts.items()
    )
    if not judged:
        talk(
            f"{past.count} checks before this one; from {LEAST} on it is told whether "
            "the bench is in control."
        )
    elif any(one.outcome is not Judged.FITS for one in judged):
        talk(
            "Out of control: see to contacts, couplings, probe and reference "
            "before anything is measured; this check was not added to the history."
        )
    hand_out(replace(result, judged=judged), wanted)  # ends here if out of control
    values = {name: result[name].value for name in CHECKED}
    past.append(begun=result.evidence.begun, values=values)


def _charts(past: "CheckHistory") -> dict[str, "CheckChart"]:
    """Make what today's f0 and Q are held against; none of a history too short."""
    from ...analysis.errors import AnalysisError, InputError
    from ...analysis.lots import check_chart

    charts = {}
    for name, values in past.values.items() if past.count >= LEAST else ():
        try:
            charts[name] = check_chart(values, allow_for_few=True)
        except AnalysisError as error:
            raise InputError(
                f"the checks of the {WORDS[name]} so far are all the same to the last "
                "digit, which no bench is (a simulated one with one seed?); begin "
                "another history"
            ) from error
    return charts


def _judged(name: str, value: float, chart: "CheckChart") -> "Judgement":
    """Hold a value against the history of its kind."""
    from ...analysis.lots import check_reading
    from ...analysis.quantity import Judged, Judgement

    found = check_reading(value, chart=chart)
    broken = "; ".join(rule.text for rule in found.broken)
    return Judgement(
        about=f"history of the {WORDS[name]}",
        outcome=Judged.FITS if found.in_control else Judged.DOES_NOT_FIT,
        text=f"{WORDS[name]}: {value:.7g}, {found.deviation:+.1f} standard deviations "
        f"from {chart.n} checks ({chart.lower:.7g} to {chart.upper:.7g}): "
        + ("in control" if found.in_control else f"OUT OF CONTROL ({broken})"),
    )


app.command("measure")(measure)
app.command("check")(check)
