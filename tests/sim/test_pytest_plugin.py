"""The pytest plugin: its documented example runs, and it costs nothing to load."""

import subprocess
import sys
import textwrap
from pathlib import Path

import halfpower.sim.pytest_plugin as plugin


def example():
    """Cut the example out of the plugin's documentation."""
    _, _, rest = plugin.__doc__.partition("::\n")
    block, _, _ = rest.partition("\nWithout the mark")
    return textwrap.dedent(block)


def run_pytest(folder, text):
    """Run a test file with the plugin, as its user would."""
    (folder / "test_it.py").write_text(text)
    command = [sys.executable, "-m", "pytest", "-q", "-W", "error", "--strict-markers"]
    command += ["-p", plugin.__name__, "-p", "no:cacheprovider", "test_it.py"]
    return subprocess.run(  # noqa: S603 # its own command
        command, cwd=folder, capture_output=True, text=True, timeout=50, check=False
    )


def test_the_documented_example_runs(tmp_path):
    """It is ten lines, and they pass as they stand."""
    text = example()
    lines = [line for line in text.splitlines() if line.strip()]
    assert len(lines) <= 10
    done = run_pytest(tmp_path, text)
    assert done.returncode == 0, done.stdout
    assert "1 passed" in done.stdout


def test_the_manual_shows_the_same_example():
    """docs/simulation.md holds the example that the test above runs."""
    manual = Path(__file__).parents[2] / "docs" / "simulation.md"
    assert example().strip() in manual.read_text(encoding="utf-8")


def test_the_default_scene_and_tcp_work_too(tmp_path):
    """Without a mark: kit-coil, seed 0; over loopback with the same fixtures."""
    text = """
        import socket

        from halfpower.sim import load_scene

        def test_over_tcp(simulated_bench, simulated_tcp):
            assert simulated_bench.table == load_scene("kit-coil").table
            _, host, port, _ = simulated_tcp.resources["generator"].split("::")
            with socket.create_connection((host, int(port)), timeout=5) as link:
                link.sendall(b"*IDN?\\n")
                assert link.recv(100) == b"HALFPOWER SIM,GENERATOR,0,1\\n"
    """
    done = run_pytest(tmp_path, textwrap.dedent(text))
    assert done.returncode == 0, done.stdout


def test_loading_the_plugin_imports_nothing_heavy():
    """numpy, pydantic and pyvisa wait until a fixture is used."""
    code = (
        "import sys, halfpower.sim.pytest_plugin\n"
        "heavy = {'numpy', 'pydantic', 'pyvisa', 'pyvisa_sim'} & set(sys.modules)\n"
        "sys.exit(sorted(heavy).__repr__() if heavy else 0)\n"
    )
    done = subprocess.run(  # noqa: S603 # its own command
        [sys.executable, "-c", code], capture_output=True, timeout=50, check=False
    )
    assert done.returncode == 0, done.stderr
