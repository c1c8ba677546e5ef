"""One program at a time; the second is told who has it; the dead hold nothing."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from halfpower.drivers.errors import TransportError
from halfpower.drivers.link.lock import InstrumentLock, lock_folder

RESOURCE = "TCPIP0::192.0.2.10::inst0::INSTR"
HOLD = """\
import sys
from pathlib import Path
from halfpower.drivers.link.lock import InstrumentLock
lock = InstrumentLock(sys.argv[1], name="generator", folder=Path(sys.argv[2]))
print("held", flush=True)
sys.stdin.read()
"""


def hold(resource: str, folder: Path) -> "subprocess.Popen[str]":
    """Let another program hold the lock."""
    other = subprocess.Popen(  # noqa: S603 - our own code
        [sys.executable, "-c", HOLD, resource, str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    return other


def test_the_second_program_is_told_who_has_it(tmp_path: Path) -> None:
    """By its process number; killed, it holds nothing any more."""
    other = hold(RESOURCE, tmp_path)
    try:
        with pytest.raises(TransportError, match=f"in use by process {other.pid};"):
            InstrumentLock(RESOURCE, name="generator", folder=tmp_path)
    finally:
        other.send_signal(signal.SIGKILL)
        other.communicate(timeout=20)
    InstrumentLock(RESOURCE, name="generator", folder=tmp_path).release()


@pytest.mark.parametrize(
    "spelling", ["TCPIP::192.0.2.10::INSTR", "tcpip0::192.0.2.10::inst0::instr"]
)
def test_one_resource_in_two_spellings_is_one_lock(
    tmp_path: Path, spelling: str
) -> None:
    """VISA names have defaults (VPP-4.3, 4.3.1): the same instrument."""
    with (
        InstrumentLock(RESOURCE, name="generator", folder=tmp_path),
        pytest.raises(TransportError, match="this program has open as generator"),
    ):
        InstrumentLock(spelling, name="generator", folder=tmp_path)


def test_two_instruments_are_two_locks(tmp_path: Path) -> None:
    """Also where their names differ in punctuation alone."""
    with (
        InstrumentLock(RESOURCE, name="generator", folder=tmp_path),
        InstrumentLock("GPIB0::9::INSTR", name="detector", folder=tmp_path),
        InstrumentLock("an-alias", name="detector", folder=tmp_path),
        InstrumentLock("an_alias", name="detector", folder=tmp_path),
    ):
        pass


def test_a_released_lock_can_be_had_again(tmp_path: Path) -> None:
    """Released twice, it does no harm."""
    lock = InstrumentLock(RESOURCE, name="generator", folder=tmp_path)
    lock.release()
    lock.release()
    with InstrumentLock(RESOURCE, name="generator", folder=tmp_path):
        pass


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    """With what to do."""
    (tmp_path / "file").write_text("in the way", encoding="ascii")
    with pytest.raises(TransportError, match="cannot be locked in"):
        InstrumentLock(RESOURCE, name="generator", folder=tmp_path / "file")


def test_the_locks_are_the_user_s_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """In the temporary folder, under the user's number, so that none is in the way."""
    assert lock_folder().name.endswith(str(os.getuid()))
    monkeypatch.delattr(os, "getuid")  # as on a system without
    monkeypatch.setenv("LOGNAME", "a name")
    assert lock_folder().name == "halfpower-locks-a-name"
