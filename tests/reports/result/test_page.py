"""The page: one file, nothing of a label's taken for markup, the same bytes."""

import base64
import hashlib
import html.parser
from dataclasses import replace
from pathlib import Path

import pytest

from halfpower.analysis import Caution, InputError, Result
from halfpower.analysis.result import Condition
from halfpower.reports import save_page
from halfpower.reports.result import CAUTION

MARKUP = (
    "<b>x</b><script>alert(1)</script>--><img src=x onerror=y>\"'&amp;{{7*7}}[red]"
    "]]></style></svg><p style='color: red' onclick=\"y\">"
)


class Seen(html.parser.HTMLParser):
    """What a browser would make of a page: its tags, their attributes, its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.names: set[str] = set()  # of attributes
        self.links: list[str] = []
        self.policies: list[str] = []
        self.styles: list[str] = []
        self.at = ""
        self.words: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag and where it points."""
        self.tags.add(tag)
        self.names |= {name for name, _ in attrs}
        self.at = tag
        if ("http-equiv", "Content-Security-Policy") in attrs:
            assert "title" not in self.tags  # before there is anything to protect from
            self.policies.append(dict(attrs)["content"] or "")
        wanted = {"src", "href", "xlink:href", "action"}
        self.links += [value or "" for name, value in attrs if name in wanted]

    def handle_endtag(self, _: str) -> None:
        """What follows is no longer in it."""
        self.at = ""

    def handle_data(self, data: str) -> None:
        """Note a text."""
        self.words.append(data)
        if self.at == "style":
            self.styles.append(data)


def page_of(result: Result, folder: Path, *, invented: str = "") -> str:
    """The page's text."""
    path = folder / "deeper" / "page.html"
    save_page(result, path, invented=invented)
    return path.read_text(encoding="utf-8")


def test_markup_in_a_label_stays_text(result: Result, tmp_path: Path) -> None:
    """Label, warnings, settings and instruments: shown, not obeyed."""
    evidence = replace(
        result.evidence,
        settings=(Condition(name=MARKUP, value=MARKUP),),
        instruments=((MARKUP, MARKUP),),
        software=MARKUP,
    )
    hostile = replace(
        result,
        label=MARKUP,
        warnings=(Caution(code="c", text=MARKUP),),
        evidence=evidence,
    )
    seen = Seen(page_of(hostile, tmp_path, invented=MARKUP))
    assert not seen.tags & {"script", "img", "b"}
    assert not seen.names & {"onerror", "onclick", "style"}
    assert len(seen.styles) == 1
    assert "".join(seen.words).count(MARKUP) >= 8


def test_a_page_needs_nothing_from_elsewhere(result: Result, tmp_path: Path) -> None:
    """It can be mailed, and opened without a network."""
    seen = Seen(page_of(result, tmp_path))
    assert all(link.startswith("#") for link in seen.links)
    assert "svg" in seen.tags


def test_a_page_lets_in_nothing_but_its_own_style(
    result: Result, tmp_path: Path
) -> None:
    """Its policy names its one sheet by the hash (W3C CSP Level 3, 6.7.2.3).

    Scripts, frames, fonts and connections fall under ``default-src``; where a base or
    a form points does not (6.3), and is named. A style attribute would be refused.
    """
    seen = Seen(page_of(result, tmp_path))
    (policy,), (style,) = seen.policies, seen.styles
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert dict(one.split(maxsplit=1) for one in policy.split("; ")) == {
        "default-src": "'none'",
        "style-src": f"'sha256-{digest}'",
        "img-src": "data:",
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    assert not seen.tags & {"script", "base", "form", "link", "iframe", "metadata"}
    assert "style" not in seen.names


def test_a_page_says_what_was_found_and_warns(result: Result, tmp_path: Path) -> None:
    """Heading, quantities, cross-check, all readings, and the caution."""
    words = " ".join(Seen(page_of(result, tmp_path)).words)
    for phrase in ("Resonance in a readings file: L17", "loaded Q", "All 41 readings"):
        assert phrase in words
    assert "Half-power points read straight off" in words
    assert CAUTION in words


def test_the_same_result_gives_the_same_bytes(result: Result, tmp_path: Path) -> None:
    """Two pages can be compared as files."""
    assert page_of(result, tmp_path / "a") == page_of(result, tmp_path / "b")


def test_an_odd_label_does_not_stop_a_page(result: Result, tmp_path: Path) -> None:
    """Bytes that are no text, other scripts, controls, formulas."""
    odd = replace(result, label="L\udcff 漢字 \x1b[31m a\nb $\\foo$")
    assert page_of(odd, tmp_path).rstrip().endswith("</html>")


def test_an_invented_setting_is_said_to_be_one(result: Result, tmp_path: Path) -> None:
    """Nobody takes a demonstration for a measurement."""
    assert "Invented for show." in page_of(
        result, tmp_path, invented="Invented for show."
    )


def test_a_page_that_cannot_be_written_says_why(result: Result, tmp_path: Path) -> None:
    """The path is a folder."""
    with pytest.raises(InputError, match="cannot write"):
        save_page(result, tmp_path)
