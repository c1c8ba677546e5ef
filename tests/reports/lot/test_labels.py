"""Sheets of labels; the codes are read back by another library."""

import re
import runpy
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from halfpower.analysis.lots import Limits
from halfpower.records import open_base
from halfpower.reports.errors import ReportError
from halfpower.reports.lot import (
    Held,
    HeldAgainst,
    LotResult,
    Sheet,
    labels_of,
    lot_result,
    save_labels,
)
from halfpower.reports.lot.labels import Label, _drawn

invented = SimpleNamespace(
    **runpy.run_path(str(Path(__file__).parent / "invented_lot.py"))
)

SMALL = Sheet(width_mm=100.0, height_mm=60.0, columns=2, rows=2, margin_mm=4.0)


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LotResult]:
    """An invented lot of twelve with one bin."""
    low = HeldAgainst(name="low", quantity="inductance", limits=Limits(upper=34e-6))
    with open_base(tmp_path_factory.mktemp("lot") / "records.sqlite3") as base:
        invented.fill(base, size=12, every=4)
        yield lot_result(
            base.lot("chokes"), parts=list(base.parts("chokes")), held=Held(bins=(low,))
        )


def codes_in(labels: list[Label], sheet: Sheet) -> list[str]:
    """Draw labels, and read what a scanner reads of the picture."""
    zxingcpp = pytest.importorskip("zxingcpp", reason="zxing-cpp reads the codes")
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas = FigureCanvasAgg(_drawn(labels, sheet))
    canvas.figure.set_dpi(300)
    canvas.draw()
    picture = np.asarray(canvas.buffer_rgba())[:, :, 0].copy()
    return sorted(one.text for one in zxingcpp.read_barcodes(picture))


def test_codes_hold_the_labels() -> None:
    """A hostile label, one of other scripts, and a plain one, read back whole."""
    texts = [invented.HOSTILE, "Spule Ωµ 7", "L17"]
    labels = [Label(code=one, lines=(one,)) for one in texts]
    assert codes_in(labels, SMALL) == sorted(texts)


@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>",
        "a]]>b--><b onload='x'>",
        '"><image href="x"/>',
        "&amp;<!--",
        "$\\foo$",
        "x\x1b[31m\udcff",
    ],
)
def test_markup_on_a_label_is_none_in_the_drawing(tmp_path: Path, text: str) -> None:
    """The sheet is XML as for a plain label, with the same elements and attributes."""

    def made_of(words: str) -> set[str]:
        label = Label(code=words, lines=(words,))
        (path,) = save_labels([label], tmp_path / "a.svg", sheet=SMALL, overwrite=True)
        root = ET.parse(path)  # noqa: S314 - written one line above
        return {name for one in root.iter() for name in (one.tag, *one.keys())}

    assert made_of(text) == made_of("L17")


def test_micro_codes_hold_short_labels() -> None:
    """Micro QR for what fits it."""
    sheet = Sheet(width_mm=60.0, height_mm=30.0, columns=1, rows=1, code="micro-qr")
    assert codes_in([Label(code="L17", lines=())], sheet) == ["L17"]


def test_a_code_has_its_quiet_zone() -> None:
    """Four modules of white on every side (ISO/IEC 18004), within 1.5 mm of padding.

    L17 makes a code of 21 modules, 29 with its zone.
    """
    sheet = Sheet(width_mm=60.0, height_mm=30.0, columns=1, rows=1, margin_mm=0.0)
    axes = _drawn([Label(code="L17", lines=("L17",))], sheet).axes[0]
    corners = np.concatenate([p.vertices for p in axes.collections[0].get_paths()])
    (left, low), (right, high) = corners.min(axis=0), corners.max(axis=0)
    module = 27.0 / 29.0
    assert (right - left, high - low) == pytest.approx((21 * module, 21 * module))
    assert left == pytest.approx(1.5 + 4 * module)
    assert (low, 30.0 - high) == pytest.approx((1.5 + 4 * module, 1.5 + 4 * module))
    assert axes.texts[0].get_position()[0] - right >= 4 * module


def test_a_micro_code_too_long_is_one_sentence(tmp_path: Path) -> None:
    """And says what to take instead."""
    sheet = Sheet(code="micro-qr")
    with pytest.raises(ReportError, match="take qr, or shorter labels"):
        save_labels([Label(code="L" * 60, lines=())], tmp_path / "a.pdf", sheet=sheet)


def test_a_code_too_fine_for_a_scanner_is_refused(tmp_path: Path) -> None:
    """500 characters on a label of 10 mm."""
    sheet = Sheet(columns=8, rows=20)
    with pytest.raises(ReportError, match="scanners resolve"):
        save_labels([Label(code="x" * 400, lines=())], tmp_path / "a.pdf", sheet=sheet)


