"""The picture: the same bytes, any label, every ending that it knows."""

import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from halfpower.analysis import InputError, Result
from halfpower.reports import draw, save_picture
from halfpower.reports.errors import ReportError

STARTS = {".png": b"\x89PNG\r\n\x1a\n", ".svg": b"<?xml", ".pdf": b"%PDF-"}


@pytest.mark.parametrize("ending", STARTS)
def test_the_same_result_gives_the_same_bytes(
    result: Result, tmp_path: Path, ending: str
) -> None:
    """No date, no random identifiers."""
    paths = [tmp_path / f"{name}{ending}" for name in "ab"]
    for path in paths:
        save_picture(result, path)
    first, second = (path.read_bytes() for path in paths)
    assert first == second
    assert first.startswith(STARTS[ending])


def test_an_ending_is_known_in_either_case(result: Result, tmp_path: Path) -> None:
    """As cameras and other systems write it."""
    save_picture(result, tmp_path / "A.PNG")
    assert (tmp_path / "A.PNG").read_bytes().startswith(STARTS[".png"])


@pytest.mark.parametrize("name", ["a", "a.jpeg", "a.png.txt", ".png"])
def test_another_ending_is_refused_with_the_known_ones(
    result: Result, tmp_path: Path, name: str
) -> None:
    """Nothing is written."""
    with pytest.raises(ReportError, match=r"\.pdf, \.png, \.svg"):
        save_picture(result, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "label",
    [
        "$x$ $\\foo$ 5$",
        "漢字",
        "\x1b[31m\x07 L\udcff \n \\",
        "--><script>]]>&<",
        "{x} %d" + "a" * 300,
    ],
    ids=["formula", "other-script", "controls", "markup", "format-and-length"],
)
def test_any_label_is_drawn_as_text(result: Result, tmp_path: Path, label: str) -> None:
    """No formula between dollar signs, and an SVG that is still XML."""
    path = tmp_path / "a.svg"
    save_picture(replace(result, label=label), path)
    ET.fromstring(path.read_bytes())  # noqa: S314 - written three lines above


def test_a_label_is_the_title_as_it_stands(result: Result) -> None:
    """Dollar signs and all."""
    figure = draw(replace(result, label="2$ coil, $Q$"))
    assert figure.get_suptitle() == "Resonance in a readings file: 2$ coil, $Q$"
    assert [text.get_parse_math() for text in figure.texts] == [False]


def test_the_curve_drawn_is_the_fit(result: Result) -> None:
    """Its highest point stands at f0, as high as the fit says, within a pixel."""
    figure = draw(result)
    lines = {line.get_label(): line for line in figure.axes[0].get_lines()}
    x, y = (np.asarray(data, dtype=float) for data in lines["fit"].get_data())
    found = result.evidence.sweeps[0].found
    step_mhz = x[1] - x[0]
    assert x[np.argmax(y)] == pytest.approx(
        found.resonant_frequency_hz / 1e6, abs=step_mhz
    )
    assert y.max() == pytest.approx(found.amplitude_v * 1e3, rel=1e-3)  # in mV
    assert len(lines["readings (41)"].get_xdata()) == 41


def test_refused_readings_are_marked(result: Result) -> None:
    """They are in the picture, and out of the residuals."""
    (swept,) = result.evidence.sweeps
    swept = replace(swept, found=replace(swept.found, refused=(3, 5)))
    evidence = replace(result.evidence, sweeps=(swept,))
    figure = draw(replace(result, evidence=evidence))
    labels = {line.get_label() for line in figure.axes[0].get_lines()}
    assert "refused (2)" in labels
    residuals = [len(line.get_xdata()) for line in figure.axes[1].get_lines()]
    assert 39 in residuals


def test_a_picture_that_cannot_be_written_says_why(
    result: Result, tmp_path: Path
) -> None:
    """A folder bears its name."""
    (tmp_path / "a.png").mkdir()
    with pytest.raises(InputError, match="cannot write"):
        save_picture(result, tmp_path / "a.png")
