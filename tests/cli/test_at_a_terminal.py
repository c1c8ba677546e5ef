"""A person at a terminal who slips: what they see, and what the bench then does.

The terminal is a pseudo-terminal of a set width; the instruments are a scene's, served
over TCP by another process, whose generator is asked over a link of the test's own.
"""

import codecs
import os
import re
import select
import socket
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

fcntl, pty, termios = (
    pytest.importorskip(name) for name in ("fcntl", "pty", "termios")
)

pytestmark = pytest.mark.timeout(180)
ESCAPES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]|\r")
LONG_S = 60.0  # on a machine that is busy
SWEEP = ("--from", "6MHz", "--to", "8MHz", "--target", "1%")
COIL = ("coil", "--capacitor", "150pF +- 1%", *SWEEP)


class Terminal:
    """A command at a pseudo-terminal, and who sits there."""

    def __init__(self, *arguments: str, columns: int) -> None:
        self._ours, theirs = pty.openpty()
        size = struct.pack("HHHH", 24, columns, 0, 0)
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, size)
        with os.fdopen(theirs, "rb") as ends:
            self.process = subprocess.Popen(  # noqa: S603 - our own command line
                [sys.executable, "-m", "halfpower.cli", *arguments],
                stdin=ends,
                stdout=ends,
                stderr=ends,
                env={**os.environ, "TERM": "xterm", "COLUMNS": ""},
                start_new_session=True,
            )
        self._raw, self._read = "", 0
        self._decode = codecs.getincrementaldecoder("utf-8")().decode

    @property
    def text(self) -> str:
        """All that was shown, what was taken away again too, without the escapes."""
        return ESCAPES.sub("", self._raw)

    def _look(self) -> bool:
        """Take what is there; False: nothing will come any more."""
        if select.select([self._ours], [], [], 0.02)[0]:
            try:
                found = os.read(self._ours, 65536)
            except OSError:  # how Linux says that the other end is closed
                return False
            self._raw += self._decode(found)
            return bool(found)
        return True

    def look_for(self, seconds: float) -> None:
        """Look on for so long."""
        until = time.monotonic() + seconds
        while time.monotonic() < until and self._look():
            pass

    def until(self, wanted: str) -> str:
        """Look until this is shown, with any break of the line; return what was."""
        anywhere = wanted.replace(" ", r"\s+").replace(".*", ".*?")
        pattern = re.compile(anywhere, re.DOTALL)
        late = time.monotonic() + LONG_S
        goes_on = True
        while not (found := pattern.search(self.text, self._read)):
            assert goes_on, f"ended without {wanted!r}: {self.text}"
            assert time.monotonic() < late, f"no {wanted!r}: {self.text[self._read :]}"
            goes_on = self._look()
        shown = self.text[self._read : found.end()]
        self._read = found.end()
        return shown

    def type(self, keys: str) -> None:
        """Press keys."""
        os.write(self._ours, keys.encode())

    def end(self) -> int:
        """Look on to the end; return the exit status."""
        self.look_for(LONG_S)
        return self.process.wait(5)

    def leave(self) -> None:
        """Leave, whatever goes on."""
        self.process.kill()
        self.process.wait(5)
        os.close(self._ours)


Sit = Callable[..., Terminal]


@pytest.fixture
def sit() -> Iterator[Sit]:
    """Sit down at a terminal at which a command runs."""
    sat: list[Terminal] = []

    def down(*arguments: str, columns: int = 80) -> Terminal:
        sat.append(Terminal(*arguments, columns=columns))
        return sat[-1]

    yield down
    for one in sat:
        one.leave()


def is_driven(port: int) -> bool:
    """Ask the generator, over a link of one's own, whether its output is on."""
    with socket.create_connection(("127.0.0.1", port), timeout=10) as link:
        link.sendall(b"OUTPut:STATe?\n")
        return link.makefile().readline().strip() == "1"


def test_what_is_typed_before_the_question_does_not_start_the_output(
    sit: Sit, served: tuple[str, int]
) -> None:
    """Two Enters and half a line early on; a slow person's own Enter counts."""
    bench_file, port = served
    person = sit(*COIL, "--bench", bench_file, "--hookup", "drawn", columns=40)
    person.type("\n\nye")
    asked = person.until("Then press Enter")
    assert "The generator's output is off." in asked.replace("\n", "")
    assert "150 pF capacitor" in " ".join(asked.split())
    assert "drawn/coil.svg" in asked
    person.look_for(1.0)
    assert not is_driven(port)
    assert "DRIVING" not in person.text
    person.type("\n")
    person.until(r"DRIVING \d\.\d{6} MHz, tank 0\.\d+ V")
    assert person.end() == 0
    assert not is_driven(port)


def test_another_word_than_the_listed_does_not_start_the_output(
    sit: Sit, served: tuple[str, int]
) -> None:
    """Refused with the list, and asked again; Ctrl-C then ends it, undriven."""
    bench_file, port = served
    person = sit("sweep", *SWEEP, "--bench", bench_file)
    person.until("driven as it is, from 6 MHz to 8 MHz. Then press Enter")
    for word in ("again", "L017", "no"):
        person.type(f"{word}\n")
        person.until(rf"'{word}' is no answer here: press Enter \(or type yes\)")
        person.until("Then press Enter")
    assert not is_driven(port)
    person.process.terminate()
    assert person.end() == 130
    assert "DRIVING" not in person.text


