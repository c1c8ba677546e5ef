"""Every byte, both ways, with its time and its instrument."""

import ast
import os
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from halfpower.analysis import InputError
from halfpower.drivers.link import ByteLog, LinkSettings
from halfpower.drivers.link.steady import SteadyLink
from halfpower.drivers.link.visa import VisaPort

WHEN = datetime(2001, 2, 3, 4, 5, 6, 789012, tzinfo=UTC)


def test_a_line_is_time_instrument_direction_and_bytes(tmp_path: Path) -> None:
    """As the class's docstring shows it."""
    with ByteLog(tmp_path / "trace", now=lambda: WHEN) as log:
        log.sent("generator", b"*IDN?\n")
        log.received("generator", b"\xff\r\n")
        log.note("detector", "no answer\nin µs")
    assert (tmp_path / "trace").read_text("ascii").splitlines() == [
        r"2001-02-03T04:05:06.789012Z generator > b'*IDN?\n'",
        r"2001-02-03T04:05:06.789012Z generator < b'\xff\r\n'",
        r"2001-02-03T04:05:06.789012Z detector # no answer\nin \xb5s",
    ]


class Echo:
    """A VISA resource that answers with what it was sent, twice, and keeps account."""

    def __init__(self) -> None:
        self.account: list[tuple[str, bytes]] = []

    def write_raw(self, data: bytes) -> None:
        """Keep it."""
        self.account.append((">", data))

    def read_bytes(self, *_: Any, **__: Any) -> bytes:
        """Give it back."""
        sent = self.account[-1][1]
        self.account.append(("<", sent.strip() + b" " + sent))
        return self.account[-1][1]

    def close(self) -> None:
        """Nothing to close."""


def test_the_log_is_the_wire_s_own_account(tmp_path: Path) -> None:
    """Read back as Python literals, the bytes are those that went over the wire."""
    resource = Echo()
    with ByteLog(tmp_path / "trace") as log:
        link = SteadyLink(
            lambda: VisaPort(resource, name="detector", termination="\r\n", log=log),
            name="detector",
            identity_query="*IDN?",
            settings=LinkSettings(write_termination="\r\n"),
            sleep=lambda _: None,
            log=log,
        )
        link.introduce()
        link.write("RANGE 1")
        link.query("READ?")
    rows = [
        line.split(" ", maxsplit=3)
        for line in (tmp_path / "trace").read_text("ascii").splitlines()
    ]
    assert [(way, ast.literal_eval(data)) for _, _, way, data in rows] == (
        resource.account
    )


def test_a_killed_program_s_log_ends_with_its_last_byte(tmp_path: Path) -> None:
    """Every line is handed over at once."""
    log = ByteLog(tmp_path / "trace")
    log.sent("generator", b"OUTP ON\n")
    assert "OUTP ON" in (tmp_path / "trace").read_text("ascii")
    log.close()
    log.close()
    log.sent("generator", b"after the end")  # a lost log loses no measurement


def test_a_full_disk_cuts_no_line(
    tmp_path: Path, room_for: Callable[[int], AbstractContextManager[None]]
) -> None:
    """It costs the lines that do not fit, and the next one that does is whole."""
    with ByteLog(tmp_path / "trace", now=lambda: WHEN) as log:
        log.sent("generator", b"first")
        with room_for((tmp_path / "trace").stat().st_size + 30):
            log.sent("generator", b"second")
        log.sent("generator", b"third")
    lines = (tmp_path / "trace").read_text("ascii").splitlines()
    assert [line.split("> ")[1] for line in lines] == ["b'first'", "b'third'"]


def test_a_trace_is_never_written_over(tmp_path: Path) -> None:
    """It may be the only account of what went wrong."""
    (tmp_path / "trace").write_text("old", encoding="utf-8")
    with pytest.raises(InputError, match="exists already and is never replaced"):
        ByteLog(tmp_path / "trace")
    assert (tmp_path / "trace").read_text("utf-8") == "old"


def test_a_trace_that_cannot_be_written_is_an_input_error(tmp_path: Path) -> None:
    """Before anything is driven."""
    with pytest.raises(InputError, match="cannot be written"):
        ByteLog(tmp_path / "no" / "such" / "folder")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_trace_into_a_pipe_is_refused(tmp_path: Path) -> None:
    """Opening it would wait, without a word, for somebody who reads."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="is a pipe; name a file"):
        ByteLog(tmp_path / "pipe")
