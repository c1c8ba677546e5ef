"""No output lands on what is read, kept or there already, and it is said at once."""

import re
import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from halfpower.analysis import InputError
from halfpower.cli.at_bench import bundled_bench_file
from halfpower.cli.words import check_outputs
from halfpower.records import open_base

READINGS = Path(__file__).parents[2] / "data" / "stripline-36mm-a.csv"


def contents() -> dict[Path, bytes]:
    """All files of the present folder."""
    return {one: one.read_bytes() for one in Path().iterdir() if one.is_file()}


@pytest.fixture
def good() -> Path:
    """A readings file in the present folder."""
    path = Path("good.csv")
    path.write_bytes(READINGS.read_bytes())
    return path


@pytest.mark.parametrize("overwrite", [(), ("--overwrite",)])
@pytest.mark.parametrize(
    "spelt", ["good.csv", "./good.csv", "sub/../good.csv", "link", "hard", "ABSOLUTE"]
)
def test_readings_are_not_written_over(
    halfpower: Callable, good: Path, spelt: str, overwrite: tuple[str, ...]
) -> None:
    """However they are spelt, and whatever is said."""
    Path("sub").mkdir()
    Path("link").symlink_to(good)
    Path("hard").hardlink_to(good)
    spelt = str(good.absolute()) if spelt == "ABSOLUTE" else spelt
    ended = halfpower("fit", "good.csv", "--json", spelt, *overwrite)
    assert ended.status == 2
    assert ended.out == ""
    assert ended.err == (
        f"halfpower: --json {Path(spelt)} and the readings are one file; name another "
        "file\n"
    )
    assert good.read_bytes() == READINGS.read_bytes()


def test_two_outputs_are_two_files(halfpower: Callable, good: Path) -> None:
    """The second would go over the first."""
    ended = halfpower("fit", str(good), "--json", "x.svg", "--plot", "./x.svg")
    assert ended.status == 2
    assert "--json x.svg and --plot are one file" in ended.err
    assert list(Path().iterdir()) == [good]


def test_what_is_there_is_replaced_where_that_is_said(
    halfpower: Callable, good: Path
) -> None:
    """And stays to the last byte where it is not."""
    asked = (
        "fit",
        str(good),
        "--json",
        "r.json",
        "--plot",
        "p.svg",
        "--page",
        "p.html",
    )
    assert halfpower(*asked).status == 0
    Path("r.json").write_text("mine", encoding="utf-8")
    again = halfpower(*asked)
    assert again.status == 2
    assert "say --overwrite" in again.err
    assert Path("r.json").read_text("utf-8") == "mine"
    assert halfpower(*asked, "--overwrite").status == 0
    assert '"complete": true' in Path("r.json").read_text("utf-8")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("# whose\nfrequency_hz,amplitude_v\n1,2\n", "is readings"),
        ("\ufefffrequency_hz;power_dbm\n1;2\n", "is readings"),
        ('{"schema": "halfpower.side/1"}\n', "side file"),
        ("SQLite format 3\x00", "is a record base"),
        ("lot,position,attempt,sweep,amplitude_v\n", "is readings"),
    ],
)
def test_other_evidence_is_never_replaced(
    halfpower: Callable, good: Path, content: str, said: str
) -> None:
    """Readings and record bases of other calls, by what is in them."""
    Path("other").write_text(content, encoding="utf-8")
    ended = halfpower("fit", str(good), "--json", "other", "--overwrite")
    assert ended.status == 2
    assert said in ended.err
    assert Path("other").read_text("utf-8") == content


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--json", "bench.toml"), "--json bench.toml and the bench file"),
        (("--json", "mine.toml"), "--json mine.toml and the detector's dialect"),
        (("--trace", "good.csv"), "--trace good.csv exists already and is readings"),
        (("--trace", "old.log"), "--trace old.log exists already, which nothing"),
        (("--readings", "good.csv"), "--readings good.csv exists already and is"),
        (("--readings", "a.csv", "--trace", "a.csv"), "--readings a.csv and --trace"),
        (("--resume", "good.csv", "--readings", "good.csv"), "readings of --resume"),
        (("--json", "sub"), "is a folder"),
        (("--page", "good.csv/a.html"), "is no folder"),
    ],
)
def test_it_is_refused_before_an_instrument_is_reached(
    halfpower: Callable, good: Path, options: tuple[str, ...], said: str
) -> None:
    """A socket of the test's own waits for a call that must not come."""
    Path("sub").mkdir()
    Path("mine.toml").touch()
    Path("old.log").write_text("old", encoding="utf-8")
    with socket.create_server(("127.0.0.1", 0)) as instrument:
        instrument.settimeout(0.2)
        text = bundled_bench_file("kit-coil").read_text("utf-8")
        theirs = f'"TCPIP0::127.0.0.1::{instrument.getsockname()[1]}::SOCKET"'
        text = re.sub(r'(?<=resource = )".*"', theirs, text)
        text = re.sub(r'(?<=dialect = )"scope.*"', '"mine.toml"', text)
        Path("bench.toml").write_text(text, encoding="utf-8")
        before = contents()
        ended = halfpower(
            *("sweep", "--bench", "bench.toml", "--from", "4MHz", "--to", "10MHz"),
            *("--attached", "--overwrite", *options),
        )
        assert ended.status == 2
        assert said in ended.err
        with pytest.raises(TimeoutError):
            instrument.accept()
    assert before == {
        one: one.read_bytes() for one in Path().iterdir() if one.is_file()
    }
    assert good in before


def test_a_folder_elsewhere_is_said(
    halfpower: Callable, good: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """One below the present folder is not."""
    far = tmp_path_factory.mktemp("far") / "new"
    ended = halfpower("fit", str(good), "--json", str(far / "r.json"))
    assert f"makes the folder {far}, outside the present one" in ended.err
    ended = halfpower("fit", str(good), "--json", "new/r.json")
    assert ended.status == 0
    assert "makes the folder" not in ended.err


@pytest.mark.parametrize("option", ["--csv", "--json", "--junit", "--page"])
@pytest.mark.parametrize("of_base", ["lots.sqlite", "lots.sqlite-wal"])
def test_a_lot_s_tables_do_not_land_on_its_base(
    halfpower: Callable, option: str, of_base: str
) -> None:
    """The base and what belongs to it."""
    with open_base(Path("lots.sqlite")):
        pass
    held = Path("lots.sqlite").read_bytes()
    if option == "--page":
        Path("lots.html").symlink_to(of_base)
        of_base = "lots.html"
    ended = halfpower(
        *("lot", "show", "chokes", "--records", "lots.sqlite"),
        *(option, of_base, "--overwrite"),
    )
    assert ended.status == 2
    assert "are one file" in ended.err
    assert Path("lots.sqlite").read_bytes() == held


def test_a_name_that_no_file_can_have_is_refused() -> None:
    """300 characters, where file systems take 255: a sentence, not a fault."""
    with pytest.raises(InputError, match=r"--json .* cannot be: File name"):
        check_outputs({"--json": "9" * 300}, overwrite=True)
