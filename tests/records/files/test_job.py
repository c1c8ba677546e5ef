"""The line that says what readings were taken for: written, read, compared."""

import json
import math
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfpower.analysis import InputError, Reading, Stated
from halfpower.records import ReadingsFile
from halfpower.records.files import (
    ASKED_FOR,
    job_line,
    read_comments,
    refuse_another_job,
)
from halfpower.sweeps import KnownCapacitor, Span
from halfpower.sweeps.procedures import KnownParts, Marked

PATH = Path("kept.csv")
SPAN = Span(lowest_hz=4e6, highest_hz=1e7)
KNOWN = KnownParts(
    capacitors=(
        KnownCapacitor(capacitance_f=Stated.within(150e-12, half_width=1.5e-12)),
    ),
    marked=Marked("330", "inductor"),
)
# splitlines knows more ends of a line than the line feed; every one ends a comment.
BREAKS = "\n\r\x0b\x0c\x1c\x1d\x1e\x85\u2028\u2029"


@dataclass(frozen=True)
class Invented:
    """A job of one word and one number."""

    word: str = ""
    number: float = 0.0


def line(**job: object) -> str:
    """A coil's job."""
    return job_line("coil", job)


def same(then: str, now: str) -> None:
    """Compare two jobs' lines."""
    refuse_another_job(then, asked=now, path=PATH)


def in_a_file(text: str, folder: Path) -> str:
    """What a readings file gives back of a job's line."""
    path = folder / "kept.csv"
    path.unlink(missing_ok=True)
    with ReadingsFile(path, comments={ASKED_FOR: text}) as file:
        file.add(Reading(frequency_hz=1e6, amplitude_v=0.1, time_s=0.0), phase="peak")
    return read_comments(path)[ASKED_FOR]


def test_a_job_is_versioned_json_by_its_fields_names() -> None:
    """Read by the standard's reader, every number to the last bit, SI units."""
    written = json.loads(line(span=SPAN, known=KNOWN))
    assert written["halfpower.job"] == 1
    assert written["procedure"] == "coil"
    assert written["span"]["highest_hz"] == 1e7
    (capacitor,) = written["known"]["capacitors"]
    assert capacitor["capacitance_f"] == {
        "value": 150e-12,
        "u": KNOWN.capacitors[0].capacitance_f.u,
        "distribution": "rectangular",
    }
    assert written["known"]["marked"] == {"text": "330", "kind": "inductor"}


@given(
    word=st.text(st.characters(exclude_characters=BREAKS)),
    number=st.floats(allow_nan=False, allow_infinity=False),
)
def test_any_word_and_number_come_back_from_a_file(
    tmp_path_factory: pytest.TempPathFactory, word: str, number: float
) -> None:
    """Other scripts, two blanks in a row, half a surrogate, the largest float."""
    written = line(part=Invented(word=word, number=number))
    kept = in_a_file(written, tmp_path_factory.getbasetemp())
    assert json.loads(kept)["part"] == {"word": word, "number": number}
    same(kept, written)


@pytest.mark.parametrize(
    "word",
    ["漢字 µ Ω", "a  b", " L17 ", "L\udcff", '"', "\\n", "# asked for: {}", "\x1b"],
)
def test_hostile_words_come_back_as_they_were(tmp_path: Path, word: str) -> None:
    """Those that a file or a terminal could spoil, one by one."""
    kept = in_a_file(line(part=Invented(word=word)), tmp_path)
    assert json.loads(kept)["part"]["word"] == word


@pytest.mark.parametrize(
    "number",
    [sys.float_info.max, 5e-324, -0.0, 2**4000],
    ids=["large", "tiny", "zero", "huge"],
)
def test_huge_and_tiny_numbers_come_back(tmp_path: Path, number: float) -> None:
    """The ends of a double, and an integer far beyond."""
    kept = in_a_file(line(part=Invented(number=number)), tmp_path)
    assert json.loads(kept)["part"]["number"] == number


@pytest.mark.parametrize(
    "number",
    [math.inf, -math.inf, math.nan, 10**5000],
    ids=["inf", "-inf", "nan", "5001-digits"],
)
def test_what_json_does_not_have_is_refused(number: float) -> None:
    """Nothing infinite, and no integer of more digits than Python writes."""
    with pytest.raises(InputError, match="give finite numbers"):
        line(part=Invented(number=number))


