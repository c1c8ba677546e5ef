"""The command line as a stranger runs it."""

import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

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


@pytest.fixture
def serve_scene(
    start: Callable[..., "subprocess.Popen[str]"],
) -> Iterator[Callable[[str], tuple[str, int]]]:
    """Serve a scene in a process of its own; bench file and generator's port."""
    servers: list[subprocess.Popen[str]] = []

    def serve(scene: str) -> tuple[str, int]:
        server = start("sim", "serve", scene, "--bench-file", "served.toml")
        servers.append(server)
        assert server.stdout is not None
        lines = [server.stdout.readline().split() for _ in range(2)]
        ports = {name: int(resource.split("::")[2]) for name, resource in lines}
        while not Path("served.toml").exists():
            time.sleep(0.01)  # noqa: TID251 - another process's file
        return "served.toml", ports["generator"]

    yield serve
    for server in servers:
        server.send_signal(signal.SIGINT)
        server.communicate(timeout=20)


@pytest.fixture
def served(serve_scene: Callable[[str], tuple[str, int]]) -> tuple[str, int]:
    """Serve the kit's coil; bench file and generator's port."""
    return serve_scene("kit-coil")
