"""The hook-up drawings: kept true, legible, and the circuit that is simulated."""

import re
import sys
import tomllib
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from importlib.resources import files
from itertools import combinations, product
from pathlib import Path

import numpy as np
import pytest
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextToPath

from halfpower.analysis import InputError
from halfpower.reports.errors import ReportError
from halfpower.reports.hookup import HOOKUPS, Kind, save_hookup
from halfpower.reports.hookup.drawing import (
    CAPTIONS,
    CAUTION,
    KINDS,
    Hookup,
    hookup_svg,
)

DRAWN = Path(__file__).parents[3] / "docs" / "hookups"
SVG = "{http://www.w3.org/2000/svg}"
WIDTH, HEIGHT = 840.0, 592.0  # A5 (ISO 216: 210 mm x 148 mm), 4 units to a millimetre
ALL = list(product(HOOKUPS, KINDS))
each = pytest.mark.parametrize(("which", "kind"), ALL)


def parsed(which: Hookup, kind: Kind) -> ET.Element:
    """Read a drawing as XML."""
    return ET.fromstring(hookup_svg(which, kind=kind))  # noqa: S314 - our own text


def words(root: ET.Element) -> list[str]:
    """Give the texts of a drawing, an index behind ``_``."""
    return [spelt(text) for text in root.iter(f"{SVG}text")]


def spelt(text: ET.Element) -> str:
    """Give one text, its index behind ``_``."""
    return "_".join(part.strip() for part in text.itertext() if part.strip())


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """Where a text stands, in user units."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: "Box") -> bool:
        """Tell whether two texts overlap."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def holds(self, points: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> bool:
        """Tell whether one of some points lies in it."""
        x, y = points.T
        inside = (x > self.left) & (x < self.right) & (y > self.top) & (y < self.bottom)
        return bool(inside.any())


def boxes(root: ET.Element) -> list[Box]:
    """Measure every text in a wide typeface, from its foot to its capitals."""
    found = []
    for text in root.iter(f"{SVG}text"):
        bold = text.get("font-weight", "normal")
        width = sum(
            measured(part.text, size=float(part.get("font-size", "0")), weight=bold)
            for part in text.iter()
        )
        shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[text.attrib["text-anchor"]]
        left = float(text.attrib["x"]) - shift * width
        foot, size = float(text.attrib["y"]), float(text.attrib["font-size"])
        box = Box(
            text=spelt(text),
            left=left,
            top=foot - 0.76 * size,  # the height of DejaVu Sans' ascenders
            right=left + width,
            bottom=foot,
        )
        found.append(box)
    return found


def measured(text: str | None, *, size: float, weight: str) -> float:
    """Give a text's width in DejaVu Sans, wider than other common typefaces."""
    font = FontProperties(family="DejaVu Sans", weight=weight, size=size)
    line = (text or "").strip()
    return float(
        TextToPath().get_text_width_height_descent(line, font, ismath=False)[0]
    )


def strokes(root: ET.Element) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Give points a unit apart along every line, frame and circle."""
    lines = [
        np.array(re.findall(r"(-?[\d.]+)[ ,](-?[\d.]+)", path.attrib["d"]), dtype=float)
        + np.array([0.0, HEIGHT])
        for path in root.iter(f"{SVG}path")
        if " a " not in path.attrib["d"]
    ]
    for frame in root.iter(f"{SVG}rect"):
        if "x" in frame.attrib:
            x, y, w, h = (float(frame.attrib[k]) for k in ("x", "y", "width", "height"))
            edge = [(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)]
            lines.append(np.array(edge))
    turn = np.linspace(0.0, 2.0 * np.pi, 60)
    for circle in root.iter(f"{SVG}circle"):
        x, y, r = (float(circle.attrib[k]) for k in ("cx", "cy", "r"))
        ring = np.column_stack([x + r * np.cos(turn), y + HEIGHT + r * np.sin(turn)])
        lines.append(ring)
    return np.concatenate([along(line) for line in lines])


def along(
    line: np.ndarray[tuple[int, int], np.dtype[np.float64]],
) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Fill a polyline with points a unit apart or nearer."""
    steps = np.r_[0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T))]
    at = np.linspace(0.0, steps[-1], int(steps[-1]) + 2)
    return np.column_stack([np.interp(at, steps, column) for column in line.T])


