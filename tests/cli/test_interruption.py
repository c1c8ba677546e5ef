"""Killed in the middle: the output is off, the readings are kept."""

import importlib.util
import json
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from halfpower.records import open_base

Start = Callable[..., "subprocess.Popen[str]"]


def output_state(port: int) -> str:
    """Ask the generator, over a link of one's own, whether its output is on."""
    with socket.create_connection(("127.0.0.1", port), timeout=10) as link:
        link.sendall(b"OUTPut:STATe?\n")
        return link.makefile().readline().strip()


def wait_for_readings(path: Path, *, at_least: int) -> None:
    """Wait until a measurement has kept so many readings."""
    while not path.exists() or path.read_text(encoding="utf-8").count("\n") < at_least:
        time.sleep(0.01)  # noqa: TID251 - another process's readings


@pytest.mark.parametrize(
    "number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGQUIT]
)
def test_a_signal_leaves_the_output_off_and_the_readings_kept(
    start: Start, served: tuple[str, int], number: signal.Signals
) -> None:
    """SIGTERM and Ctrl-C in the middle of a sweep: off, kept, exit status 130."""
    bench_file, port = served
    kept = Path("kept.csv")
    sweep = start(
        *("sweep", "--attached"),
        *("--bench", bench_file, "--from", "4MHz", "--to", "10MHz"),
        *("--readings", str(kept), "--target", "0.0001%", "--most-readings", "5000"),
    )
    wait_for_readings(kept, at_least=40)
    assert output_state(port) == "1"
    sweep.send_signal(number)
    _, said = sweep.communicate(timeout=20)
    assert sweep.returncode == 130
    assert output_state(port) == "0"
    rows = [line for line in kept.read_text("utf-8").splitlines() if line[:1].isdigit()]
    assert f"Kept {len(rows)} readings" in said
    assert "halfpower: interrupted" in said
    assert "Traceback" not in said


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_document_of_an_interrupted_sweep_has_its_readings(
    start: Start, served: tuple[str, int], number: signal.Signals
) -> None:
    """Those of the readings file, marked as not complete; no picture, which is said."""
    bench_file, _ = served
    kept = Path("kept.csv")
    sweep = start(
        *("sweep", "--attached", "--json", "r.json", "--plot", "p.png"),
        *("--bench", bench_file, "--from", "4MHz", "--to", "10MHz", "--label", "L17"),
        *("--readings", str(kept), "--target", "0.0001%", "--most-readings", "5000"),
    )
    wait_for_readings(kept, at_least=40)
    sweep.send_signal(number)
    _, said = sweep.communicate(timeout=20)
    assert sweep.returncode == 130
    assert "halfpower: interrupted" in said
    assert "--plot not written" in said
    assert not Path("p.png").exists()
    document = json.loads(Path("r.json").read_text("utf-8"))
    assert document["complete"] is False
    assert document["part"] == {"label": "L17"}
    assert document["quantities"] == {}
    (swept,) = document["evidence"]["sweeps"]
    text = kept.read_text("utf-8").splitlines()
    rows = [line.split(",") for line in text if line[:1].isdigit()]
    assert [(float(row[0]), float(row[1])) for row in rows] == [
        (one["frequency_hz"], one["amplitude_v"]) for one in swept["readings"]
    ]


def test_the_document_of_an_interrupted_lot_has_its_parts(start: Start) -> None:
    """Those that the base has; ``lot show`` says the same."""
    lot = ("--scene", "choke-lot", "--records", "lots.sqlite")
    run = start(
        "lot", "run", "choke-lot", *lot, "--json", "lot.json", "--junit", "j.xml"
    )
    assert run.stderr is not None
    said = ""
    while "L005" not in said:
        said = run.stderr.readline()
        assert said, "it ended before the fifth part"
    run.send_signal(signal.SIGTERM)
    _, said = run.communicate(timeout=20)
    assert run.returncode == 130
    assert "--junit not written" in said
    assert not Path("j.xml").exists()
    document = json.loads(Path("lot.json").read_text("utf-8"))
    assert document["complete"] is False
    with open_base(Path("lots.sqlite")) as base:
        (row,) = base.lots()
        kept = [one.label for one in base.parts(row.name)]
    assert [one["label"] for one in document["parts"]] == kept
    assert len(kept) >= 4


