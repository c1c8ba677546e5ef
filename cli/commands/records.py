"""`halfpower records`: lots and parts as kept, exported, worked out again, verified."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..lots import RecordsOption, base_files, lot_named, opened_base
from ..words import (
    FOUND_WANTING,
    BenchOption,
    JsonOption,
    OverwriteOption,
    with_exit_status,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from ...records.base import PartRecord, RecordBase
    from ...sweeps.lots import Constants

__all__ = ["app"]

app = typer.Typer(
    help="Look at what is kept of lots and parts, export it, work it out again.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
LotArgument = Annotated[
    str,
    typer.Argument(
        metavar="LOT", help="The lot, by a part of its name.", show_default=False
    ),
]
AttemptsOption = Annotated[
    bool, typer.Option("--all-attempts", help="Earlier attempts at a part too.")
]


def list_lots(
    *,
    records: RecordsOption = None,
    json: JsonOption = None,
    overwrite: OverwriteOption = False,
) -> None:
    """List the lots, in the order they were opened.

    Example: halfpower records list
    """
    from ..lots import lots_document, lots_table
    from ..words import check_outputs, print_lines, print_tables, write_json

    check_outputs({"--json": json}, read=base_files(records), overwrite=overwrite)
    with opened_base(records) as base:
        lots, where = base.lots(), base.where
    if json is not None:
        write_json(lots_document(lots, where), json, overwrite=overwrite)
    if json != "-":
        print_lines([f"Lots in {where}: {len(lots)}"])
        print_tables([lots_table(lots)] if lots else [])


def show(
    *,
    lot: Annotated[
        str | None,
        typer.Argument(
            metavar="[LOT]", help="The lot, by a part of its name.", show_default=False
        ),
    ] = None,
    position: Annotated[
        int | None,
        typer.Argument(metavar="[POSITION]", help="A part's place in it, from 1."),
    ] = None,
    label: Annotated[
        str | None,
        typer.Option("--label", metavar="TEXT", help="Find a part in all lots."),
    ] = None,
    records: RecordsOption = None,
) -> None:
    """Show a lot in figures, or a part with every attempt, old results beside new.

    Example: halfpower records show chokes 17
    """
    from ...analysis.errors import InputError
    from ..lots import found_table, lot_view, part_view
    from ..words import print_lines, print_tables

    if (lot is None) == (label is None):
        raise InputError("name a lot, or a part by --label")
    with opened_base(records) as base:
        if label is not None:
            found = base.find(label)
            print_lines([f"Parts of that label in {base.where}: {len(found)}"])
            print_tables([found_table(found)] if found else [])
            if not found:
                raise typer.Exit(2)
            return
        assert lot is not None  # noqa: S101 - seen above; mypy cannot tell
        lot = lot_named(base, lot)
        if position is None:
            lines, tables = lot_view(base.summary(lot), base.checks(lot))
        else:
            lines, tables = part_view(_attempts(base, lot, position))
    print_lines(lines)
    print_tables(tables)


def _attempts(base: "RecordBase", lot: str, position: int) -> list["PartRecord"]:
    newest = base.part(lot, position)
    count = newest.first.attempt
    earlier = [base.part(lot, position, attempt=n) for n in range(1, count)]
    return [*earlier, newest]


def export(
    *,
    lot: LotArgument,
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER",
            help="Where parts and readings go.",
            show_default=False,
        ),
    ],
    format_: Annotated[
        str, typer.Option("--format", metavar="FORMAT", help="csv or parquet.")
    ] = "csv",
    all_attempts: AttemptsOption = False,
    overwrite: OverwriteOption = False,
    records: RecordsOption = None,
) -> None:
    """Export a lot's parts and readings as CSV or Parquet.

    Example: halfpower records export chokes out/chokes --format parquet
    """
    from ...records.base import export_csv, export_parquet
    from ..words import check_outputs, choice_of, talk

    chosen = choice_of(format_, ("csv", "parquet"), option="--format")
    check_outputs(
        {name: folder / f"{name}.{chosen}" for name in ("parts", "readings")},
        read=base_files(records),
        overwrite=overwrite,
        replaces=("readings",),
    )
    write = {"csv": export_csv, "parquet": export_parquet}[chosen]
    with opened_base(records) as base:
        written = write(
            base,
            lot_named(base, lot),
            folder=folder,
            all_attempts=all_attempts,
            overwrite=overwrite,
        )
        for path in written:
            talk(f"Wrote {path}")


def verify(
    *,
    head: Annotated[
        str | None,
        typer.Option(
            "--head",
            metavar="HASH",
            help="A lot's head or a seal that was kept elsewhere.",
        ),
    ] = None,
    records: RecordsOption = None,
) -> None:
    """Look for damage and tampering; print the heads to keep elsewhere.

    Exit status 1: something does not fit; what and where is printed.

    Example: halfpower records verify --head 3f9c...
    """
    from ..words import print_lines

    with opened_base(records) as base:
        found = base.verify(expected_head=head)
        lots, where = base.lots() if found.finding is None else (), base.where
    if found.finding is not None:
        one = found.finding
        entry = f", entry {one.sequence}" if one.sequence else ""
        place = f"lot {one.lot!r}{entry}: " if one.lot else ""
        print_lines([f"DAMAGED {where}: {place}{one.text}"])
        raise typer.Exit(FOUND_WANTING)
    kept = " and the head given is among them" if head is not None else ""
    print_lines(
        [
            f"All fits in {where}: {found.entries} entries, {found.lots} lots{kept}",
            *(["Heads, to be kept elsewhere:"] if lots else ()),
            *(f"{one.head}  {one.entries:>7} entries  {one.name}" for one in lots),
        ]
    )


def seal(*, records: RecordsOption = None) -> None:
    """Chain all lots' heads together and print the hash that covers them.

    Example: halfpower records seal
    """
    from ..words import now_utc, print_lines

    with opened_base(records) as base:
        print_lines([base.seal(at=_precise(now_utc()))])


def adopt(
    *,
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE...", help="Side files of entries.", show_default=False
        ),
    ],
    records: RecordsOption = None,
) -> None:
    """Bring in what could only be kept in a side file.

    Exit status 1: some lines were refused, or are another base's; they are named.

    Example: halfpower records adopt records.sqlite3.side.jsonl
    """
    from ..words import print_lines

    refused = 0
    with opened_base(records) as base:
        for path in files:
            done = base.adopt(path)
            print_lines(
                [
                    f"{done.path}: {done.stored} stored, {done.already} were there",
                    *(f"  line {line} refused: {why}" for line, why in done.refused),
                    *(
                        f"  {n} left alone: they are for the base {where}"
                        for where, n in done.left.items()
                    ),
                ]
            )
            refused += len(done.refused) + sum(done.left.values())
    if refused:
        raise typer.Exit(FOUND_WANTING)


def rework(
    *,
    lot: LotArgument,
    reason: Annotated[
        str,
        typer.Option(
            "--reason", metavar="TEXT", help="Why; kept with the new results."
        ),
    ],
    settings: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="NAME=VALUE",
            help="A corrected constant, as 'fixture.stray_capacitance=5.4pF +- "
            "0.2pF' (repeat the option).",
        ),
    ] = None,
    bench: BenchOption = None,
    capacitor: Annotated[
        str | None,
        typer.Option(
            "--capacitor",
            metavar="CAPACITANCE",
            help="The known capacitor, corrected, as '151pF +- 0.5%'.",
        ),
    ] = None,
    as_measured: Annotated[
        bool,
        typer.Option(
            "--from-measured",
            help="Correct the constants of the measurement, not those of the last "
            "rework.",
        ),
    ] = False,
    records: RecordsOption = None,
) -> None:
    """Work a lot out again from its raw readings with corrected constants.

    The old results stay beside the new. Exit status 1: some parts are not accepted now.

    Example: halfpower records rework chokes --set "fixture.stray_capacitance=5.4pF +-
    0.2pF" --reason "stray measured again"
    """
    import platform
    from uuid import uuid4

    from ...analysis.lots import nothing_wanting
    from ..lots import Stamp, rework_lot, rework_view
    from ..words import now_utc, print_lines, print_tables

    given = list(settings or ())
    if capacitor is not None:
        given.append(f"measure.capacitor={capacitor}")
    correct = _corrections(given, bench)
    stamp = Stamp(
        reason=reason,
        at=_precise(now_utc()),
        station=platform.node() or "here",
        uuid=lambda: str(uuid4()),
    )
    with opened_base(records) as base:
        lot = lot_named(base, lot)
        before = base.summary(lot)
        done = rework_lot(
            base, lot, correct=correct, stamp=stamp, as_measured=as_measured
        )
        after = base.summary(lot)
    lines, tables = rework_view(done, before=before, after=after)
    print_lines(lines)
    print_tables(tables)
    if not nothing_wanting(after.verdicts, suspect=after.suspect):
        raise typer.Exit(FOUND_WANTING)


def _corrections(
    settings: list[str], bench: Path | None
) -> "Callable[[Constants], Constants]":
    from datetime import UTC, datetime

    from ...drivers.bench import load_bench_file, with_fixture_record
    from ...sweeps.lots import corrected_by, corrected_by_bench

    file = None if bench is None else load_bench_file(bench)
    if file is not None and bench is not None:
        now = datetime.now(tz=UTC)
        file = with_fixture_record(file, folder=bench.parent, now=now)

    def correct(constants: "Constants") -> "Constants":
        if file is not None:
            constants = corrected_by_bench(constants, file)
        return corrected_by(constants, settings)

    return correct


def _precise(now: str) -> str:
    """Write a time as the record base takes it."""
    return now.replace("Z", "+00:00")


app.command("list")(with_exit_status(list_lots))
app.command("show")(with_exit_status(show))
app.command("export")(with_exit_status(export))
app.command("rework")(with_exit_status(rework))
app.command("verify")(with_exit_status(verify))
app.command("seal")(with_exit_status(seal))
app.command("adopt")(with_exit_status(adopt))
