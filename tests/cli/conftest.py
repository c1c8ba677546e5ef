"""The command line as a stranger runs it."""

import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass

import pytest
from typer.testing import CliRunner

from halfpower.cli.app import app


@dataclass(frozen=True)
class Ended:
    """How a command ended."""

    status: int
    out: str
    err: str


@pytest.fixture
def halfpower() -> Callable[..., Ended]:
    """Run a command line in this process."""

    def run(*arguments: str) -> Ended:
        ended = CliRunner().invoke(app, list(arguments))
        if ended.exception and not isinstance(ended.exception, SystemExit):
            raise ended.exception
        return Ended(ended.exit_code, ended.stdout, ended.stderr)

    return run


@pytest.fixture
def start() -> Callable[..., "subprocess.Popen[str]"]:
    """Start the command line in a process of its own."""

    def started(*arguments: str) -> "subprocess.Popen[str]":
        return subprocess.Popen(  # noqa: S603 - our own command line
            [sys.executable, "-m", "halfpower.cli", *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    return started
