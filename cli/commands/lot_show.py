"""`halfpower lot show | match | labels | gauge`: results of a lot that is kept."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..lots import RecordsOption, base_files, lot_named, opened_base
from ..words import FOUND_WANTING, JsonOption, OverwriteOption, PageOption

if TYPE_CHECKING:
    from collections.abc import Mapping

    from ...analysis.lots import Limits
    from ...records.base import RecordBase
    from ...reports.lot import LotResult, Sheet
    from ...sweeps.lots import LotFile

__all__ = ["gauge", "labels", "match", "result_of", "show"]

LotArgument = Annotated[
    str,
    typer.Argument(
        metavar="LOT", help="The lot, by a part of its name.", show_default=False
    ),
]
CsvOption = Annotated[
    Path | None,
    typer.Option("--csv", metavar="FILE", help="Write a table of the parts (CSV)."),
]


def show(
    *,
    lot: LotArgument,
    page: PageOption = None,
    json: JsonOption = None,
    csv: CsvOption = None,
    junit: Annotated[
        Path | None,
        typer.Option(
            "--junit", metavar="FILE", help="Write JUnit XML, a test case a part."
        ),
    ] = None,
    level: Annotated[
        str,
        typer.Option("--level", metavar="SHARE", help="Confidence of all intervals."),
    ] = "95%",
    overwrite: OverwriteOption = False,
    records: RecordsOption = None,
) -> None:
    """Show a lot: yield, verdicts, spread against limits, drift, defects, bins.

    Exit status 1: a part is rejected, undecided, unmeasured, skipped, undone or
    suspect.

    Example: halfpower lot show chokes --page chokes.html
    """
    from ...analysis.quantity import parse_quantity
    from ...records import write_whole
    from ...reports.lot import junit_xml, lot_csv, lot_document, save_lot_page
    from ...reports.result import check_page
    from ..words import check_outputs, talk, write_json

    share = parse_quantity(level, "fraction")
    if page is not None:
        check_page(page)
    check_outputs(
        {"--json": json, "--csv": csv, "--junit": junit, "--page": page},
        read=base_files(records),
        overwrite=overwrite,
    )
    with opened_base(records) as base:
        result = result_of(base, lot_named(base, lot), level=share)
    if json != "-":
        _print_lot(result)
    if json is not None:
        write_json(lot_document(result), json, overwrite=overwrite)
    if csv is not None:
        write_whole(csv, lot_csv(result), overwrite=overwrite)
        talk(f"Wrote {csv}")
    if junit is not None:
        xml = junit_xml(result.parts, name=result.lot.name)
        write_whole(junit, xml, overwrite=overwrite)
        talk(f"Wrote {junit}")
    if page is not None:
        save_lot_page(result, page, overwrite=overwrite)
        talk(f"Wrote {page}")
    if not result.all_accepted:
        raise typer.Exit(FOUND_WANTING)


def _print_lot(result: "LotResult") -> None:
    from ...reports.lot import heading_of, lot_tables, notes_of, yield_text
    from ..words import print_lines, print_tables

    said = yield_text(result)
    print_lines([heading_of(result), *([said] if said else ())])
    print_lines(f"! {note}" for note in notes_of(result))
    print_tables(lot_tables(result))


def result_of(base: "RecordBase", name: str, *, level: float = 0.95) -> "LotResult":
    """Put a lot's results together from a record base.

    Raises
    ------
    RecordError, InputError
        No such lot, or a lot file that this version does not read.
    """
    from ...reports.lot import lot_result
    from ..lots import held_against

    row = base.lot(name)
    return lot_result(
        row,
        parts=list(base.parts(name)),
        checks=base.checks(name),
        held=held_against(_lot_file(row.file_text, name)),
        level=level,
    )


def _lot_file(text: str, name: str) -> "LotFile":
    from ...sweeps.lots import parse_lot_text

    return parse_lot_text(text, f"of lot {name!r}")


def match(
    *,
    lot: LotArgument,
    size: Annotated[
        int | None,
        typer.Option("--size", metavar="N", min=2, help="Parts in a set, as 2 or 4."),
    ] = None,
    within: Annotated[
        list[str] | None,
        typer.Option(
            "--within",
            metavar="QUANTITY=SHARE",
            help="Largest difference in a set, as 'inductance=1%' (repeat the option); "
            "by default as the lot file says.",
        ),
    ] = None,
    sure: Annotated[
        float,
        typer.Option(
            "--sure",
            metavar="K",
            min=0.0,
            help="Sets that differ by no more even with K standard uncertainties.",
        ),
    ] = 0.0,
    json: JsonOption = None,
    csv: CsvOption = None,
    overwrite: OverwriteOption = False,
    records: RecordsOption = None,
) -> None:
    """Match accepted parts in as many sets as possible, the closest of those.

    Example: halfpower lot match chokes --size 2 --within inductance=1%
    """
    from ...records import write_whole
    from ...reports.lot import (
        match_parts,
        matching_csv,
        matching_document,
        matching_tables,
    )
    from ..words import check_outputs, print_lines, print_tables, talk, write_json

    outputs = {"--json": json, "--csv": csv}
    check_outputs(outputs, read=base_files(records), overwrite=overwrite)
    with opened_base(records) as base:
        lot = lot_named(base, lot)
        row = base.lot(lot)
        parts = list(base.parts(lot))
    file = _lot_file(row.file_text, lot)
    found = match_parts(
        parts,
        within=_within(within, file),
        size=size or (file.matching.set_size if file.matching else 2),
        coverage_factor=sure,
    )
    if json is not None:
        write_json(matching_document(found), json, overwrite=overwrite)
    if csv is not None:
        write_whole(csv, matching_csv(found), overwrite=overwrite)
        talk(f"Wrote {csv}")
    if json != "-":
        sets, left = len(found.matching.sets), len(found.matching.left)
        said = f"{len(found.parts)} accepted parts of lot {lot}: {sets} sets of "
        print_lines([f"{said}{found.size}, {left} left over"])
        print_tables(matching_tables(found))
        print_lines(f"! {one.text}" for one in found.matching.cautions)


def _within(given: list[str] | None, file: "LotFile") -> "Mapping[str, float]":
    from ...analysis.errors import InputError
    from ...analysis.quantity import parse_quantity
    from ...sweeps.lots import QUANTITIES

    if not given:
        if file.matching is None:
            raise InputError(
                "the lot file has no [matching]; say how close: --within inductance=1%"
            )
        return file.matching.within
    found = {}
    for one in given:
        name, _, share = (part.strip() for part in one.partition("="))
        known = QUANTITIES[file.lot.procedure]
        if name not in known:
            raise InputError(
                f"--within {one!r}: a {file.lot.procedure} has {', '.join(known)}; "
                "write QUANTITY=SHARE"
            )
        found[name] = parse_quantity(share, "fraction")
    return found


def labels(
    *,
    lot: LotArgument,
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="Sheet to write (.pdf or .svg).", show_default=False
        ),
    ],
    text: Annotated[
        str | None,
        typer.Option(
            "--text",
            metavar="PATTERN",
            help="Text beside the code, | for a new line: '{label}|{inductance}'.",
        ),
    ] = None,
    code: Annotated[
        str | None,
        typer.Option("--code", metavar="KIND", help="qr, micro-qr or none."),
    ] = None,
    page_size: Annotated[
        str | None,
        typer.Option(
            "--page-size", metavar="SIZE", help="A4, letter, or as 100mmx60mm."
        ),
    ] = None,
    columns: Annotated[
        int | None, typer.Option("--columns", metavar="N", min=1, help="Across.")
    ] = None,
    rows: Annotated[
        int | None, typer.Option("--rows", metavar="N", min=1, help="Down.")
    ] = None,
    margin: Annotated[
        str, typer.Option("--margin", metavar="LENGTH", help="Around them all.")
    ] = "8mm",
    gap: Annotated[
        str, typer.Option("--gap", metavar="LENGTH", help="Between them.")
    ] = "2mm",
    skip: Annotated[
        int,
        typer.Option("--skip", metavar="N", min=0, help="Labels already peeled off."),
    ] = 0,
    accepted: Annotated[
        bool, typer.Option("--accepted", help="Accepted parts alone.")
    ] = False,
    overwrite: OverwriteOption = False,
    records: RecordsOption = None,
) -> None:
    """Make a sheet of labels: a code that holds the part's label, and its values.

    Example: halfpower lot labels chokes labels.pdf --text '{label}|{inductance}'
    """
    from ...analysis.lots import Verdict
    from ...reports.lot import labels_of, save_labels
    from ...sweeps.lots import LabelsTable
    from ..words import check_outputs, talk

    check_outputs({"FILE": file}, read=base_files(records), overwrite=overwrite)
    with opened_base(records) as base:
        result = result_of(base, lot_named(base, lot))
    unsaid = LabelsTable(text="{label}|{verdict}")
    table = _lot_file(result.lot.file_text, lot).labels or unsaid
    sheet = _sheet(
        code or table.code,
        page_size or table.page,
        columns=columns or table.columns,
        rows=rows or table.rows,
        margin=margin,
        gap=gap,
        skip=skip,
    )
    kept = [
        one
        for one in result.parts
        if one.verdict not in {Verdict.SKIPPED, Verdict.UNDONE}
        and (one.sound or not accepted)
    ]
    made = labels_of(result, kept, text=text or table.text)
    for path in save_labels(made, file, sheet=sheet, overwrite=overwrite):
        talk(f"Wrote {path}")


def _sheet(
    code: str,
    size: str,
    *,
    columns: int,
    rows: int,
    margin: str,
    gap: str,
    skip: int,
) -> "Sheet":
    from ...analysis.errors import InputError
    from ...analysis.quantity import parse_quantity
    from ...reports.lot import PAGES_MM, Sheet
    from ..words import choice_of

    def in_mm(text: str) -> float:
        # Nothing at all is a margin too, and no length for the reader of quantities.
        return 0.0 if text == "0" else 1e3 * parse_quantity(text, "m")

    if size in PAGES_MM:
        width, height = PAGES_MM[size]
    else:
        across, by, down = size.partition("x")
        if not by:
            raise InputError(
                f"--page-size {size!r} is none of {', '.join(PAGES_MM)}, nor "
                "WIDTHxHEIGHT like 100mmx60mm"
            )
        width, height = in_mm(across), in_mm(down)
    return Sheet(
        width_mm=width,
        height_mm=height,
        columns=columns,
        rows=rows,
        margin_mm=in_mm(margin),
        gap_mm=in_mm(gap),
        code=choice_of(code, ("qr", "micro-qr", "none"), option="--code"),
        skip=skip,
    )


def gauge(
    *,
    lots: Annotated[
        list[str],
        typer.Argument(
            metavar="LOT...", help="Lots of the same parts.", show_default=False
        ),
    ],
    quantity: Annotated[
        str | None,
        typer.Option(
            "--quantity",
            metavar="NAME",
            help="Which; by default the first that the lot file limits.",
        ),
    ] = None,
    by: Annotated[
        str,
        typer.Option(
            "--by", metavar="WHAT", help="The operator is the station, or the lot."
        ),
    ] = "station",
    pool: Annotated[
        str,
        typer.Option(
            "--pool",
            metavar="WHEN",
            help="Take the interaction for repeatability: auto, always or never.",
        ),
    ] = "auto",
    json: JsonOption = None,
    overwrite: OverwriteOption = False,
    records: RecordsOption = None,
) -> None:
    """Study the gauge: parts measured several times by several stations.

    Every attempt counts. Parts are the same where their labels are.

    Example: halfpower lot gauge study --quantity inductance
    """
    from ...reports.lot import gauge_document, gauge_of, gauge_tables
    from ..words import (
        check_outputs,
        choice_of,
        print_lines,
        print_tables,
        write_json,
    )

    check_outputs({"--json": json}, read=base_files(records), overwrite=overwrite)
    with opened_base(records) as base:
        lots = [lot_named(base, one) for one in lots]
        file = _lot_file(base.lot(lots[0]).file_text, lots[0])
        attempts = [one for lot in lots for one in base.parts(lot, all_attempts=True)]
    name = quantity or next(
        (one.quantity for one in file.limit.values()), _first_of(file)
    )
    found = gauge_of(
        attempts,
        quantity=name,
        limits=_limits_on(file, name),
        by=choice_of(by, ("station", "lot"), option="--by"),
        pool=choice_of(pool, ("auto", "always", "never"), option="--pool"),
    )
    if json is not None:
        write_json(gauge_document(found), json, overwrite=overwrite)
    if json != "-":
        print_tables(gauge_tables(found))
        categories = found.study.distinct_categories
        said = "no" if categories is None else str(categories)
        print_lines([f"The gauge tells {said} groups of parts apart."])
        print_lines(f"! {one.text}" for one in found.study.cautions)


def _first_of(file: "LotFile") -> str:
    from ...sweeps.lots import QUANTITIES

    return QUANTITIES[file.lot.procedure][0]


def _limits_on(file: "LotFile", quantity: str) -> "Limits | None":
    return next(
        (one.limits for one in file.limit.values() if one.quantity == quantity), None
    )
