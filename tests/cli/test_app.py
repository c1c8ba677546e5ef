"""The command itself."""

import tomllib
from pathlib import Path

from typer.testing import CliRunner

from halfpower.cli.app import app

ROOT = Path(__file__).parents[2]


def test_the_command_says_the_version_that_is_installed() -> None:
    """One line, the number of pyproject.toml, exit status 0."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    done = CliRunner().invoke(app, ["--version"])
    assert done.exit_code == 0
    assert done.stdout == f"halfpower {project['version']}\n"
