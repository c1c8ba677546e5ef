"""Without the packages that a kind of link needs: one sentence names the extra."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from halfpower.cli.at_bench import bundled_bench_file

Bare = Callable[..., "subprocess.CompletedProcess[str]"]
GENERATOR = "TCPIP0::192.0.2.10::inst0::INSTR"
WANTED = [  # pyvisa-py's own requirements for them
    ("ASRL/dev/ttyUSB0::INSTR", "serial"),
    ("USB0::0x1234::0x5678::SN1::INSTR", "usb"),
    ("GPIB0::9::INSTR", "gpib"),
]
# What an import of these finds, as in an installation without any extra.
PACKAGES = ("serial", "usb", "libusb_package", "gpib", "gpib_ctypes", "Gpib")
SEARCHERS = ("psutil", "zeroconf")


@pytest.fixture
def bare() -> Bare:
    """Run a command line in a Python that lacks the packages."""

    def run(*arguments: str) -> "subprocess.CompletedProcess[str]":
        program = (
            f"import sys; sys.modules.update(dict.fromkeys({PACKAGES + SEARCHERS}))\n"
            "import runpy; runpy.run_module('halfpower.cli', run_name='__main__')"
        )
        return subprocess.run(  # noqa: S603 - our own command line
            [sys.executable, "-W", "error", "-c", program, *arguments],
            capture_output=True,
            text=True,
            check=False,
            timeout=40,
        )

    return run


@pytest.mark.parametrize(("resource", "extra"), WANTED)
@pytest.mark.parametrize(
    "command", [("bench", "check"), ("sweep", "--from", "4MHz", "--to", "10MHz")]
)
def test_a_link_without_its_package_names_the_extra(
    bare: Bare, tmp_path: Path, command: tuple[str, ...], resource: str, extra: str
) -> None:
    """Status 2, as for every other extra, and no word of pyvisa-py's."""
    text = bundled_bench_file("kit-coil").read_text(encoding="utf-8")
    path = tmp_path / "bench.toml"
    path.write_text(text.replace(GENERATOR, resource), encoding="utf-8")
    ended = bare(*command, "--bench", str(path))
    assert ended.returncode == 2
    last = ended.stderr.splitlines()[-1]
    assert last.startswith(f"halfpower: generator {resource} cannot be opened: ")
    assert last.endswith(f": pip install 'halfpower[{extra}]'")
    assert ended.stderr.count("pip install") == 1


def test_list_says_what_it_did_not_search(bare: Bare) -> None:
    """Every extra once; status 0, for what could be searched was."""
    ended = bare("bench", "list")
    assert ended.returncode == 0
    notes = [one for one in ended.stderr.splitlines() if one.startswith("Note: ")]
    for extra in ("serial", "usb", "gpib"):
        assert sum(f"'halfpower[{extra}]'" in note for note in notes) == 1
    assert sum("'halfpower[discovery]'" in note for note in notes) == 2
    assert len(notes) == 5
