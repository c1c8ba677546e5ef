"""The README's output is real and its code runs."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from halfpower.cli.app import app
from halfpower.cli.at_bench import bundled_bench_file
from halfpower.drivers import load_bench_file
from halfpower.records import read_sweep
from halfpower.sim import RealClock, load_scene, serve

README = Path(__file__).parents[1] / "README.md"
UPDATE = "HALFPOWER_UPDATE_README"


def block(language: str, *, holding: str) -> str:
    """Return the README's first fenced block of a language that holds a text."""
    text = README.read_text(encoding="utf-8")
    for found in re.findall(rf"```{language}\n(.*?)```", text, re.DOTALL):
        if holding in found:
            return str(found)
    pytest.fail(f"the README has no {language} block that holds {holding!r}")


def test_the_demos_output_is_what_the_demo_prints() -> None:
    """The block in the README is golden text: set the variable to write it anew."""
    printed = CliRunner().invoke(app, ["demo"]).stdout
    shown = "\n".join(line.rstrip() for line in printed.splitlines()) + "\n"
    text = README.read_text(encoding="utf-8")
    pattern = r"(<!-- demo output -->\n```text\n)(.*?)(```\n<!-- end)"
    if os.environ.get(UPDATE):
        README.write_text(
            re.sub(pattern, lambda m: m[1] + shown + m[3], text, flags=re.DOTALL),
            encoding="utf-8",
        )
    found = re.search(pattern, text, re.DOTALL)
    assert found is not None
    assert found[2] == shown


def test_the_readings_in_the_readme_can_be_fitted() -> None:
    """The file is read and its resonance is where its highest reading says."""
    Path("readings.csv").write_text(
        block("text", holding="frequency_hz,amplitude_v"), encoding="utf-8"
    )
    assert read_sweep(Path("readings.csv")).trace.n_readings == 10
    ended = CliRunner().invoke(app, ["fit", "readings.csv", "--plot", "readings.png"])
    assert ended.exit_code == 0
    assert "7.11" in ended.stdout


def test_the_bench_file_in_the_readme_is_good() -> None:
    """It is accepted as it stands."""
    Path("bench.toml").write_text(
        block("toml", holding="[generator]"), encoding="utf-8"
    )
    assert load_bench_file(Path("bench.toml")).fixture.kind == "coupled-tank"


def test_the_python_in_the_readme_measures_a_coil() -> None:
    """It runs in a process of its own, over TCP, on a simulated bench."""
    scene = load_scene("kit-coil").build(seed=3, clock=RealClock())
    with serve(scene) as served:
        text = bundled_bench_file("kit-coil").read_text(encoding="utf-8")
        for name, resource in served.resources.items():
            text = text.replace(scene.resources[name], resource)
        Path("bench.toml").write_text(text, encoding="utf-8")
        ended = subprocess.run(  # noqa: S603 - the README's own text
            [sys.executable, "-c", block("python", holding="measure_coil")],
            capture_output=True,
            text=True,
            check=False,
            timeout=50,
        )
    assert ended.returncode == 0, ended.stderr
    inductance_h, u_h = (float(word) for word in ended.stdout.split())
    assert abs(inductance_h - scene.truth["coil.inductance_h"]) < 4.0 * u_h
