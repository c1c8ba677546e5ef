"""The options that every measurement on a bench has, given to its command as one."""

import functools
import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ..words import (
    AttachedOption,
    BenchOption,
    FromOption,
    HookupOption,
    JsonOption,
    LabelOption,
    MostOption,
    OverwriteOption,
    PageOption,
    PlotOption,
    ReadingsOption,
    ResumeOption,
    SceneOption,
    SeedOption,
    TargetOption,
    ToOption,
    TraceOption,
)

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from ...drivers import Bench
    from ...sweeps.run import Session, Span
    from ..words import Wanted

__all__ = ["Setup", "measures"]

Command = Callable[..., None]


def _shared(
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
    hookup: HookupOption = None,
    attached: AttachedOption = False,
    resume: ResumeOption = None,
    trace: TraceOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Declare the shared options; their names are those of `Setup`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What the shared options said; see their help for each."""

    bench: Path | None = None
    scene: str | None = None
    seed: int = 0
    lowest: str | None = None
    highest: str | None = None
    label: str = ""
    target: str = "0.2%"
    most_readings: int = 200
    json: str | None = None
    plot: Path | None = None
    page: Path | None = None
    readings: Path | None = None
    hookup: Path | None = None
    attached: bool = False
    resume: Path | None = None
    trace: Path | None = None
    overwrite: bool = False

    def __post_init__(self) -> None:
        """Refuse a label that no file and no list could hold."""
        from ...analysis.given_text import usable_label

        usable_label(self.label, what="--label")

    @property
    def names_a_span(self) -> bool:
        """Whether --from or --to was given."""
        return self.lowest is not None or self.highest is not None

    def span(self) -> "Span":
        """Read the span and the goal.

        Raises
        ------
        InputError
            A frequency is missing, wrong, or the span is empty.
        """
        from ...analysis.errors import InputError
        from ...analysis.quantity import parse_quantity

        if self.lowest is None or self.highest is None:
            raise InputError("say where to look: --from FREQUENCY --to FREQUENCY")
        low_hz, high_hz = (
            parse_quantity(edge, "Hz") for edge in (self.lowest, self.highest)
        )
        if not low_hz < high_hz:
            raise InputError(
                f"--from {self.lowest} is not below --to {self.highest}; give the "
                "lower one first"
            )
        return self.span_between(low_hz, high_hz)

    def span_between(
        self, low_hz: float, high_hz: float, *, least_target: float = 0.0
    ) -> "Span":
        """Give a span in Hz the goal that the options name."""
        from ...analysis.quantity import parse_quantity
        from ...sweeps.run import Span

        return Span(
            lowest_hz=low_hz,
            highest_hz=high_hz,
            target=max(parse_quantity(self.target, "fraction"), least_target),
            most_readings=self.most_readings,
        )

    def wanted(
        self,
        *,
        save: Path | None = None,
        history: Path | None = None,
        measured_fixture: bool = True,
    ) -> "Wanted":
        """Say what is to be written of the result, and see that all of it may be.

        Parameters
        ----------
        save
            The file of --save, where the command has one.
        history
            The checks so far, where the command reads them.
        measured_fixture
            See `halfpower.cli.at_bench.Place`.

        Raises
        ------
        InputError
            A file is there already, or read by the same call; see `check_outputs`.
        ReportError
            A picture or a page of that name could not be made.
        """
        from ..words import check_outputs
        from .on_bench import files_read

        wanted = self._wanted()
        growing = {"--readings": self.readings, "--trace": self.trace}
        read = {
            **files_read(
                self.bench, scene=self.scene, measured_fixture=measured_fixture
            ),
            "the readings of --resume": self.resume,
            "the checks of --history": history,
        }
        if self.hookup is not None:
            from ...reports.hookup import HOOKUPS

            read |= {
                f"the drawing {one}.svg of --hookup": self.hookup / f"{one}.svg"
                for one in HOOKUPS
            }
        check_outputs(
            {**wanted.files, **growing, "--save": save},
            read=read,
            overwrite=self.overwrite,
        )
        return wanted

    def _wanted(self) -> "Wanted":
        from ..words import Wanted

        return Wanted(
            json=self.json, plot=self.plot, page=self.page, overwrite=self.overwrite
        )

    def measuring(
        self,
        procedure: str,
        *,
        job: Mapping[str, object],
        measured_fixture: bool = True,
    ) -> "AbstractContextManager[tuple[Bench, Session]]":
        """Open the bench with everything a procedure is run with (see `measuring`).

        Parameters
        ----------
        procedure
            What is measured.
        job
            What is asked for, its parts by name: readings can be gone on from for the
            same alone.
        measured_fixture
            See `halfpower.cli.at_bench.Place`.
        """
        from .on_bench import Place, measuring

        place = Place(
            bench=self.bench,
            scene=self.scene,
            seed=self.seed,
            trace=self.trace,
            readings=self.readings,
            resume=self.resume,
            hookups=self.hookup,
            attached=self.attached,
            wanted=self._wanted(),
            measured_fixture=measured_fixture,
            resumes=True,
            job=job,
        )
        return measuring(place, procedure=procedure, label=self.label)


def measures(command: Command) -> Command:
    """Give a command the shared options; it gets them as ``setup``."""
    shared = inspect.signature(_shared).parameters
    own = {
        name: parameter
        for name, parameter in inspect.signature(command).parameters.items()
        if name != "setup"
    }

    @functools.wraps(command)
    def run(**given: object) -> None:
        said = {name: given.pop(name) for name in shared}
        command(setup=Setup(**said), **given)  # type: ignore[arg-type] # typer checked them

    run.__signature__ = inspect.Signature(  # type: ignore[attr-defined] # typer reads it
        [*own.values(), *shared.values()]
    )
    run.__annotations__ = {
        parameter.name: parameter.annotation
        for parameter in (*own.values(), *shared.values())
    }
    return run
