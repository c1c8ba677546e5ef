"""Standard output and error closed, full, or in an encoding that lacks characters."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

COIL = (
    "coil", "--scene", "kit-coil", "--from", "4MHz", "--to", "10MHz",
    "--capacitor", "150pF +- 1%", "--readings", "kept.csv", "--plot", "kept.svg",
)  # fmt: skip
FULL = pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
COMMAND = 'exec "$0" -m halfpower.cli "$@" '


def run(
    *arguments: str, streams: str = "", **environment: str
) -> "subprocess.CompletedProcess[bytes]":
    """Run a command line by the shell, which closes and diverts its streams."""
    return subprocess.run(  # noqa: S603 - our own command line
        ["/bin/sh", "-c", COMMAND + streams, sys.executable, *arguments],
        check=False,
        capture_output=True,
        env={**os.environ, **environment},
        timeout=50,
    )


@pytest.mark.parametrize(
    "streams",
    [
        ">&-",
        "2>&-",
        ">&- 2>&-",
        pytest.param(">/dev/full", marks=FULL),
        pytest.param("2>/dev/full", marks=FULL),
        pytest.param(">/dev/full 2>/dev/full", marks=FULL),
    ],
)
def test_a_stream_that_takes_nothing_stops_no_measurement(streams: str) -> None:
    """It is finished and its files are written; the status is as otherwise, 0."""
    ended = run(*COIL, streams=streams)
    assert ended.returncode == 0
    rows = Path("kept.csv").read_text("utf-8").splitlines()
    assert sum(row[:1].isdigit() for row in rows) > 20  # a fit takes more than that
    assert "</svg>" in Path("kept.svg").read_text("utf-8")
    assert b"Traceback" not in ended.stderr
    assert b"Exception ignored" not in ended.stderr
    if streams.startswith("2"):
        assert "inductance" in ended.stdout.decode("utf-8")
    if streams == ">/dev/full":
        assert b"could be written to standard output: No space" in ended.stderr


@pytest.mark.parametrize(
    ("encoding", "shown"),
    [
        ("utf-8", ("± (95 %)", "µH", "mΩ")),
        ("cp1252", ("± (95 %)", "µH", "mohm")),
        ("ascii:strict", ("+- (95 %)", "uH", "mohm")),
    ],
)
def test_words_are_written_with_what_the_encoding_has(
    encoding: str, shown: tuple[str, ...]
) -> None:
    """What Python's own codec lacks is spelled out, on both streams; columns stay."""
    ended = run(*COIL, "--label", "50 Ω", PYTHONIOENCODING=encoding)
    assert ended.returncode == 0
    text = ended.stdout.decode(encoding.partition(":")[0])
    assert all(one in text for one in shown)
    ended.stderr.decode(encoding.partition(":")[0])
    head, first = text.splitlines()[1:3]
    assert head.index("unit") == first.index("MHz")


def test_in_the_c_locale_words_are_ascii() -> None:
    """Without the coercion to UTF-8 that Python does by itself."""
    ended = run(*COIL, LC_ALL="C", PYTHONCOERCECLOCALE="0", PYTHONUTF8="0")
    assert ended.returncode == 0
    assert ended.stdout.isascii()
    assert b"uH" in ended.stdout


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_a_document_on_standard_output_keeps_every_character(encoding: str) -> None:
    """JSON's own escapes: read back, the label is what was given."""
    label = "L7 Ω µ \N{GRINNING FACE}"
    ended = run(*COIL, "--label", label, "--json", "-", PYTHONIOENCODING=encoding)
    document = json.loads(ended.stdout.decode(encoding))
    assert (ended.returncode, document["part"]["label"]) == (0, label)


@pytest.mark.parametrize("streams", [">&-", pytest.param(">/dev/full", marks=FULL)])
@pytest.mark.parametrize("command", [COIL, ("marking", "104K", "--kind", "capacitor")])
def test_a_document_that_does_not_arrive_is_said(
    command: tuple[str, ...], streams: str
) -> None:
    """Status 2, as for a file that cannot be written; other files are written."""
    ended = run(*command, "--json", "-", streams=streams)
    (said,) = [x for x in ended.stderr.splitlines() if x.startswith(b"halfpower:")]
    assert ended.returncode == 2
    assert b"could not be written to standard output" in said
    assert Path("kept.svg").exists() == (command is COIL)


def test_a_reader_that_goes_is_no_failure() -> None:
    """As with ``| head``: nothing is said, status 0."""
    reader, writer = os.pipe()
    os.close(reader)
    try:
        ended = subprocess.run(
            [sys.executable, "-m", "halfpower.cli", "sim", "list"],
            check=False,
            stdout=writer,
            stderr=subprocess.PIPE,
            timeout=50,
        )
    finally:
        os.close(writer)
    assert (ended.returncode, ended.stderr) == (0, b"")
