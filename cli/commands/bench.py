"""`halfpower bench`: what is reachable, does it work, what does it know, is it true."""

import itertools
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..words import (
    BenchOption,
    OverwriteOption,
    SceneOption,
    SeedOption,
    TraceOption,
    with_exit_status,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from ...analysis.detector import LinearityFit
    from ...analysis.reading import Reading
    from ...drivers.bench import BenchFile, CheckRow, LevelReading, LevelSteps
    from ...drivers.instruments import Linearisation
    from ...sweeps.run import TankGuard
    from ..at_bench import Located

__all__ = ["app"]

FAILED = 3

app = typer.Typer(
    help="The instruments: list, check, learn, linearise.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

VisaOption = Annotated[
    str,
    typer.Option(
        "--visa",
        metavar="VISA",
        help="Which VISA: @py needs no vendor's library; or a library's path.",
    ),
]
FrequencyOption = Annotated[
    str | None,
    typer.Option("--frequency", metavar="FREQUENCY", help="Where, as 7.1MHz."),
]


@app.command("list")
@with_exit_status
def list_(
    *, visa: VisaOption = "@py", scene: SceneOption = None, seed: SeedOption = 0
) -> None:
    """List what VISA finds; a plain TCP socket cannot be found, only named.

    Example: halfpower bench list
    """
    from ...drivers.link import reachable
    from ..at_bench import visa_of
    from ..words import talk

    with visa_of(visa, scene=scene, seed=seed) as (manager, _):
        found = reachable(manager)
    for note in found.notes:
        talk(f"Note: {note}")
    for name in found.resources:
        print(name)  # noqa: T201 - data, on standard output
    if not found.resources:
        talk(
            f"VISA {visa} finds nothing: check power and cables. An instrument behind "
            "a plain TCP socket does not show; name it, as "
            "TCPIP0::192.0.2.10::5025::SOCKET."
        )


@app.command("check")
@with_exit_status
def check(
    *,
    bench: BenchOption = None,
    scene: SceneOption = None,
    seed: SeedOption = 0,
    frequency: FrequencyOption = None,
    trace: TraceOption = None,
) -> None:
    """Check a bench: connected, obeying, alive, how noisy, how fast, what is missing.

    It drives the bench, at its own level or less. Exit status 3: something failed.

    Example: halfpower bench check --bench bench.toml
    """
    from ...analysis.quantity import parse_quantity
    from ...drivers.bench import CheckPlan, check_bench, reaching
    from ..at_bench import files_read, located
    from ..words import check_outputs, show_caution, talk

    read = files_read(bench, scene=scene)
    check_outputs({"--trace": trace}, read=read, overwrite=False)
    frequency_hz = None if frequency is None else parse_quantity(frequency, "Hz")
    with located(bench, scene=scene, seed=seed) as found:
        show_caution()
        found.lamp.what = "bench check"
        level_v = _safe_level_v(found.file, frequency_hz)
        plan = CheckPlan(
            level_v=level_v,
            frequency_hz=frequency_hz,
            begun=found.shows,
            watch=_watching(found, _guard(found.file, emf_v=level_v)),
        )
        with reaching(
            found.file,
            folder=found.folder,
            manager=found.manager,
            sleep=found.sleep,
            ask=found.ask,
            tell=talk,
            trace=trace,
        ) as reach:
            rows = check_bench(
                found.file,
                reach=reach,
                plan=plan,
                sleep=found.sleep,
                clock=found.clock,
                told=lambda row: talk(f"{row.what}: {row.state}"),
            )
    _print_rows(rows)
    if any(row.state == "FAILED" for row in rows):
        raise typer.Exit(FAILED)


@app.command("learn")
@with_exit_status
def learn(
    *,
    resource: Annotated[
        str,
        typer.Argument(
            metavar="RESOURCE",
            help="VISA resource name, as halfpower bench list shows it.",
            show_default=False,
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="Dialect file; without it, standard output."
        ),
    ] = None,
    visa: VisaOption = "@py",
    timeout: Annotated[
        str,
        typer.Option(
            "--timeout", metavar="TIME", help="How long an answer may take, as 1s."
        ),
    ] = "1s",
    set_up: Annotated[
        bool,
        typer.Option(
            "--set-up",
            help="Allow a meter that has no reading as it stands to be set up.",
        ),
    ] = False,
    scene: SceneOption = None,
    seed: SeedOption = 0,
    trace: TraceOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Ask an instrument what it knows, and write a dialect file to start from.

    It is asked with queries only: its output and settings stay as they are. A meter
    that reads nothing before it is set up needs --set-up, and is left set up.

    Example: halfpower bench learn TCPIP0::192.0.2.10::5025::SOCKET --out mine.toml
    """
    from datetime import UTC, datetime

    from ...analysis.quantity import parse_quantity
    from ...drivers.dialects import learn_dialect
    from ...drivers.link import refuse_unknown
    from ...records import write_whole
    from ..at_bench import visa_of
    from ..words import check_outputs, talk

    outputs = {"--out": out, "--trace": trace}
    check_outputs(outputs, read={"the scene": scene}, overwrite=overwrite)
    with visa_of(visa, scene=scene, seed=seed) as (manager, sleep):
        if scene is not None:
            refuse_unknown(manager, resource)
        text = learn_dialect(
            manager,
            resource=resource,
            timeout_s=parse_quantity(timeout, "s"),
            today=datetime.now(tz=UTC).date(),
            locked=scene is None,
            set_up=set_up,
            sleep=sleep,
            trace=trace,
        )
    if out is None:
        print(text, end="")  # noqa: T201 - data, on standard output
        return
    write_whole(out, text, overwrite=overwrite)
    talk(f"Wrote {out}; check the lines that say CHECK, then name it in a bench file")


@app.command("linearise")
@with_exit_status
def linearise(
    *,
    bench: BenchOption = None,
    scene: SceneOption = None,
    seed: SeedOption = 0,
    frequency: FrequencyOption = None,
    highest: Annotated[
        str | None,
        typer.Option(
            "--highest",
            metavar="VOLTAGE",
            help="Highest e.m.f., r.m.s.; by default the bench file's level.",
        ),
    ] = None,
    step_db: Annotated[
        float, typer.Option("--step-db", metavar="DB", help="From level to level.")
    ] = 1.0,
    levels: Annotated[
        int, typer.Option("--levels", metavar="N", help="How many levels.")
    ] = 31,
    repeats: Annotated[
        int,
        typer.Option(
            "--repeats", metavar="N", help="Readings of each level, down and up."
        ),
    ] = 4,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="FILE",
            help="Where; by default detector-DATE.toml beside the bench file.",
        ),
    ] = None,
    trace: TraceOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Make the detector its own standard: step the level, keep what it indicates.

    Stand on the peak of whatever is on the fixture, so that every reading of a sweep
    lies below the highest of the law.

    Example: halfpower bench linearise --bench bench.toml --frequency 7.1MHz
    """
    from ...analysis.errors import InputError
    from ...analysis.quantity import parse_quantity
    from ...drivers.bench import LevelSteps
    from ..at_bench import files_read, located
    from ..words import check_outputs, show_caution

    read = files_read(bench, scene=scene, linearised=False)
    outputs = {"--out": out, "--trace": trace}
    check_outputs(outputs, read=read, overwrite=overwrite)
    if frequency is None:
        raise InputError("say where to stand: --frequency FREQUENCY, on the peak")
    frequency_hz = parse_quantity(frequency, "Hz")
    with located(bench, scene=scene, seed=seed) as found:
        level_v = found.file.generator.level_v
        steps = LevelSteps(
            highest_v=level_v if highest is None else parse_quantity(highest, "V"),
            step_db=step_db,
            n_levels=levels,
            repeats=repeats,
        )
        show_caution()
        folder = Path() if bench is None else found.folder
        _linearise(
            found,
            steps,
            frequency_hz=frequency_hz,
            folder=folder,
            out=out,
            trace=trace,
            overwrite=overwrite,
        )


def _linearise(
    found: "Located",
    steps: "LevelSteps",
    *,
    frequency_hz: float,
    folder: Path,
    out: Path | None,
    trace: Path | None,
    overwrite: bool,
) -> None:
    """Step, fit, keep and tell."""
    from datetime import UTC, datetime

    import numpy as np

    from ...analysis.detector import fit_law
    from ...drivers.instruments import linearisation_text, load_linearisation
    from ...records import write_whole
    from ...records.files import free_path

    readings, identities = _stepped(
        found, steps, frequency_hz=frequency_hz, trace=trace
    )
    fitted = fit_law(
        np.array([one.emf_v for one in readings]),
        indicated_v=np.array([one.indicated_v for one in readings]),
    )
    left_over = fitted.left_over + found.file.generator.level_linearity
    made = datetime.now(tz=UTC)
    path = out or free_path(folder / f"detector-{made:%Y-%m-%d}.toml")
    text = linearisation_text(
        fitted.law,
        made=made,
        frequency_hz=frequency_hz,
        identities=identities,
        left_over=left_over,
    )
    write_whole(path, text, overwrite=overwrite)
    _print_law(
        fitted,
        kept=load_linearisation(path),
        linearity=found.file.detector.linearity,
        n_readings=len(readings),
        path=path,
    )


def _stepped(
    found: "Located", steps: "LevelSteps", *, frequency_hz: float, trace: Path | None
) -> "tuple[Sequence[LevelReading], dict[str, str]]":
    """Read every level under the guard's eyes; tell who the instruments are."""
    from dataclasses import replace

    from ...analysis.reading import Reading, Setting, ring_up_s
    from ...drivers.bench import step_levels

    guard = _guard(found.file, emf_v=steps.highest_v)
    guard.check_before(frequency_hz, frequency_hz)
    watched = _watching(found, guard, expected=2 * steps.n_levels * steps.repeats)

    def watch(taken: "LevelReading") -> None:
        watched(Reading(frequency_hz=frequency_hz, amplitude_v=taken.indicated_v))

    detector = found.file.detector.model_copy(update={"linearisation": ""})
    file = found.file.model_copy(update={"detector": detector})
    setting = Setting(frequency_hz=frequency_hz, settle_s=ring_up_s(frequency_hz))
    with replace(found, file=file).opened(trace=trace) as bench:
        readings = step_levels(bench, setting=setting, steps=steps, taken=watch)
        return readings, bench.identities


def _print_law(
    fitted: "LinearityFit",
    *,
    kept: "Linearisation",
    linearity: float,
    n_readings: int,
    path: Path,
) -> None:
    span = fitted.law.indicated_v
    from ..words import print_lines

    uncorrected, left_over = fitted.law.uncorrected, kept.left_over
    do = (
        f'put this into [detector] of the bench file:\nlinearisation = "{path.name}"'
        if kept.is_better_than(linearity)
        else "the bench file is better off without it"
    )
    said = (
        f"Detector's law from {n_readings} readings at {len(span)} levels "
        f"({fitted.n_left_out} more were lost in noise), {span[0]:.3g} V to "
        f"{span[-1]:.3g} V indicated\n"
        f"slope (1 linear, 2 square law): {fitted.flattest:.3f} to "
        f"{fitted.steepest:.3f}\n"
        f"a ratio within 20 dB was wrong by up to {100.0 * uncorrected:.3g} %, "
        f"and is now within {100.0 * left_over:.2g} %\n"
        f"{kept.compared(linearity)}\n"
        f"Wrote {path}; {do}"
    )
    print_lines(said.splitlines())


def _guard(file: "BenchFile", *, emf_v: float) -> "TankGuard":
    """Guard the fixture with nothing known on it: the highest voltage."""
    from ...analysis.quantity import Stated
    from ...sweeps.run import TankGuard, tank_on_bench

    nothing = Stated(value=0.0)
    tank = tank_on_bench(
        file, capacitor_f=nothing, capacitor_loss=nothing, self_capacitance_f=nothing
    )
    return TankGuard(tank, emf_v=emf_v, limit_v=file.limits.tank_voltage_v)


def _watching(
    found: "Located", guard: "TankGuard", *, expected: int = 0
) -> "Callable[[Reading], None]":
    """Show each reading's tank voltage, and hold it against the limit."""
    from ...sweeps.run import Progress

    count = itertools.count(1)

    def watch(reading: "Reading") -> None:
        progress = Progress(
            phase="",
            taken=next(count),
            expected=expected,
            tank_v=guard.tank_v(reading),
        )
        found.lamp.reading(reading, progress=progress)
        guard.watch(reading)

    return watch


def _safe_level_v(file: "BenchFile", frequency_hz: float | None) -> float:
    """Return the bench's level, or the highest that the guard lets pass."""
    from ...drivers.bench import aside_of, looked_over

    level_v = file.generator.level_v
    if frequency_hz is None:
        lowest_hz, highest_hz = looked_over(file)
    else:
        lowest_hz, highest_hz = sorted((aside_of(file, frequency_hz), frequency_hz))
    worst_v, _ = _guard(file, emf_v=level_v).worst(lowest_hz, highest_hz)
    return level_v * min(1.0, file.limits.tank_voltage_v / worst_v)


def _print_rows(rows: "Sequence[CheckRow]") -> None:
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    from ..words import put_table

    console = Console(highlight=False)
    table = Table(box=None, padding=(0, 2, 0, 0))
    for name in ("looked at", "", "found", "do"):
        table.add_column(name)
    for row in rows:
        cells = (row.what, row.state, row.found, row.do)
        table.add_row(*(escape(cell) for cell in cells))
    put_table(console, table)
