"""A sheet of labels: a code that a scanner reads, and the part's values beside it.

The code holds the part's label and nothing else, so that scanning it finds the part in
the record base. The sheet's size and division are arguments: labels come in any size.
"""

import string
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Literal

from ...analysis.lots import Verdict
from ...records import whole_file
from ..errors import ReportError
from .findings import LotResult, bin_of
from .tables import quantity_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ...records.base import PartRow

__all__ = ["PAGES_MM", "Label", "Sheet", "labels_of", "save_labels"]

Code = Literal["qr", "micro-qr", "none"]
PAGES_MM: Mapping[str, tuple[float, float]] = {
    "A4": (210.0, 297.0),  # ISO 216
    "letter": (215.9, 279.4),  # ANSI/ASME Y14.1
}
MM_PER_INCH, POINTS_PER_MM = 25.4, 72.0 / 25.4
QUIET = {"qr": 4, "micro-qr": 2}  # modules around a code: ISO/IEC 18004
LARGEST_PT, SMALLEST_PT, LEADING = 11.0, 4.5, 1.25
LEAST_MODULE_MM = 0.25  # what a hand scanner resolves: common practice
PADDING_MM = 1.5
NO_LIBRARY = "labels need matplotlib and segno: pip install 'halfpower[labels]'"
FORMATS = {".pdf", ".svg"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """One label: what its code holds, and its lines of text."""

    code: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """How a sheet is divided.

    Attributes
    ----------
    width_mm, height_mm
        Of the sheet.
    columns, rows
        Labels on it.
    margin_mm
        Around them all.
    gap_mm
        Between them.
    code
        ``qr``, ``micro-qr`` (short labels alone) or ``none``.
    skip
        Labels already peeled off the first sheet.

    Raises
    ------
    ReportError
        Nothing is left for a label.
    """

    width_mm: float = PAGES_MM["A4"][0]
    height_mm: float = PAGES_MM["A4"][1]
    columns: int = 4
    rows: int = 10
    margin_mm: float = 8.0
    gap_mm: float = 2.0
    code: Code = "qr"
    skip: int = 0

    def __post_init__(self) -> None:
        least = min(self.columns, self.rows, self.skip + 1)
        if least < 1 or min(self.margin_mm, self.gap_mm) < 0.0:
            raise ReportError("a sheet has one label or more, and no margin below zero")
        if self.skip >= self.columns * self.rows:
            raise ReportError(
                f"a sheet has no {self.skip} labels to leave out and more"
            )
        smallest = min(self.label_mm)
        if not smallest >= 2.0 * PADDING_MM + 2.0:
            raise ReportError(
                f"{self.columns} x {self.rows} labels on {self.width_mm:g} x "
                f"{self.height_mm:g} mm leave {smallest:.3g} mm for one; take fewer, "
                "or smaller margins"
            )

    @property
    def label_mm(self) -> tuple[float, float]:
        """Width and height of a label."""
        across = self.width_mm - 2.0 * self.margin_mm - self.gap_mm * (self.columns - 1)
        down = self.height_mm - 2.0 * self.margin_mm - self.gap_mm * (self.rows - 1)
        return across / self.columns, down / self.rows

    def places(self) -> Iterator[tuple[float, float]]:
        """Give the lower left corners in mm from the sheet's, row by row from above."""
        width, height = self.label_mm
        for row in range(self.rows):
            for column in range(self.columns):
                x = self.margin_mm + column * (width + self.gap_mm)
                y = self.margin_mm + row * (height + self.gap_mm)
                yield x, self.height_mm - y - height


def labels_of(
    result: LotResult, parts: Sequence["PartRow"], *, text: str
) -> tuple[Label, ...]:
    """Write the labels of parts.

    Parameters
    ----------
    result
        Their lot, for its bins.
    parts
        Which to label.
    text
        Pattern; ``{label}``, ``{verdict}``, ``{bin}`` and quantities' names stand for
        the part's own, ``|`` for a new line. A quantity that a part lacks is left out.

    Raises
    ------
    ReportError
        The pattern names something else, or is none.
    """
    return tuple(
        Label(
            code=part.label or f"{part.lot} #{part.position}",
            lines=_filled(text, _words(part, result)),
        )
        for part in parts
    )


def _words(part: "PartRow", result: LotResult) -> dict[str, str]:
    words = dict.fromkeys((one.column.quantity for one in result.figures), "")
    words |= {one.name: quantity_text(one) for one in part.quantities}
    # A word of its own, since the end of a line may be cut off.
    suspect = part.suspect and part.verdict is Verdict.ACCEPTED
    verdict = "suspect" if suspect else part.verdict.value
    return words | {
        "label": part.label,
        "position": str(part.position),
        "verdict": verdict,
        "bin": bin_of(part, result.held),
    }


def _filled(text: str, words: Mapping[str, str]) -> tuple[str, ...]:
    """Fill a pattern in; what is filled in is never read as a pattern itself."""
    try:
        pieces = list(string.Formatter().parse(text))
    except ValueError as error:
        raise ReportError(f"{text!r} is no pattern for a label: {error}") from error
    lines = [""]
    for plain, name, _, _ in pieces:
        first, *more = plain.split("|")
        lines[-1] += first
        lines += more
        if name is None:
            continue
        if name not in words:
            known = ", ".join(sorted(words))
            raise ReportError(f"{{{name}}} stands for nothing; known are {known}")
        lines[-1] += words[name]
    return tuple(line.strip() for line in lines if line.strip())


def save_labels(
    labels: Sequence[Label], path: Path, *, sheet: Sheet, overwrite: bool = False
) -> tuple[Path, ...]:
    """Draw labels on sheets and save them, all or none.

    Parameters
    ----------
    labels
        One or more.
    path
        ``.pdf``: all sheets in one file. ``.svg``: one sheet; further ones beside it
        with ``-2``, ``-3`` in their names.
    sheet
        How it is divided.
    overwrite
        Whether files that are there already may be replaced.

    Returns
    -------
    tuple of Path
        What was written.

    Raises
    ------
    InputError
        A file is there already, or cannot be written.
    ReportError
        Another ending, no labels, a label whose code does not fit, or no library for
        it.
    """
    ending = path.suffix.lower()
    if ending not in FORMATS:
        raise ReportError(f"a sheet of labels ends in .pdf or .svg, not {path.name!r}")
    if not labels:
        raise ReportError("there is no part to make a label for")
    if find_spec("matplotlib") is None or find_spec("segno") is None:
        raise ReportError(NO_LIBRARY)
    empty: tuple[Label | None, ...] = (None,) * sheet.skip
    every, places = (*empty, *labels), sheet.columns * sheet.rows
    pages = [every[i : i + places] for i in range(0, len(every), places)]
    names = [path.name]
    if ending == ".svg":
        more = range(2, len(pages) + 1)
        names += [f"{path.stem}-{number}{path.suffix}" for number in more]
    paths = tuple(path.with_name(name) for name in names)
    with ExitStack() as stack:
        files = [
            stack.enter_context(whole_file(one, overwrite=overwrite)) for one in paths
        ]
        _save(pages, files, sheet=sheet, ending=ending)
    return paths


def _save(
    pages: Sequence[Sequence[Label | None]],
    files: Sequence[IO[bytes]],
    *,
    sheet: Sheet,
    ending: str,
) -> None:
    from matplotlib import rc_context
    from matplotlib.backends.backend_pdf import PdfPages

    # Type 42: text stays text in a PDF.
    settings = rc_context({"svg.hashsalt": "halfpower", "pdf.fonttype": 42})
    with settings, warnings.catch_warnings():
        # A label in a script that the font lacks is drawn as boxes; that is all.
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from font")
        if ending == ".pdf":
            undated = {"CreationDate": None, "Producer": None}
            with PdfPages(files[0], metadata=undated) as sheets:
                for page in pages:
                    sheets.savefig(_drawn(page, sheet))
            return
        for page, file in zip(pages, files, strict=True):
            figure = _drawn(page, sheet)
            figure.savefig(file, format="svg", metadata={"Date": None})


def _drawn(page: Sequence[Label | None], sheet: Sheet) -> "Figure":
    from matplotlib.figure import Figure

    size = (sheet.width_mm / MM_PER_INCH, sheet.height_mm / MM_PER_INCH)
    figure = Figure(figsize=size)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(0.0, sheet.width_mm)
    axes.set_ylim(0.0, sheet.height_mm)
    for label, (x, y) in zip(page, sheet.places(), strict=False):
        if label is not None:
            _draw_label(axes, label, at=(x, y), sheet=sheet)
    return figure


def _draw_label(
    axes: Any, label: Label, *, at: tuple[float, float], sheet: Sheet
) -> None:
    width, height = sheet.label_mm
    x, y = at
    left = PADDING_MM
    if sheet.code != "none":
        side = min(height - 2.0 * PADDING_MM, 0.45 * width)
        corner = (x + PADDING_MM, y + 0.5 * (height - side))
        _draw_code(axes, label.code, at=corner, side=side, code=sheet.code)
        left += side + PADDING_MM
    room = (width - left - PADDING_MM, height - 2.0 * PADDING_MM)
    _draw_lines(axes, label.lines, at=(x + left, y + 0.5 * height), room=room)


def _draw_code(
    axes: Any, text: str, *, at: tuple[float, float], side: float, code: Code
) -> None:
    """Draw a code's dark modules, runs in a row together, its quiet zone left free."""
    import segno
    from matplotlib.collections import PolyCollection

    plain = text.encode("utf-8", "backslashreplace").decode("utf-8")
    try:
        made = segno.make(plain, micro=code == "micro-qr", error=None)
    except (segno.DataOverflowError, ValueError) as error:
        raise ReportError(
            f"the label {text[:40]!r} is too long for a {code} code ({error}); take "
            "qr, or shorter labels"
        ) from error
    rows = [bytes(row) for row in made.matrix]
    module = side / (len(rows) + 2 * QUIET[code])
    if module < LEAST_MODULE_MM:
        raise ReportError(
            f"the code of {text[:40]!r} would have modules of {module:.2g} mm, and "
            f"scanners resolve {LEAST_MODULE_MM:g} mm; take larger labels or shorter "
            "texts"
        )
    corner = at[0] + QUIET[code] * module
    top = at[1] + side - QUIET[code] * module
    squares = []
    for number, row in enumerate(rows):
        high, low = top - number * module, top - (number + 1) * module
        for start, end in _runs(row):
            a, b = corner + start * module, corner + end * module
            squares.append([(a, low), (b, low), (b, high), (a, high)])
    axes.add_collection(
        PolyCollection(squares, facecolor="black", linewidth=0, antialiased=False)
    )


def _runs(row: bytes) -> Iterator[tuple[int, int]]:
    """Give where dark runs begin and end."""
    start = None
    for place, dark in enumerate((*row, 0)):
        if dark and start is None:
            start = place
        if not dark and start is not None:
            yield start, place
            start = None


def _draw_lines(
    axes: Any,
    lines: Sequence[str],
    *,
    at: tuple[float, float],
    room: tuple[float, float],
) -> None:
    """Draw lines as large as they fit; what is too long at the smallest is cut."""
    if not lines or min(room) <= 0.0:
        return
    shown = [_drawable(line) for line in lines]
    size = room[1] * POINTS_PER_MM / (LEADING * len(shown))
    widest = max(_width_mm(line, 10.0) for line in shown)
    size = min(size, LARGEST_PT, 10.0 * room[0] / widest if widest else LARGEST_PT)
    size = max(size, SMALLEST_PT)
    step = LEADING * size / POINTS_PER_MM
    fitting = shown[: max(int(room[1] / step), 1)]
    for number, line in enumerate(fitting):
        axes.text(
            at[0],
            at[1] + (0.5 * (len(fitting) - 1) - number) * step,
            _cut(line, size, room[0]),
            fontsize=size,
            va="center",
            parse_math=False,
        )


def _drawable(text: str) -> str:
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def _width_mm(line: str, size: float) -> float:
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    width, _, _ = text_to_path.get_text_width_height_descent(
        line, FontProperties(size=size), ismath=False
    )
    return float(width) / POINTS_PER_MM


def _cut(line: str, size: float, room_mm: float) -> str:
    """Cut a line to a width, with an ellipsis where something is lost."""
    if _width_mm(line, size) <= room_mm:
        return line
    low, high = 0, len(line)
    while low < high:  # the most that fits
        middle = (low + high + 1) // 2
        fits = _width_mm(f"{line[:middle]}…", size) <= room_mm
        low, high = (middle, high) if fits else (low, middle - 1)
    return f"{line[:low]}…"