def test_what_is_said_after_ctrl_c_goes_on(
    start: Start, served: tuple[str, int]
) -> None:
    """Typed as it stands, with a target that can be reached: done, nothing read twice.

    A label with a blank and a quote is what a shell would take apart.
    """
    bench_file, _ = served
    kept = Path("kept it.csv")
    sweep = start(
        *("sweep", "--attached", "--label", "L 7's"),
        *("--bench", bench_file, "--from", "4MHz", "--to", "10MHz"),
        *("--readings", str(kept), "--target", "0.0001%", "--most-readings", "5000"),
    )
    wait_for_readings(kept, at_least=60)
    sweep.send_signal(signal.SIGINT)
    _, said = sweep.communicate(timeout=20)
    *_, before, typed = said.splitlines()
    assert before.endswith("interrupted; to go on, type:")
    rows = [line for line in kept.read_text("utf-8").splitlines() if line[:1].isdigit()]
    changed = " --target 5% --most-readings 300 --readings again.csv"
    again = subprocess.run(  # noqa: S602  the sentence is meant for a shell
        typed + changed, shell=True, check=False, capture_output=True, text=True
    )
    assert again.returncode == 0, again.stderr
    assert "L 7's" in again.stdout.splitlines()[0]
    both = Path("again.csv").read_text("utf-8").splitlines()
    taken = [line for line in both if line[:1].isdigit()]
    as_read = [line.split(",")[:4] for line in rows[: len(taken)]]
    assert [line.split(",")[:4] for line in taken[: len(as_read)]] == as_read


def test_an_instrument_that_vanishes_is_exit_status_3(
    start: Start, served: tuple[str, int]
) -> None:
    """No answer: one sentence, status 3, the readings kept."""
    bench_file, _ = served
    Path("dead.toml").write_text(
        Path(bench_file).read_text("utf-8").replace("::SOCKET", "9::SOCKET", 1),
        encoding="utf-8",
    )
    sweep = start(
        "sweep", "--attached", "--bench", "dead.toml", "--from", "4MHz", "--to", "10MHz"
    )
    _, said = sweep.communicate(timeout=30)
    assert sweep.returncode == 3
    assert said.strip().splitlines()[-1].startswith("halfpower: generator TCPIP0")


def test_signals_at_random_moments_leave_the_output_off_and_the_readings_kept() -> None:
    """A few of what ``benchmarks/interruptions.py`` does two hundred times."""
    path = Path(__file__).parents[2] / "benchmarks" / "interruptions.py"
    spec = importlib.util.spec_from_file_location("interruptions", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["interruptions"] = module  # its dataclass looks itself up
    spec.loader.exec_module(module)
    found = module.interrupt(4, seed=2)
    assert found.stopped == 4
    assert (found.left_on, found.lost, found.said) == (0, 0, [])


SWALLOWED = """
import signal, sys, time
from halfpower.cli.process import run_process

class Finalised:
    def __del__(self):
        signal.raise_signal(signal.SIGTERM)

def program():
    try:
        Finalised()
        while True:
            time.sleep(0.01)
    except KeyboardInterrupt:
        for _ in range(100):
            time.sleep(0.01)
        print("unwound")
        sys.exit(130)

run_process(program)
"""


def test_a_signal_that_python_swallows_is_raised_again() -> None:
    """In a finaliser it unwinds nothing; the second does, and is not cut short."""
    command = [sys.executable, "-c", SWALLOWED]
    ended = subprocess.run(  # noqa: S603  ours
        command, check=False, capture_output=True, text=True, timeout=20
    )
    assert (ended.returncode, ended.stdout) == (130, "unwound\n")
    assert "Exception ignored" in ended.stderr


LOADING = """
import builtins, os, signal
from halfpower.cli import main

real = builtins.__import__

def importing(name, *rest, **more):
    if name == "typer":
        os.kill(os.getpid(), signal.{number})
    return real(name, *rest, **more)

builtins.__import__ = importing
main()
"""


@pytest.mark.parametrize("number", ["SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT"])
def test_a_signal_while_the_program_loads_ends_it_with_130(number: str) -> None:
    """Nothing is driven yet: one sentence, and the status of any interruption."""
    command = [sys.executable, "-c", LOADING.format(number=number)]
    ended = subprocess.run(  # noqa: S603  ours
        command, check=False, capture_output=True, text=True, timeout=20
    )
    assert (ended.returncode, ended.stderr) == (130, "halfpower: interrupted\n")


ENDING = """
import atexit, os, signal, sys, time
from halfpower.cli.process import run_process

def late():
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(1.0)
    print("said")

atexit.register(late)
run_process(lambda: sys.exit(4))
"""


def test_a_signal_after_the_end_changes_nothing() -> None:
    """What the program has said of its end stands, and nothing is cut short."""
    command = [sys.executable, "-c", ENDING]
    ended = subprocess.run(  # noqa: S603  ours
        command, check=False, capture_output=True, text=True, timeout=20
    )
    assert (ended.returncode, ended.stdout, ended.stderr) == (4, "said\n", "")