def test_pattern_is_filled_in(result: LotResult) -> None:
    """Values with their expanded uncertainty, verdict and bin, line by line."""
    pattern = "{label} #{position}|{inductance}|{verdict} {bin}"
    labels = labels_of(result, result.parts[:5], text=pattern)
    assert labels[0].lines == ("L1 #1", "33.00 ± 0.20 µH", "accepted low")
    assert labels[2].lines == ("L3 #3", "unmeasured")
    assert labels[4].lines[2] == "rejected"


def test_a_suspect_part_is_not_labelled_accepted(result: LotResult) -> None:
    """Its verdict on the label is suspect."""
    suspect = next(one for one in result.parts if one.suspect and one.position == 6)
    assert labels_of(result, [suspect], text="{verdict}")[0].lines == ("suspect",)


def test_what_is_filled_in_is_no_pattern(result: LotResult) -> None:
    """A label of braces stays a label."""
    from dataclasses import replace

    part = replace(result.parts[0], label="{verdict}{0.__class__}|x")
    made = labels_of(result, [part], text="{label}")[0]
    assert made.lines == ("{verdict}{0.__class__}|x",)


@pytest.mark.parametrize("pattern", ["{nothing}", "{label.__class__}", "{label"])
def test_a_pattern_of_something_else_is_refused(
    result: LotResult, pattern: str
) -> None:
    """It names what is known, or what is amiss."""
    with pytest.raises(ReportError, match=r"known are|no pattern"):
        labels_of(result, result.parts[:1], text=pattern)


def test_pdf_has_all_sheets(tmp_path: Path) -> None:
    """Nine labels of four a sheet: three pages of 100 mm x 60 mm."""
    labels = [Label(code=f"L{n}", lines=(f"L{n}",)) for n in range(9)]
    path = tmp_path / "out" / "labels.pdf"
    assert save_labels(labels, path, sheet=SMALL) == (path,)
    content = path.read_bytes()
    assert len(re.findall(rb"/Type /Page\b", content)) == 3
    size = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", content)
    assert size is not None
    points = [float(one) for one in size.groups()]
    assert points == pytest.approx([100.0 * 72 / 25.4, 60.0 * 72 / 25.4], abs=0.01)


def test_svg_has_a_file_a_sheet(tmp_path: Path) -> None:
    """Further sheets stand beside the first, and labels peeled off are left out."""
    labels = [Label(code=f"L{n}", lines=(f"L{n}",)) for n in range(4)]
    sheet = Sheet(
        width_mm=100.0, height_mm=60.0, columns=2, rows=2, margin_mm=4.0, skip=3
    )
    paths = save_labels(labels, tmp_path / "labels.svg", sheet=sheet)
    assert [one.name for one in paths] == ["labels.svg", "labels-2.svg"]
    assert "<!-- L0 -->" in paths[0].read_text(encoding="utf-8")
    assert "<!-- L1 -->" not in paths[0].read_text(encoding="utf-8")


def test_the_same_labels_give_the_same_bytes(tmp_path: Path) -> None:
    """No date in the file."""
    labels = [Label(code="L1", lines=("L1",))]
    files = [tmp_path / name for name in ("a.pdf", "b.pdf")]
    for path in files:
        save_labels(labels, path, sheet=SMALL)
    assert files[0].read_bytes() == files[1].read_bytes()


def test_a_long_line_is_cut_and_says_so(tmp_path: Path) -> None:
    """Three hundred characters do not run into the next label."""
    path = tmp_path / "labels.svg"
    save_labels([Label(code="a", lines=("W$x$" * 75,))], path, sheet=SMALL)
    drawn = re.findall(r"<!-- (W.*?) -->", path.read_text(encoding="utf-8"))
    assert len(drawn) == 1
    assert drawn[0].endswith("…")
    assert 4 < len(drawn[0]) < 60


def test_controls_do_not_reach_the_sheet(tmp_path: Path) -> None:
    """What is no character to draw is drawn as a replacement."""
    path = tmp_path / "labels.svg"
    label = Label(code="a\x00\ud800", lines=("a\x00\ud800\x1b[2J<b>",))
    save_labels([label], path, sheet=SMALL)
    text = path.read_text(encoding="utf-8")
    assert "<b>" not in text
    assert "\x1b" not in text


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"columns": 0}, "one label or more"),
        ({"columns": 100}, "leave"),
        ({"margin_mm": -1.0}, "margin below zero"),
        ({"skip": 40}, "leave out"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused(changed: dict[str, int], said: str) -> None:
    """Before anything is drawn."""
    with pytest.raises(ReportError, match=said):
        Sheet(**changed)


@pytest.mark.parametrize("name", ["labels.png", "labels"])
def test_another_ending_is_refused(tmp_path: Path, name: str) -> None:
    """Sheets are PDF or SVG."""
    with pytest.raises(ReportError, match=r"\.pdf or \.svg"):
        save_labels([Label(code="a", lines=())], tmp_path / name, sheet=SMALL)


def test_no_parts_make_no_sheet(tmp_path: Path) -> None:
    """An empty sheet is a mistake."""
    with pytest.raises(ReportError, match="no part"):
        save_labels([], tmp_path / "labels.pdf", sheet=SMALL)
