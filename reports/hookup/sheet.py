"""A sheet of a hook-up drawing: circuit symbols, frames and words on A5 paper.

Places are in centimetres of the printed sheet from its lower left corner, so that a
size written here is the size on paper.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Literal
from xml.etree import ElementTree as ET

from ..errors import ReportError

if TYPE_CHECKING:
    from schemdraw import Drawing

__all__ = [
    "ACCENT",
    "HATCH",
    "HEAD",
    "INK",
    "LINE",
    "NO_LIBRARY",
    "QUIET",
    "SMALL",
    "WIDTH",
    "Place",
    "Sheet",
    "blank_sheet",
]

NO_LIBRARY = "hook-up drawings need schemdraw: pip install 'halfpower[report]'"
CM = 40.0  # user units to a centimetre: 16 units are 4 mm, type of 11 points
WIDTH, HEIGHT = 21.0, 14.8  # A5, ISO 216
INK, QUIET, ACCENT, HATCH = "#1d2733", "#5b6774", "#b3263a", "#f0c9ce"
HEAD, LABEL, SMALL, INDEX = 24.0, 17.0, 14.0, 12.0
LINE = 2.4
Place = tuple[float, float]
Align = Literal["start", "middle", "end"]


def blank_sheet() -> Sheet:
    """Give an empty sheet.

    Raises
    ------
    ReportError
        The drawing library is not installed.
    """
    try:
        from schemdraw import Drawing
    except ImportError as error:
        raise ReportError(NO_LIBRARY) from error
    drawing = Drawing(canvas="svg", show=False)
    # The library's settings are one for all its users; these must not be theirs.
    drawing.config(unit=3.0, inches_per_unit=CM / 72.0, lw=LINE, color=INK, ls="-")
    drawing.config(fill="none", margin=0.0)
    return Sheet(drawing=drawing)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A sheet being drawn: symbols from the library, frames and words beside them."""

    drawing: Drawing
    frames: list[ET.Element] = field(default_factory=list)
    words: list[ET.Element] = field(default_factory=list)

    def wire(self, *places: Place, colour: str = INK, weight: float = LINE) -> None:
        """Join places by straight lines."""
        from schemdraw import elements

        for start, end in pairwise(places):
            line = elements.Line(color=colour, lw=weight)
            self.drawing.add(line.at(start).to(end))

    def part(self, name: str, start: Place, end: Place, *, colour: str = INK) -> None:
        """Place a symbol of two terminals, with its wires."""
        from schemdraw import elements

        symbol = getattr(elements, name)(color=colour, lw=LINE)
        self.drawing.add(symbol.at(start).to(end))

    def dot(self, place: Place, *, post: bool = False, colour: str = INK) -> None:
        """Mark a joint, or a post that something is fastened to."""
        from schemdraw import elements

        radius = 0.13 if post else 0.09
        dot = elements.Dot(radius=radius, open=post, color=colour, lw=LINE)
        self.drawing.add(dot.at(place))

    def ground(self, place: Place) -> None:
        """Put the sign of ground below a place."""
        from schemdraw import elements

        self.drawing.add(elements.Ground(color=INK, lw=LINE).at(place).right())

    def frame(
        self,
        low: Place,
        high: Place,
        *,
        colour: str = ACCENT,
        fill: str = "none",
        dash: str = "9 6",
    ) -> None:
        """Draw a rectangle between two corners; no ``dash``: a whole line."""
        style = {"fill": fill, "stroke": colour, "stroke-width": f"{LINE - 0.4:g}"}
        corner = {"x": low[0], "y": HEIGHT - high[1], "rx": 0.2 if dash else 0.0}
        size = {"width": high[0] - low[0], "height": high[1] - low[1]}
        numbers = {name: f"{CM * value:.6g}" for name, value in (corner | size).items()}
        dashes = {"stroke-dasharray": dash} if dash else {}
        self.frames.append(ET.Element("rect", numbers | style | dashes))

    def say(
        self,
        text: str,
        place: Place,
        *,
        size: float = LABEL,
        colour: str = INK,
        align: Align = "start",
        bold: bool = False,
    ) -> None:
        """Write lines, the first one's foot at the place; after ``_`` an index."""
        for row, line in enumerate(text.split("\n")):
            at = {
                "x": f"{CM * place[0]:.6g}",
                "y": f"{CM * (HEIGHT - place[1]) + 1.25 * size * row:.6g}",
            }
            style = {"font-size": f"{size:g}", "fill": colour, "text-anchor": align}
            weight = {"font-weight": "bold"} if bold else {}
            word = ET.Element("text", at | style | weight)
            word.text, _, index = line.partition("_")
            if index:
                low = {"dy": "5", "font-size": f"{INDEX:g}"}
                ET.SubElement(word, "tspan", low).text = index
            self.words.append(word)

    def svg(self, *, name: str, title: str, description: str) -> str:
        """Give the whole sheet as text, its identifiers beginning with a name."""
        root = ET.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "width": f"{10 * WIDTH:g}mm",
                "height": f"{10 * HEIGHT:g}mm",
                "viewBox": f"0 0 {CM * WIDTH:g} {CM * HEIGHT:g}",
                "role": "img",
                "aria-labelledby": f"{name}-title {name}-desc",
                "font-family": "sans-serif",
            },
        )
        ET.SubElement(root, "title", {"id": f"{name}-title"}).text = title
        ET.SubElement(root, "desc", {"id": f"{name}-desc"}).text = description
        paper = {"width": "100%", "height": "100%", "fill": "white"}
        ET.SubElement(root, "rect", paper)
        root.extend(self.frames)
        shift = {"transform": f"translate(0 {CM * HEIGHT:g})"}
        ET.SubElement(root, "g", shift).extend(self._symbols())
        root.extend(self.words)
        ET.indent(root)
        return ET.tostring(root, encoding="unicode") + "\n"

    def _symbols(self) -> list[ET.Element]:
        image = self.drawing.get_imagedata("svg")
        drawn = list(ET.fromstring(image))  # noqa: S314 - written one line above
        for symbol in drawn:
            symbol.tag = symbol.tag.rpartition("}")[2]
            style = symbol.attrib.pop("style")
            for name, value in symbol.items():
                symbol.set(name, re.sub(r"-?\d+(\.\d+)?", _shorter, value))
            # The library writes "-" for a line without dashes, which SVG does not know.
            symbol.set("style", style.replace("stroke-dasharray:-;", ""))
        return drawn


def _shorter(number: re.Match[str]) -> str:
    """Round to 25 micrometres on paper: alike on all machines, with all releases."""
    return f"{round(float(number[0]), 1) + 0.0:.6g}"
