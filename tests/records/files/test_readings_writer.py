"""Readings files as people, spreadsheets and full disks make them."""

import errno
import os
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from halfpower.analysis import InputError, Reading
from halfpower.records import ReadingsFile, read_sweep
from halfpower.records.errors import RecordError
from halfpower.records.files import free_path, free_stem

RoomFor = Callable[[int], AbstractContextManager[None]]
GOOD = "frequency_hz,amplitude_v\n1e6,0.1\n2e6,0.2\n"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the file under test stands."""
    return tmp_path / "readings.csv"


@pytest.mark.parametrize(
    "text",
    [
        GOOD,
        GOOD.replace("\n", "\r\n"),
        GOOD.replace("\n", "\r"),
        "\ufeff" + GOOD,
        "# a comment\n\n  # another\n" + GOOD.replace("2e6", "# between\n2e6"),
        GOOD.rstrip("\n"),
        '"frequency_hz","amplitude_v"\n"1e6","0.1"\n"2e6","0.2"\n',
        "amplitude_v , frequency_hz\n 0.1 , 1e6 \n 0.2,2000000\n",
        'note,frequency_hz,amplitude_v\n"a, b",1e6,0.1\n,+2.0E+06,2e-1\n',
        "frequency_hz,amplitude_v,note\n1e6,0.1\n2e6,0.2,last\n",
        "frequency_hz,amplitude_v\n1e6,0.1,,\n2e6,0.2,\n",
    ],
    ids=[
        "plain", "crlf", "cr", "bom", "comments", "no-last-newline", "quoted",
        "blanks-other-order", "extra-column", "short-of-a-note", "trailing-commas",
    ],
)  # fmt: skip
def test_every_honest_spelling_reads_alike(path: Path, text: str) -> None:
    """What spreadsheets and people write is the same two readings."""
    path.write_bytes(text.encode())
    trace = read_sweep(path).trace
    assert list(trace.frequency_hz) == [1e6, 2e6]
    assert list(trace.amplitude_v) == [0.1, 0.2]


def test_levels_in_dbm_become_volts_across_50_ohm(path: Path) -> None:
    """0 dBm is 1 mW: sqrt(1 mW x 50 ohm) = 0.2236 V; 20 dB are a factor of ten."""
    path.write_text("frequency_hz,power_dbm\n1e6,0\n2e6,-20\n", encoding="utf-8")
    assert read_sweep(path).trace.amplitude_v == pytest.approx([0.2236068, 0.02236068])


@pytest.mark.parametrize(
    ("header", "phrase"),
    [
        ("frequency_hz", "and just one of"),
        ("amplitude_v", "and just one of"),
        ("frequency_hz,amplitude_v,power_dbm", "just one of amplitude_v or power_dbm"),
        ("frequency_hz;amplitude_v", "frequency_hz;amplitude_v"),
        ("Frequency_Hz,amplitude_v", "must name"),
        ("1e6,0.1", "must name"),
        ("frequency_hz,amplitude_v,amplitude_v", "amplitude_v more than once"),
        ("frequency_hz,frequency_hz,amplitude_v", "frequency_hz more than once"),
    ],
)
def test_a_header_that_does_not_say_what_is_what_is_refused(
    path: Path, header: str, phrase: str
) -> None:
    """A column missing, two of a kind, other separators, no header at all."""
    path.write_text(f"{header}\n1e6,0.1,0.1\n", encoding="utf-8")
    with pytest.raises(InputError, match=phrase):
        read_sweep(path)


@pytest.mark.parametrize(
    ("row", "phrase"),
    [
        ("1e6", "amplitude_v is ''"),
        ("1e6,", "amplitude_v is ''"),
        (",0.1", "frequency_hz is ''"),
        ("1e6,abc", "'abc'"),
        ("1e6,nan", "'nan'"),
        ("1e6,inf", "'inf'"),
        ("1e6,1e999", "'1e999'"),
        ("1e6,-0.1", "below zero"),
        ("-1e6,0.1", "not a number above zero"),
        ("0,0.1", "not a number above zero"),
        ("1e6,0.1 V", "'0.1 V'"),
        ("1e6,1_0", "'1_0'"),
        ("7,1e6,0,5", "point"),
        ("1e6,0,1", "point"),
        ('1e6,"0.1', "'0.1"),
        ("frequency_hz,amplitude_v", "'frequency_hz'"),
        ("1e6,9.9E37x", "9.9E37x"),
    ],
)
def test_a_bad_row_is_refused_with_its_line(path: Path, row: str, phrase: str) -> None:
    """Ragged, words, no number, infinite, negative, decimal commas: line 4."""
    if row == '1e6,"0.1':
        row = '1e6,"0.1 open quote'
    path.write_text(
        f"# head\nfrequency_hz,amplitude_v\n1e6,0.1\n{row}\n", encoding="utf-8"
    )
    with pytest.raises(InputError, match=r"line 4: ") as caught:
        read_sweep(path)
    assert phrase in str(caught.value)


@pytest.mark.parametrize(
    ("content", "phrase"),
    [
        (b"", "is empty"),
        (b"# only\n\n# comments\n", "is empty"),
        (b"frequency_hz,amplitude_v\n", "holds no readings"),
        (GOOD.encode("utf-16"), "not UTF-8"),
        (b"\x00\x01\x02\xff", "not UTF-8"),
        (b"frequency_hz,amplitude_v\n1e6," + b"9" * 200_000, "is not CSV"),
        (b"frequency_hz,amplitude_v\n1e6,\x001\n", "line 2"),
        (b"frequency_hz,power_dbm\n1e6,201\n", "200 dBm"),
    ],
)
def test_what_is_no_readings_file_is_refused_by_name(
    path: Path, content: bytes, phrase: str
) -> None:
    """Empty, another encoding, binary, a field without end."""
    path.write_bytes(content)
    with pytest.raises(InputError, match=phrase) as caught:
        read_sweep(path)
    assert str(path) in str(caught.value)


@pytest.mark.parametrize("name", ["nosuch.csv", "."])
def test_a_file_that_cannot_be_read_says_why(tmp_path: Path, name: str) -> None:
    """Missing, or a folder."""
    with pytest.raises(InputError, match="cannot read"):
        read_sweep(tmp_path / name)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(text=st.text(max_size=60))
def test_no_text_at_all_brings_out_anything_but_its_error(
    path: Path, text: str
) -> None:
    """Any garbage under a good header is read or refused, never a fault."""
    body = text.encode("utf-8", "replace")
    path.write_bytes(b"frequency_hz,amplitude_v\n1e6,0.1\n" + body)
    refused = pytest.RaisesExc(InputError, match=str(path))
    try:
        assert read_sweep(path).trace.n_readings >= 1
    except Exception as error:  # noqa: BLE001 - whatever else it is fails here
        refused.matches(error) or pytest.fail(repr(error))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(
    frequency_hz=st.floats(min_value=1.0, max_value=1e12),
    amplitude_v=st.floats(min_value=0.0, max_value=1e6),
    range_v=st.none() | st.floats(min_value=1e-3, max_value=1e3),
)
def test_a_reading_comes_back_to_the_last_bit(
    tmp_path: Path, frequency_hz: float, amplitude_v: float, range_v: float | None
) -> None:
    """What a sweep keeps, a fit reads."""
    path = free_path(tmp_path / "kept.csv")
    reading = Reading(
        frequency_hz=frequency_hz, amplitude_v=amplitude_v, range_v=range_v
    )
    with ReadingsFile(path, comments={"part": "L1"}) as file:
        file.add(reading, phase="search, first")
    trace = read_sweep(path).trace
    assert trace.frequency_hz[0] == frequency_hz
    assert trace.amplitude_v[0] == amplitude_v


def test_numbers_of_numpy_are_written_as_numbers(path: Path) -> None:
    """A reading made from an array's element is no different."""
    reading = Reading(
        frequency_hz=np.float64(1e6), amplitude_v=np.float64(0.1), range_v=np.float64(1)
    )
    with ReadingsFile(path, comments={}) as file:
        file.add(reading, phase="search")
    assert path.read_text(encoding="utf-8").splitlines()[1] == (
        "1000000.0,0.1,1.0,0.000000,search,,"
    )


