"""One self-contained HTML page of a lot."""

from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from ...records import write_whole
from ..result import WORDS, check_page, svg_of, template
from .findings import LotResult
from .picture import draw_histogram, draw_run_chart, draw_scatter
from .tables import lot_tables, notes_of, parts_table, yield_text

if TYPE_CHECKING:
    from markupsafe import Markup

    from ...analysis.lots import Yield

__all__ = ["save_lot_page"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Picture:
    """A drawing and what is said below it."""

    svg: "Markup"
    caption: str


def save_lot_page(
    result: LotResult, path: Path, *, invented: str = "", overwrite: bool = False
) -> None:
    """Write a lot as one HTML file with its pictures inside.

    Parameters
    ----------
    result
        The lot.
    path
        The file; its folder is made where needed.
    invented
        A sentence that says so where the parts are invented.
    overwrite
        Whether a file that is there already may be replaced.

    Raises
    ------
    InputError
        The file is there already, or cannot be written.
    ReportError
        Another ending than .html, or no library for it.
    """
    check_page(path)
    found = result.yield_
    text = template("lot.html.j2").render(
        title=f"Lot {result.lot.name}",
        lot=result.lot,
        invented=invented,
        big=None if found is None else _headline(found, result),
        yield_text=yield_text(result),
        notes=notes_of(result),
        tables=lot_tables(result),
        pictures=_pictures(result),
        parts=parts_table(result),
        software=f"halfpower {version('halfpower')}",
    )
    write_whole(path, text, overwrite=overwrite)


def _headline(found: "Yield", result: LotResult) -> str:
    said = f"{found.conforming} of {found.tested} accepted"
    return f"{said}, and not suspect" if result.suspect else said


def _pictures(result: LotResult) -> list[_Picture]:
    """Draw the quantities that have limits, or else the first; and the scatter."""
    limited = [one for one in result.figures if one.column.limits is not None]
    drawn = []
    for one in limited or result.figures[:1]:
        word = WORDS.get(one.column.quantity, one.column.quantity)
        word = word[:1].upper() + word[1:]
        band = (
            "" if one.column.limits is None else " Lines: limits; shaded: guard band."
        )
        drawn.append(
            _Picture(
                svg=svg_of(draw_histogram(result, one)),
                caption=f"{word}: {one.n} parts.{band}",
            )
        )
        drawn.append(
            _Picture(
                svg=svg_of(draw_run_chart(result, one)),
                caption=f"{word} in the order measured.{band} Values beyond the edge "
                "stand on it.",
            )
        )
    scatter = draw_scatter(result)
    if scatter is not None:
        caption = "Q against inductance; ringed: parts that stand apart from the lot."
        drawn.append(_Picture(svg=svg_of(scatter), caption=caption))
    return drawn