def test_the_drawings_in_the_documents_are_these() -> None:
    """Byte for byte, none missing and none left over; `save_hookup` renews one."""
    made = {f"{which}.{kind}.svg": hookup_svg(which, kind=kind) for which, kind in ALL}
    assert set(made) == {p.name for p in DRAWN.iterdir()}
    assert len(made) == 22  # eleven steps on two kinds of fixture
    stale = [n for n in made if made[n].encode() != (DRAWN / n).read_bytes()]
    assert stale == []


@each
def test_no_text_touches_another_or_the_edge(which: Hookup, kind: Kind) -> None:
    """With a millimetre and a half left free around the sheet."""
    found = boxes(parsed(which, kind))
    assert [(a.text, b.text) for a, b in combinations(found, 2) if a.meets(b)] == []
    for box in found:
        assert box.left > 6.0, box
        assert box.right < WIDTH - 6.0, box
        assert box.top > 6.0, box
        assert box.bottom < HEIGHT - 6.0, box


@each
def test_no_line_runs_through_a_text(which: Hookup, kind: Kind) -> None:
    """Neither a wire, nor a symbol, nor a frame."""
    root = parsed(which, kind)
    points = strokes(root)
    assert [box.text for box in boxes(root) if box.holds(points)] == []


@each
def test_nothing_is_drawn_beyond_the_sheet(which: Hookup, kind: Kind) -> None:
    """Every line stays on the paper."""
    x, y = strokes(parsed(which, kind)).T
    assert x.min() > 0.0
    assert x.max() < WIDTH
    assert y.min() > 0.0
    assert y.max() < HEIGHT


@each
def test_letters_are_large_enough_for_print(which: Hookup, kind: Kind) -> None:
    """None is under 9 points on A5: common practice, no published source."""
    root = parsed(which, kind)
    assert (root.get("width"), root.get("height")) == ("210mm", "148mm")
    assert root.get("viewBox") == f"0 0 {WIDTH:g} {HEIGHT:g}"
    sizes = [float(text.attrib["font-size"]) for text in root.iter(f"{SVG}text")]
    assert min(sizes) / 4.0 * 72.0 / 25.4 >= 9.0  # units to mm to points


@each
def test_a_screen_reader_is_told(which: Hookup, kind: Kind) -> None:
    """The title and the description, by identifiers that no other drawing has."""
    root = parsed(which, kind)
    title, description = root[0], root[1]
    assert [title.tag, description.tag] == [f"{SVG}title", f"{SVG}desc"]
    assert kind in (title.text or "")
    assert description.text == f"{CAPTIONS[which]} {CAUTION}"
    named = f"{title.get('id')} {description.get('id')}"
    assert root.get("aria-labelledby") == named
    assert f"{which}-{kind}" in named


@each
def test_caption_and_caution_are_on_the_sheet(which: Hookup, kind: Kind) -> None:
    """Whole, and in order."""
    said = " ".join(words(parsed(which, kind)))
    assert CAPTIONS[which] in said
    assert CAUTION in said