def test_a_comment_cannot_break_out_of_its_line(path: Path) -> None:
    """A label with line breaks, quotes or bytes that are no text stays a comment."""
    label = 'L1\n9e6,9\r\u2028x,"y" \udcff'
    with ReadingsFile(path, comments={"part": label}) as file:
        file.add(Reading(frequency_hz=1e6, amplitude_v=0.1), phase="search")
    assert list(read_sweep(path).trace.frequency_hz) == [1e6]


def test_a_reading_is_on_disk_before_the_next_is_taken(path: Path) -> None:
    """Whatever ends the program after `add`, the reading is there."""
    file = ReadingsFile(path, comments={})
    for n in range(1, 4):
        file.add(Reading(frequency_hz=n * 1e6, amplitude_v=0.1), phase="search")
        assert read_sweep(path).trace.n_readings == n == file.count
    file.__exit__(None, None, None)


def test_every_line_ends_alike(path: Path) -> None:
    """Comments, header and rows: one kind of line end throughout."""
    with ReadingsFile(path, comments={"part": "L1"}) as file:
        file.add(Reading(frequency_hz=1e6, amplitude_v=0.1), phase="search")
    assert b"\r" not in path.read_bytes()


def test_readings_are_never_overwritten(path: Path) -> None:
    """A file that exists is refused, and left as it was."""
    path.write_text(GOOD, encoding="utf-8")
    with pytest.raises(RecordError, match="never overwritten"):
        ReadingsFile(path, comments={})
    assert path.read_text(encoding="utf-8") == GOOD


