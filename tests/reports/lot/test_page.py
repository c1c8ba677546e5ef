"""A lot as one page with pictures."""

import html.parser
import re
import runpy
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from halfpower.analysis import InputError
from halfpower.analysis.lots import GuardBand, Limits
from halfpower.analysis.quantity import Caution
from halfpower.records import open_base
from halfpower.reports.errors import ReportError
from halfpower.reports.lot import (
    Held,
    HeldAgainst,
    LotResult,
    lot_result,
    save_lot_page,
)
from halfpower.reports.lot.picture import draw_histogram, draw_run_chart, draw_scatter

invented = SimpleNamespace(
    **runpy.run_path(str(Path(__file__).parent / "invented_lot.py"))
)

LIMITS = Limits(lower=29.7e-6, upper=36.3e-6)
HELD = Held(
    limits=(HeldAgainst(name="inductance", quantity="inductance", limits=LIMITS),),
    guard_band=GuardBand(multiple=2.0),
)


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LotResult]:
    """The invented lot."""
    with open_base(tmp_path_factory.mktemp("lot") / "records.sqlite3") as base:
        invented.fill(base)
        yield lot_result(
            base.lot("chokes"),
            parts=list(base.parts("chokes")),
            checks=base.checks("chokes"),
            held=HELD,
        )


def test_page_stands_by_itself(result: LotResult, tmp_path: Path) -> None:
    """Nothing is fetched from elsewhere, and three pictures are in it."""
    save_lot_page(result, tmp_path / "lot.html", invented="Invented.")
    text = (tmp_path / "lot.html").read_text(encoding="utf-8")
    assert text.count("<svg") == 3
    assert not re.search(r'(src|href)="(?!#)', text)
    assert "28 of 40 accepted, and not suspect" in text


def test_hostile_label_arrives_as_text(result: LotResult, tmp_path: Path) -> None:
    """No script of a label's is a script of the page's."""
    save_lot_page(result, tmp_path / "lot.html")
    text = (tmp_path / "lot.html").read_text(encoding="utf-8")
    assert "<script" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt; ../../x" in text


HOSTILE = """"><script>alert(1)</script>]]>--><b a='x' style="y">&amp;{{7*7}}$\\foo$"""


class Seen(html.parser.HTMLParser):
    """What a browser would make of a page: tags, attributes' names, texts."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.names: set[str] = set()
        self.words = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag and its attributes."""
        self.tags.add(tag)
        self.names |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        """Note a text."""
        self.words += data


def test_markup_in_any_name_of_a_lot_stays_text(
    result: LotResult, tmp_path: Path
) -> None:
    """The lot, the station, the labels (one stands in a picture), standards, reasons.

    Each is shown once at least, as it is; nothing of them is a tag or an attribute.
    """
    caution = (Caution(code="c", text=f"{HOSTILE} reason"),)
    hostile = lot_result(
        replace(result.lot, name=f"{HOSTILE} lot", station=f"{HOSTILE} station"),
        parts=[
            replace(one, label=f"{HOSTILE} {one.position}", reasons=caution)
            for one in result.parts
        ],
        checks=[
            replace(one, standard=f"{HOSTILE} standard", reasons=caution)
            for one in result.checks
        ],
        held=HELD,
    )
    save_lot_page(hostile, tmp_path / "lot.html", invented=f"{HOSTILE} invented")
    seen = Seen((tmp_path / "lot.html").read_text(encoding="utf-8"))
    assert not seen.tags & {"script", "b", "img"}
    assert not seen.names & {"a", "style"}
    for word in ("lot", "station", "7", "reason", "standard", "invented"):
        assert f"{HOSTILE} {word}" in seen.words
    assert "Content-Security-Policy" in (tmp_path / "lot.html").read_text("utf-8")


def test_histogram_counts_the_parts_within_view(result: LotResult) -> None:
    """Its bars hold 38 of 39 parts: the shorted turn is named in the corner."""
    axes = draw_histogram(result, result.figures[0]).axes[0]
    assert sum(bar.get_height() for bar in axes.patches[:-2]) == 38
    assert axes.get_title(loc="right") == "1 farther out, not shown"


def test_guard_bands_are_as_wide_as_twice_u(result: LotResult) -> None:
    """Each shaded band reaches two median uncertainties to either side of a limit."""
    figures = result.figures[0]
    axes = draw_histogram(result, figures).axes[0]
    spans = [patch.get_extents() for patch in axes.patches[-2:]]
    data = axes.transData.inverted()
    ends = [data.transform([(box.x0, 0), (box.x1, 0)])[:, 0] for box in spans]
    half = 2.0 * figures.median_u * 1e6
    np.testing.assert_allclose(ends[0], [29.7 - half, 29.7 + half], rtol=1e-6)
    np.testing.assert_allclose(ends[1], [36.3 - half, 36.3 + half], rtol=1e-6)


def test_run_chart_shows_checks_and_suspects(result: LotResult) -> None:
    """The bad check has a mark of its own."""
    figure = draw_run_chart(result, result.figures[0])
    said = [text.get_text() for text in figure.legends[0].get_texts()]
    assert "check standard, out of control" in said
    assert "suspect" in said


def test_scatter_names_the_defect(result: LotResult) -> None:
    """The part with the shorted turn is ringed and labelled."""
    figure = draw_scatter(result)
    assert figure is not None
    assert "L5" in [text.get_text() for text in figure.axes[0].texts]


def test_no_scatter_without_q(result: LotResult) -> None:
    """A lot of capacitors has none."""
    bare = [
        replace(
            p, quantities=tuple(q for q in p.quantities if not q.name.endswith("_q"))
        )
        for p in result.parts
    ]
    assert draw_scatter(lot_result(result.lot, parts=bare, held=HELD)) is None


def test_lot_without_a_value_has_a_page(result: LotResult, tmp_path: Path) -> None:
    """Nothing measured is no reason to fail."""
    none = lot_result(result.lot, parts=[result.parts[2]], held=HELD)
    save_lot_page(none, tmp_path / "lot.html")
    text = (tmp_path / "lot.html").read_text(encoding="utf-8")
    assert "no part has a value to hold against the limits" in text


def test_another_ending_is_refused(result: LotResult, tmp_path: Path) -> None:
    """A page is HTML."""
    with pytest.raises(ReportError, match=r"must end in \.html"):
        save_lot_page(result, tmp_path / "lot.pdf")


def test_folder_that_cannot_be_is_one_sentence(
    result: LotResult, tmp_path: Path
) -> None:
    """A file where a folder must be."""
    (tmp_path / "a").write_text("")
    with pytest.raises(InputError, match=r"cannot write .*is no folder"):
        save_lot_page(result, tmp_path / "a" / "lot.html")
