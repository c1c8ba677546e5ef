"""One module opens files to write them; the few others are named, each with why."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FOLDERS = ("analysis", "cli", "drivers", "records", "reports", "sim", "sweeps")
WRITES = {"write_text", "write_bytes", "fdopen", "mkstemp", "NamedTemporaryFile"}
OTHERS = {
    "records/whole.py",  # the one place
    "records/files/readings_writer.py",  # grows reading by reading, safe at each
    "records/base/side_file.py",  # grows entry by entry, safe at each
    "drivers/link/byte_log.py",  # grows line by line, to the last byte of a killed run
    "drivers/link/lock.py",  # who holds a lock, for as long as it is held
    "records/base/holding.py",  # who has a lot in hand, for as long
    "cli/faults.py",  # a fault's log, for which nothing of the rest may be trusted
}


def writes_in(text: str) -> list[int]:
    """Lines that open a file for writing, as far as their text shows it."""
    return [
        node.lineno
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Call) and writes(node)
    ]


def writes(call: ast.Call) -> bool:
    """Tell whether a call opens or writes a file by name."""
    name = getattr(call.func, "attr", getattr(call.func, "id", ""))
    if name in WRITES:
        return True
    given = [*call.args, *(one.value for one in call.keywords if one.arg == "mode")]
    modes = [one.value for one in given if isinstance(one, ast.Constant)]
    return name == "open" and any(
        isinstance(mode, str) and re.fullmatch(r"[rbt]*[wxa+][rwxabt+]*", mode)
        for mode in modes
    )


@pytest.mark.parametrize(
    "line",
    [
        'open("f", "w")',
        'open("f", mode="a")',
        'path.open("xb", buffering=0)',
        'path.open(mode="r+")',
        'path.write_text("")',
        'gzip.open("f", "wt")',
    ],
)
def test_the_look_sees_a_write(line: str) -> None:
    """Each common way of it."""
    assert writes_in(line) == [1]


@pytest.mark.parametrize("line", ['open("f")', 'path.open("rb")', "stream.write(1)"])
def test_the_look_lets_reading_pass(line: str) -> None:
    """It would be of no use otherwise."""
    assert not writes_in(line)


def test_files_are_opened_for_writing_in_one_place() -> None:
    """Nothing else can leave half a file; and no exception outlives its need."""
    found = {
        path.relative_to(ROOT).as_posix()
        for folder in FOLDERS
        for path in (ROOT / folder).rglob("*.py")
        if writes_in(path.read_text("utf-8"))
    }
    assert found == OTHERS