def test_a_folder_that_cannot_be_made_is_an_error_of_ours(path: Path) -> None:
    """A file stands where the folder should be."""
    path.write_text("", encoding="utf-8")
    with pytest.raises(RecordError, match="cannot make"):
        ReadingsFile(path / "deeper.csv", comments={})


def test_only_a_file_without_readings_is_discarded(tmp_path: Path) -> None:
    """One reading is enough to keep it; its folder is made, however deep."""
    path = tmp_path / "made" / "here" / "kept.csv"
    with ReadingsFile(path, comments={"part": "L1"}) as file:
        file.discard()
        assert not path.exists()
    with _filled(path, 0.1) as file:
        file.discard()
    assert list(read_sweep(path).trace.amplitude_v) == [0.1]


def test_a_file_that_was_taken_away_is_an_error_of_ours(path: Path) -> None:
    """Somebody tidied up while it was measured."""
    with _filled(path, 0.1) as file:
        path.unlink()
        with pytest.raises(RecordError, match=f"cannot read {path}: No such file"):
            file.discard()


def test_a_name_that_no_folder_takes_is_an_error_of_ours(tmp_path: Path) -> None:
    """POSIX lets a file system end names at 255 bytes (NAME_MAX); most do."""
    with pytest.raises(RecordError, match=r"cannot write .*\.csv: File name too long"):
        ReadingsFile(tmp_path / f"{'n' * 300}.csv", comments={})