LOT = """\
[lot]
name = "invented"
procedure = "coil"
size = 5
label = "{label}"
[measure]
from = "1MHz"
to = "1.5MHz"
target = "2%"
capacitor = "470pF +- 1%"
self_capacitance = "4pF +- 1pF"
[check]
every = 20
standard = "S1"
quantity = "inductance"
mean = "33uH"
sd = "1uH"
"""


def test_a_check_standard_is_not_taken_for_a_part_nor_measured_by_a_slip(
    sit: Sit, serve_scene: Callable[[str], tuple[str, int]], tmp_path: Path
) -> None:
    """`again` and a label are refused there; after it, `again` is the check's."""
    bench_file, port = serve_scene("choke-lot")
    lot = tmp_path / "lot.toml"
    lot.write_text(LOT.replace("{label}", "L{number}"), encoding="utf-8")
    person = sit("lot", "run", str(lot), "--bench", bench_file, "--records", "base")
    person.until("goes the 470 pF capacitor")
    for slip in ("again", "L1"):
        person.until(r"check standard S1 on the fixture, .*stop\):")
        person.type(f"{slip}\n")
        person.until(rf"'{slip}' is no answer here: .* or stop")
        assert not is_driven(port)
    person.until(r"stop\):")
    person.type("\n\n")
    person.until("DRIVING .* tank")
    person.until("S1 L = .* in control")
    person.until(r"Put L1 .*last: the check standard S1; again repeats it.* Enter:")
    person.type("again\n")
    person.until(r"stop\):")
    person.type("yes\n")
    person.until("S1 L = .* in control")
    person.until("Put L1 .* Enter:")
    person.type("\n\n\n")  # a key that bounces: L2 must not be measured by it
    person.until("1/5")
    person.until("Put L2 .*last: L1.* Enter:")
    person.look_for(1.0)
    assert not is_driven(port)
    person.type("stop\n")
    assert person.end() == 1
    assert "1 parts: 1 accepted" in " ".join(person.text.split())


def test_a_label_that_is_scanned_twice_is_one_part(
    sit: Sit, serve_scene: Callable[[str], tuple[str, int]], tmp_path: Path
) -> None:
    """The second line is thrown away, and is not the next part's label."""
    bench_file, port = serve_scene("choke-lot")
    lot = tmp_path / "lot.toml"
    text = LOT.replace("{label}", "ask").partition("[check]")[0]
    lot.write_text(text, encoding="utf-8")
    person = sit("lot", "run", str(lot), "--bench", bench_file, "--records", "base")
    person.until("Put part 1 .*label:")
    person.type("A-1\r\nA-1\r\n")
    person.until("1/5")
    person.until("Put part 2 .*label:")
    person.look_for(1.0)
    assert not is_driven(port)
    assert "measured before" not in person.text
    person.type("/stop\n")
    assert person.end() == 1


HAND = re.compile(r'resource = ".*"\ndialect = ".*"')


def test_a_person_at_both_instruments_sees_that_it_is_driven_and_is_told_to_stop_it(
    sit: Sit, served: tuple[str, int]
) -> None:
    """In the question's own lines; after Ctrl-C nothing says that it is off."""
    text = Path(served[0]).read_text(encoding="utf-8")
    Path("hand.toml").write_text(HAND.sub('resource = "hand"', text), encoding="utf-8")
    person = sit(*COIL, "--bench", "hand.toml", columns=40)
    for question in ("output is off", "Then", "Vpp into", "output on"):
        person.until(f"{question}.* press Enter")
        person.type("\n\n")
    person.until("DRIVING, tank not read yet. Set the generator to 6 MHz.*back")
    person.type("\n\n")
    person.until("DRIVING 6.000000 MHz, tank not read yet. Read the .*back")
    person.type("340mV\n")
    asked = person.until(r"DRIVING 6\.0+ MHz, tank 0\.34 V \(.*\)\. Set the .*back")
    assert "is off" not in asked
    person.process.terminate()
    assert person.end() == 130
    ending = " ".join(person.text.split()).rpartition("Set the generator to")[2]
    assert "SWITCH THE GENERATOR'S OUTPUT OFF NOW." in ending
    assert "output is off" not in ending


@pytest.mark.parametrize("columns", [40, 80, 120])
def test_nothing_is_wider_than_the_terminal_nor_cut(sit: Sit, columns: int) -> None:
    """Sentences break between words; a number is whole, whatever the width."""
    person = sit(
        *("coil", "--scene", "coil-set", "--capacitor", "68pF +- 1%"),
        *("--capacitor", "150pF +- 1%", "--from", "2MHz", "--to", "5MHz"),
        columns=columns,
    )
    assert person.end() == 0
    shown = person.text
    # What is taken away again stands before what takes its place, on one line here.
    lasting = [
        line
        for line in shown.splitlines()
        if "driving" not in line and "The generator's output is off." not in line
    ]
    assert max(len(line) for line in lasting) <= columns
    assert "…" not in shown
    words = " ".join(shown.split())
    assert re.search(r"self-capacitance:? (\d+\.\d+|value: \d+\.\d+)", words)
    assert "state it if you know better" in words


def test_elsewhere_than_on_a_terminal_nothing_is_broken(
    halfpower: Callable[..., "Ended"],  # noqa: F821 - conftest's record
) -> None:
    """A sentence is a line, to be found by a search."""
    ended = halfpower(*COIL, "--scene", "kit-coil")
    assert ended.status == 0
    assert any(line.endswith("% from the fit).") for line in ended.out.split("\n"))
    caution = next(line for line in ended.err.splitlines() if "Caution" in line)
    assert caution.endswith("Local rules and a licensed person come first.")
