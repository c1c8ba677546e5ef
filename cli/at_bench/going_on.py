"""How to go on with a measurement that was stopped: the command to type."""

import shlex
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path

__all__ = ["to_go_on"]

# An earlier run's file, and one that is there by now.
TAKEN_OUT = ("--resume", "--readings")


def to_go_on(readings: Path, *, typed: Sequence[str] | None = None) -> str:
    """Say how to go on from the readings kept, with the command for a shell.

    Parameters
    ----------
    readings
        The file of the stopped measurement.
    typed
        Its command line; None: this process's.
    """
    program, *arguments = sys.argv if typed is None else typed
    kept, given = [], iter(arguments)
    for one in given:
        name, is_joined, _ = one.partition("=")
        if name not in TAKEN_OUT:
            kept.append(one)
        elif not is_joined:
            next(given, None)
    command = shlex.join([*_named(program), *kept, "--resume", str(readings)])
    return f"to go on, type:\n{command}"


def _named(program: str) -> list[str]:
    """Name the program as a shell finds it."""
    path = Path(program)
    if path.name == "__main__.py":
        return [sys.executable, "-m", "halfpower.cli"]
    found = shutil.which(path.name)
    is_same = found is not None and Path(found).resolve() == path.resolve()
    return [path.name if is_same else program]
