"""The same scene, seed and messages give the same bytes, in whatever process.

The comparison is between processes of their own, with different hash seeds, so that
nothing that Python randomises can take part.
"""

import os
import subprocess
import sys

import pytest

SCRIPT = """
import sys
from halfpower.sim import bundled_scenes, load_scene
from halfpower.sim.instruments.link import Link, LinkClosedError
for name in bundled_scenes():
    bench = load_scene(name).build(seed=int(sys.argv[1]))
    links = {role: Link(core) for role, core in bench.instruments.items()}
    for n in range(60):
        link = links["generator"]
        for message in (f"FREQ {1e6 + 1e5 * n}", "POW -10", "OUTP 1", "SYST:ERR?"):
            link.write(message.encode(), end=True)
            sys.stdout.buffer.write(link.take(1000)[0])
        bench.clock.sleep(0.002 * (n % 3))
        for message in ("MEAS:VOLT:AC?", "READ?", "MEAS?"):
            links["detector"].write(message.encode(), end=True)
            sys.stdout.buffer.write(links["detector"].take(1000)[0])
    sys.stdout.buffer.write(repr(sorted(bench.truth.items())).encode())
"""


def run(seed, hash_seed):
    """Run the script in a process of its own; give what it printed."""
    environment = {**os.environ, "PYTHONHASHSEED": hash_seed}
    command = [sys.executable, "-c", SCRIPT, seed]
    return subprocess.run(  # noqa: S603 # its own command
        command, env=environment, check=True, capture_output=True, timeout=50
    ).stdout


@pytest.fixture(scope="module")
def bytes_of_seed_one():
    """Give the bytes that everything is compared with."""
    return run("1", "0")


def test_two_processes_give_the_same_bytes(bytes_of_seed_one):
    """Every bundled scene, faults included, answers byte for byte alike."""
    assert run("1", "12345") == bytes_of_seed_one


def test_another_seed_gives_other_bytes(bytes_of_seed_one):
    """So that the comparison is not of nothing."""
    assert len(bytes_of_seed_one) > 10_000
    assert run("2", "0") != bytes_of_seed_one