@each
def test_the_simulated_fixture_is_the_one_drawn(which: Hookup, kind: Kind) -> None:
    """Each of its elements bears a label, and no pick-up is drawn that it lacks."""
    text = files("halfpower.sim").joinpath(f"fixtures/{kind}.toml").read_text("utf-8")
    names = {element["name"] for element in tomllib.loads(text)["element"]}
    label = {"cable": "cable", "coupling": "C_c", "pickup": "C_c2", "lead": "lead"}
    said = words(parsed(which, kind))
    assert names - {"stray"} == {name for name, mark in label.items() if mark in said}
    assert {"generator", "R_g", "coil", "R_in", "C_in", "ground"} <= set(said)
    assert "tank node" in said


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("which", "marked"),
    [
        ("coil", {"coil"}),
        ("coil-alone", {"C off"}),
        ("capacitor-reference", {"strap", "empty"}),
        ("capacitor-parallel", {"X", "unknown"}),
        ("capacitor-series", {"X  unknown,", "in the strap's place"}),
        ("capacitor-dial", {"X", "unknown"}),
        ("plates-out", {"plates", "off"}),
        ("plates-air", {"plates,", "air"}),
        ("plates-sheet", {"sheet"}),
        ("fixture-known-capacitor", {"C", "known"}),
    ],
)
def test_the_accent_is_on_what_the_step_changes(
    which: Hookup, kind: Kind, marked: set[str]
) -> None:
    """And on no other label."""
    root = parsed(which, kind)
    (accent,) = {
        r.get("stroke") for r in root.iter(f"{SVG}rect") if r.get("rx") == "8"
    } - {"#5b6774"}
    texts = [t for t in root.iter(f"{SVG}text") if t.get("fill") == accent]
    assert {spelt(text) for text in texts} == marked


def test_a_caption_is_one_sentence() -> None:
    """With its stop at the end, for every step."""
    assert set(CAPTIONS) == set(HOOKUPS)
    for caption in CAPTIONS.values():
        assert re.fullmatch(r"[A-Z][^.]*\.", caption)


def test_another_users_settings_of_the_library_do_not_show() -> None:
    """They are one for all who draw with it."""
    import schemdraw

    before = hookup_svg("coil", kind="coupled-tank")
    schemdraw.config(
        unit=5, inches_per_unit=1, lw=9, color="red", fill="blue", ls=":", margin=2
    )
    try:
        assert hookup_svg("coil", kind="coupled-tank") == before
    finally:
        schemdraw.config()


def test_without_the_library_a_sentence_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Rather than a traceback."""
    monkeypatch.setitem(sys.modules, "schemdraw", None)
    with pytest.raises(ReportError, match=r"schemdraw: pip install 'halfpower\[report"):
        hookup_svg("coil", kind="coupled-tank")


@pytest.mark.parametrize("name", ["a", "a.png", "a.svg.txt", ".svg"])
def test_another_ending_is_refused(tmp_path: Path, name: str) -> None:
    """Nothing is written."""
    with pytest.raises(ReportError, match=r"end in \.svg"):
        save_hookup("coil", kind="coupled-tank", path=tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_step_or_kind_is_refused_with_the_known_ones() -> None:
    """As it may come from a command line."""
    with pytest.raises(ReportError, match="coil-alone"):
        hookup_svg("choke", kind="coupled-tank")  # type: ignore[arg-type] # the point
    with pytest.raises(ReportError, match="coupled-both-sides"):
        hookup_svg("coil", kind="trap")  # type: ignore[arg-type] # the point


def test_a_folder_is_made_where_needed(tmp_path: Path) -> None:
    """And holds the file alone."""
    path = tmp_path / "new" / "a.SVG"
    save_hookup("coil", kind="coupled-tank", path=path)
    assert path.read_text("utf-8") == hookup_svg("coil", kind="coupled-tank")
    assert list(path.parent.iterdir()) == [path]


def test_a_folder_of_that_name_is_not_replaced(tmp_path: Path) -> None:
    """It says so, and leaves nothing beside it."""
    (tmp_path / "a.svg").mkdir()
    with pytest.raises(InputError, match="cannot write"):
        save_hookup("coil", kind="coupled-tank", path=tmp_path / "a.svg")
    assert list(tmp_path.iterdir()) == [tmp_path / "a.svg"]