def test_a_reading_that_cannot_be_taken_back_is_an_error_of_ours(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk fills just then."""

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with _filled(path, 0.1) as file:
        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(RecordError, match="No space left"):
            file.take_back()


@pytest.mark.parametrize("good_before", [0, 1, 3])
def test_a_full_disk_keeps_what_was_written(
    path: Path, monkeypatch: pytest.MonkeyPatch, good_before: int
) -> None:
    """At the head or at any reading: an error of ours, and no handle left open."""
    sync, left = os.fsync, iter(range(good_before))

    def fill_up(number: int) -> None:
        if next(left, None) is None:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        sync(number)

    monkeypatch.setattr(os, "fsync", fill_up)

    def write_some() -> None:
        with ReadingsFile(path, comments={}) as file:
            for n in range(1, 9):
                file.add(Reading(frequency_hz=n * 1e6, amplitude_v=0.1), phase="x")

    with pytest.raises(RecordError, match="No space left"):
        write_some()


@pytest.mark.parametrize("beyond", range(0, 60, 7))
def test_a_full_disk_cuts_no_row(path: Path, room_for: RoomFor, beyond: int) -> None:
    """The file ends with the last reading that fitted, though there is room again."""
    with _filled(path, 0.1, 0.2) as file:
        size = path.stat().st_size
        third = Reading(frequency_hz=3e6, amplitude_v=0.3)
        with room_for(size + beyond):
            if beyond >= len("3000000.0,0.3,,0.000000,search,,\n"):
                file.add(third, phase="search")
            with pytest.raises(RecordError, match="too large"):
                file.add(third, phase="search")
        kept = file.count
    text = path.read_text("utf-8")
    assert text.endswith("search,,\n")
    assert len(read_sweep(path).trace.amplitude_v) == kept
    assert kept == 2 + beyond // len("3000000.0,0.3,,0.000000,search,,\n")


def test_a_full_disk_leaves_no_head_alone(path: Path, room_for: RoomFor) -> None:
    """A file without a reading is none."""
    with room_for(20), pytest.raises(RecordError, match="too large"):
        ReadingsFile(path, comments={})
    assert not path.exists()


def test_a_full_disk_cuts_no_slip(path: Path, room_for: RoomFor) -> None:
    """What cannot be struck out is taken off, since nobody wants it."""
    with _filled(path, 0.1, 0.2) as file:
        room = room_for(path.stat().st_size + 5)
        with room, pytest.raises(RecordError, match="too large"):
            file.take_back()
    assert list(read_sweep(path).trace.amplitude_v) == [0.1]
    assert path.read_text("utf-8").endswith("search,,\n")


def test_a_free_name_is_the_first_that_is_free(tmp_path: Path) -> None:
    """l.csv, l-2.csv, l-3.csv."""
    names = []
    for _ in range(3):
        path = free_path(tmp_path / "l.csv")
        path.touch()
        names.append(path.name)
    assert names == ["l.csv", "l-2.csv", "l-3.csv"]


def test_a_dot_in_a_name_is_no_ending(tmp_path: Path) -> None:
    """What follows the last dot alone is: a coil of 1.5 mm is not one of 1 mm."""
    path = tmp_path / "coil-1.5mm.csv"
    assert free_path(path) == path
    path.touch()
    assert free_path(path).name == "coil-1.5mm-2.csv"
    (tmp_path / "coil-1.png").touch()  # nobody's business
    assert free_stem(tmp_path / "coil-1.4mm", suffixes=(".png",)).name == "coil-1.4mm"


def test_a_sweep_s_ranges_weigh_its_readings(tmp_path: Path) -> None:
    """A full scale on every line gives relative weights; on some lines, none."""
    path = tmp_path / "readings.csv"
    head = "frequency_hz,amplitude_v,range_v\n"
    path.write_text(head + "1e6,0.1,0.5\n2e6,0.2,1.0\n", encoding="utf-8")
    trace = read_sweep(path).trace
    assert trace.u_amplitude_v is not None
    assert list(trace.u_amplitude_v) == [0.5, 1.0]
    assert not trace.states_noise
    path.write_text(head + "1e6,0.1,0.5\n2e6,0.2,\n", encoding="utf-8")
    assert read_sweep(path).trace.u_amplitude_v is None


def test_stated_uncertainties_are_taken_as_they_stand(tmp_path: Path) -> None:
    """u_amplitude_v is a standard uncertainty in V, and it must be above zero."""
    path = tmp_path / "readings.csv"
    head = "frequency_hz,amplitude_v,u_amplitude_v\n"
    path.write_text(head + "1e6,0.1,1e-3\n2e6,0.2,2e-3\n", encoding="utf-8")
    trace = read_sweep(path).trace
    assert trace.states_noise
    path.write_text(head + "1e6,0.1,0\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 2: u_amplitude_v is '0'"):
        read_sweep(path)


def test_files_that_belong_together_are_numbered_together(tmp_path: Path) -> None:
    """The stem is free only where every one of its files is."""
    (tmp_path / "demo-1.png").touch()
    stem = free_stem(tmp_path / "demo-1", suffixes=(".csv", ".png"))
    assert stem == tmp_path / "demo-1-2"


def _filled(path: Path, *amplitudes: float) -> ReadingsFile:
    file = ReadingsFile(path, comments={"part": "L17"})
    for n, amplitude_v in enumerate(amplitudes, start=1):
        file.add(Reading(frequency_hz=n * 1e6, amplitude_v=amplitude_v), phase="search")
    return file


def test_a_reading_taken_back_is_a_comment(path: Path) -> None:
    """It stays readable for a person, and is no reading for a fit."""
    with _filled(path, 0.1, 0.2, 3.0) as file:
        file.take_back()
        file.add(Reading(frequency_hz=3e6, amplitude_v=0.3), phase="search")
        assert file.count == 3
    assert list(read_sweep(path).trace.amplitude_v) == [0.1, 0.2, 0.3]
    assert "# taken back: 3000000.0,3.0," in path.read_text(encoding="utf-8")


def test_readings_are_taken_back_one_after_the_other(path: Path) -> None:
    """The comment between them is passed over."""
    with _filled(path, 0.1, 0.2, 0.3) as file:
        file.take_back()
        file.take_back()
        file.add(Reading(frequency_hz=2e6, amplitude_v=0.4), phase="search")
    assert list(read_sweep(path).trace.amplitude_v) == [0.1, 0.4]
    text = path.read_text(encoding="utf-8")
    assert text.count("# taken back: ") == 2
    assert text.endswith("search,,\n")


def test_there_must_be_a_reading_to_take_back(path: Path) -> None:
    """The head is none."""
    with _filled(path, 0.1) as file:
        file.take_back()
        with pytest.raises(RecordError, match="no reading to take back"):
            file.take_back()
