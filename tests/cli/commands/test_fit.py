"""`halfpower fit FILE`: no instrument, no bench."""

import json
import math
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., "Ended"]  # noqa: F821 - conftest's record


def rows(
    pairs: list[tuple[float, float]], header: str = "frequency_hz,amplitude_v"
) -> str:
    """Write readings as a file's text."""
    return "\n".join([header, *(f"{f!r},{v!r}" for f, v in pairs)]) + "\n"


def peak(n: int = 41, *, f0: float = 1e6, q: float = 50.0) -> list[tuple[float, float]]:
    """A series circuit's current, which is a Lorentzian exactly (k = 0)."""
    pairs = []
    for i in range(n):
        f = f0 * (1.0 + 0.08 * (i / (n - 1) - 0.5))
        t = f / f0 - f0 / f
        # A fixed ripple of 1e-4 stands for noise, so that an uncertainty exists.
        ripple = 1.0 + 1e-4 * math.sin(12.9898 * i)
        pairs.append((f, ripple / math.sqrt(1.0 + (q * t) ** 2)))
    return pairs


def fitted(halfpower: Run, text: str, *options: str) -> "Ended":  # noqa: F821 - conftest's
    """Fit a file of this text."""
    Path("readings.csv").write_text(text, encoding="utf-8")
    return halfpower("fit", "readings.csv", *options)


@pytest.mark.parametrize("order", ["ascending", "descending"])
def test_order_does_not_matter(halfpower: Run, order: str) -> None:
    """Descending frequencies are as good as ascending ones."""
    pairs = peak() if order == "ascending" else peak()[::-1]
    document = json.loads(fitted(halfpower, rows(pairs), "--json", "-").out)
    assert document["quantities"]["loaded_q"]["value"] == pytest.approx(50.0, rel=1e-3)


def test_duplicate_frequencies_are_replicates(halfpower: Run) -> None:
    """The same frequencies twice are fitted, and give the same Q."""
    ended = fitted(halfpower, rows(peak() + peak()), "--json", "-")
    document = json.loads(ended.out)
    assert document["quantities"]["loaded_q"]["value"] == pytest.approx(50.0, rel=1e-3)


def test_power_in_dbm_gives_the_same_q(halfpower: Run) -> None:
    """power_dbm = 20 lg(V/0.2236 V) by definition; the Q is that of the volts."""
    pairs = [(f, 20.0 * math.log10(v / math.sqrt(0.05))) for f, v in peak()]
    ended = fitted(halfpower, rows(pairs, "frequency_hz,power_dbm"), "--json", "-")
    document = json.loads(ended.out)
    assert document["quantities"]["loaded_q"]["value"] == pytest.approx(50.0, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "status", "words"),
    [
        ("", 2, "is empty"),
        ("frequency_hz,amplitude_v\n", 2, "holds no readings"),
        ("f,a\n1,2\n", 2, "header must name frequency_hz"),
        (rows(peak()) + "1e6,high\n", 2, "line 43: amplitude_v is 'high'"),
        (rows(peak()) + "nan,0.5\n", 2, "line 43: frequency_hz is 'nan'"),
        (rows(peak()) + "1e6,nan\n", 2, "line 43: amplitude_v is 'nan'"),
        (rows(peak()) + "1e6\n", 2, "line 43: amplitude_v is ''"),
        (rows(peak()) + "1e6,-0.1\n", 2, "below zero"),
        (rows(peak()[:2]), 4, "2 readings"),
        (rows([(1e6 + i, 0.5) for i in range(20)]), 4, ""),
        (rows([(f, v) for f, v in peak() if f < 0.995e6]), 4, ""),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_in_one_sentence(
    halfpower: Run, text: str, status: int, words: str
) -> None:
    """Text, NaN, missing columns, too few readings, no peak, half a peak."""
    ended = fitted(halfpower, text)
    assert ended.status == status
    assert ended.out == ""
    said = ended.err.strip().splitlines()
    assert len(said) == 1
    assert said[0].startswith("halfpower: ")
    assert words in said[0]


def test_a_missing_file_is_status_2(halfpower: Run) -> None:
    """The sentence names the file."""
    ended = halfpower("fit", "nowhere.csv")
    assert ended.status == 2
    assert "nowhere.csv" in ended.err


@pytest.mark.parametrize(
    ("row", "said"),
    [("1e-300,0.1", "nobody measures"), ("1e6,1e300", "nobody measures")],
)
def test_a_number_that_nobody_measures_is_refused(
    halfpower: Run, row: str, said: str
) -> None:
    """Its powers would be no numbers: the line is named instead."""
    ended = fitted(halfpower, rows(peak()) + row + "\n")
    assert ended.status == 2
    assert "line 43: " in ended.err
    assert said in ended.err


@pytest.mark.parametrize("label", ["a\nb", "\x1b[2J", "x" * 201])
def test_a_label_is_one_line_of_200_characters(halfpower: Run, label: str) -> None:
    """Here as on a bench and in a lot."""
    ended = fitted(halfpower, rows(peak()), "--label", label)
    assert ended.status == 2
    assert "cannot be used: it h" in ended.err