@pytest.mark.parametrize("end", BREAKS)
def test_a_line_break_is_refused(end: str) -> None:
    """In a word that would name a step, and so a row of the file."""
    with pytest.raises(InputError, match=r"part\.word holds a line break"):
        line(part=Invented(word=f"one{end}two"))
    with pytest.raises(InputError, match=r"part\.2\.word holds a line break"):
        line(part=(Invented(), Invented(word=f"ends{end}")))


def test_what_differs_is_said_by_its_field() -> None:
    """Values then and now; what was not stated; three at most, the rest counted."""
    then = line(span=SPAN, known=KNOWN)
    other = replace(SPAN, lowest_hz=5e6)
    with pytest.raises(
        InputError, match=r"measurement: span\.lowest_hz was 4000000\.0 and is 5000000"
    ) as caught:
        same(then, line(span=other, known=KNOWN))
    assert "known" not in str(caught.value)
    own = replace(KNOWN, self_capacitance_f=Stated(value=2e-12))
    with pytest.raises(
        InputError, match=r'known\.self_capacitance_f was not stated and is {"value"'
    ):
        same(then, line(span=SPAN, known=own))
    first = replace(
        KNOWN, capacitors=(KnownCapacitor(capacitance_f=Stated(value=1e-10)),)
    )
    with pytest.raises(
        InputError, match=r"known\.capacitors\.1\.capacitance_f\.value was 1\.5e-10"
    ):
        same(then, line(span=SPAN, known=first))
    far = Span(lowest_hz=1.0, highest_hz=2.0, level_v=1.0)
    with pytest.raises(InputError, match=r"level_v was .*, and 1 more;") as caught:
        same(then, line(span=far, known=own))
    assert "self_capacitance_f" not in str(caught.value)


def test_when_to_stop_may_change() -> None:
    """It is no part of what is measured: more readings, or fewer, of the same."""
    then = line(span=SPAN, known=KNOWN)
    longer = replace(SPAN, target=SPAN.target / 10.0, most_readings=999)
    assert line(span=longer, known=KNOWN) != then
    later = line(span=longer, known=KNOWN)
    assert refuse_another_job(then, asked=later, path=Path("r.csv"))
    assert not refuse_another_job(then, asked=then, path=Path("r.csv"))


def test_one_capacitor_more_or_less_differs_as_a_whole() -> None:
    """Which of them came or went cannot be told."""
    one, two = line(part=(1.0,)), line(part=(1.0, 2.0))
    for then, now, said in (
        (one, two, r"part was \[1\.0\] and is \[1\.0, 2\.0\];"),
        (two, one, r"part was \[1\.0, 2\.0\] and is \[1\.0\];"),
    ):
        with pytest.raises(InputError, match=said):
            same(then, now)


def test_a_long_value_is_cut_short() -> None:
    """A sentence stays one, in the letters that were typed."""
    with pytest.raises(InputError, match='was "漢字" and is "µ"'):
        same(line(part=Invented(word="漢字")), line(part=Invented(word="µ")))
    with pytest.raises(InputError) as caught:
        same(line(part=Invented(word="a" * 9999)), line(part=Invented(word="b")))
    assert len(str(caught.value)) < 300
    hostile = json.dumps({"halfpower.job": 1, "procedure": "coil", "n" * 9999: 1})
    with pytest.raises(InputError) as caught:
        same(hostile, line(part=Invented(word="b")))
    assert len(str(caught.value)) < 500


def test_a_field_that_came_later_is_as_if_not_stated() -> None:
    """A file from before it goes on where it is left out, not where it is given."""
    whole = json.loads(line(span=SPAN))
    del whole["span"]["level_v"]
    same(json.dumps(whole), line(span=SPAN))
    with pytest.raises(InputError, match=r"span\.level_v was not stated and is 0\.5"):
        same(json.dumps(whole), line(span=replace(SPAN, level_v=0.5)))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "(Span(lowest_hz=4000000.0, highest_hz=10000000.0), KnownParts())",
        '{"halfpower.job": 2, "procedure": "coil"}',
        '{"procedure": "coil"}',
        "[1]",
        '{"halfpower.job": 1',
        "[" * 100_000,
        "9" * 5000,
    ],
    ids=[
        "empty", "repr", "newer", "no-version", "a-list", "cut", "brackets", "digits",
    ],
)  # fmt: skip
def test_a_line_of_another_form_is_refused_with_what_to_do(text: str) -> None:
    """An older release's repr, a newer version, garbage, no end of brackets."""
    with pytest.raises(InputError, match=r"kept\.csv is not in this release's form"):
        same(text, line(span=SPAN))
