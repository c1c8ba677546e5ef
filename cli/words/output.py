"""Results to standard output, talk to standard error, files where asked."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from ...analysis.errors import HalfpowerError, InputError
from ...analysis.reading import Reading
from ...analysis.result import Result
from ...records import write_whole
from ...records.files import ReadingsFile, to_json
from ...reports.result import (
    CAUTION,
    check_page,
    check_picture,
    heading,
    quantity_rows,
    remarks,
    save_page,
    save_picture,
    step_rows,
)
from ...sweeps.run import Progress
from ..streams import deliver
from .ending import end_with
from .tables import put, put_table

__all__ = [
    "KeepReadings",
    "Wanted",
    "hand_out",
    "kept",
    "now_utc",
    "show_caution",
    "talk",
    "write_document",
]

STANDARD_OUTPUT = "-"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is to be written of a result, by the options of that name."""

    json: str | None = None
    plot: Path | None = None
    page: Path | None = None
    invented: str = ""
    overwrite: bool = False

    def __post_init__(self) -> None:
        """Refuse before a measurement what could not be drawn after it."""
        if self.plot is not None:
            check_picture(self.plot)
        if self.page is not None:
            check_page(self.page)

    @property
    def files(self) -> dict[str, str | Path | None]:
        """The files, by the option that names each."""
        return {"--json": self.json, "--plot": self.plot, "--page": self.page}

    @property
    def quiet(self) -> bool:
        """Whether standard output belongs to the document."""
        return self.json == STANDARD_OUTPUT


def now_utc() -> str:
    """Say what time it is, as evidence keeps it (ISO 8601, UTC)."""
    return f"{datetime.now(tz=UTC):%Y-%m-%dT%H:%M:%SZ}"


def talk(text: str) -> None:
    """Say something to the person, on standard error."""
    put(Console(stderr=True, highlight=False), text)


def hand_out(result: Result, wanted: Wanted) -> None:
    """Print a result, or its document, write the files asked for, and end by it.

    Raises
    ------
    InputError, ReportError
        A file cannot be written.
    typer.Exit
        With 1: something was found wanting.
    """
    # What was found is shown first, so that a file that cannot be written costs the
    # file and nothing else.
    failures: list[HalfpowerError] = []
    if wanted.quiet:
        try:
            write_document(to_json(result), STANDARD_OUTPUT, overwrite=False)
        except InputError as error:
            failures.append(error)
    else:
        _print(result)
    for path, write in _writers(result, wanted):
        try:
            write(path)
            talk(f"Wrote {path}")
        except HalfpowerError as error:
            failures.append(error)
    if failures:
        for other in failures[1:]:
            failures[0].add_note(str(other))
        raise failures[0]
    end_with(result.verdict)


def _writers(
    result: Result, wanted: Wanted
) -> Iterator[tuple[Path, Callable[[Path], None]]]:
    if wanted.json is not None and not wanted.quiet:
        yield (
            Path(wanted.json),
            partial(write_whole, text=to_json(result), overwrite=wanted.overwrite),
        )
    if wanted.plot is not None:
        yield wanted.plot, partial(save_picture, result, overwrite=wanted.overwrite)
    if wanted.page is not None:
        yield (
            wanted.page,
            partial(
                save_page,
                result,
                invented=wanted.invented,
                overwrite=wanted.overwrite,
            ),
        )


def write_document(text: str, target: str, *, overwrite: bool) -> None:
    """Write a JSON document to a file, or to standard output for ``-``.

    There it is whole, in characters that the output's encoding has, or it is an error.

    Raises
    ------
    InputError
        It cannot be written.
    """
    if target == STANDARD_OUTPUT:
        try:
            deliver(text, escape=lambda one: json.dumps(one)[1:-1])
        except OSError as error:
            raise InputError(
                "the document could not be written to standard output "
                f"({error.strerror or error}); name a file: --json FILE"
            ) from error
    else:
        write_whole(Path(target), text, overwrite=overwrite)
        talk(f"Wrote {target}")


def _print(result: Result) -> None:
    console = Console(highlight=False)
    table = Table(title=escape(heading(result)), title_justify="left", box=None)
    table.add_column("quantity")
    table.add_column("value", justify="right")
    table.add_column("± (95 %)", justify="right")
    table.add_column("unit")
    for row in quantity_rows(result):
        table.add_row(row.name, row.value, row.doubt, row.unit)
    put_table(console, table)
    if steps := step_rows(result):
        listed = Table(title="Sweep by sweep", title_justify="left", box=None)
        listed.add_column("on the fixture")
        listed.add_column("found")
        for step in steps:
            listed.add_row(escape(step.step), escape(step.text))
        put_table(console, listed)
    for remark in remarks(result):
        put(console, remark)
    for caution in result.warnings:
        put(console, f"! {caution.text}")


def show_caution() -> None:
    """Show the caution that belongs to every driven tank."""
    talk(f"Caution: {CAUTION}")


class KeepReadings:
    """The sink that keeps every reading on disk, and says where at the end."""

    def __init__(self, file: ReadingsFile) -> None:
        self._file = file

    def reading(self, reading: Reading, *, progress: Progress) -> None:
        """Write it; it is on disk when this returns."""
        self._file.add(reading, phase=progress.phase, step=progress.step)

    def taken_back(self, reading: Reading) -> None:
        """Strike it out; `halfpower fit` passes it over."""
        del reading
        self._file.take_back()

    def result(self, result: Result) -> None:
        """Nothing: a result is handed out, not kept here."""


@contextmanager
def kept(file: ReadingsFile) -> Iterator[KeepReadings]:
    """Keep readings for the length of a block, and say where they are."""
    with file:
        try:
            yield KeepReadings(file)
        finally:
            if file.count:
                talk(f"Kept {file.count} readings in {file.path}")
            else:
                file.discard()
