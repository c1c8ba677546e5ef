"""How a command ends: one sentence on standard error, and the exit status."""

import contextlib
import functools
import os
import sys
import textwrap
from collections.abc import Callable
from typing import TYPE_CHECKING, ParamSpec

import typer

from ..faults import UnforeseenError
from ..process import INTERRUPTED

if TYPE_CHECKING:
    from ...analysis.quantity import Judged

__all__ = ["FOUND_WANTING", "end_with", "with_exit_status"]

FOUND_WANTING = 1

Arguments = ParamSpec("Arguments")


def with_exit_status(command: Callable[Arguments, None]) -> Callable[Arguments, None]:
    """Give a command its ending.

    An error of our own is printed as its sentence and ends with its own status;
    Ctrl-C and SIGTERM end with 130. Anything else is a fault, for `run_process` to end.
    """

    @functools.wraps(command)
    def run(*args: Arguments.args, **kwargs: Arguments.kwargs) -> None:
        from ...analysis.errors import HalfpowerError

        try:
            command(*args, **kwargs)
        except HalfpowerError as error:
            _say(str(error), error)
            raise typer.Exit(error.exit_status) from None
        except KeyboardInterrupt as error:
            _say("interrupted", error)
            raise typer.Exit(INTERRUPTED) from None
        except (EOFError, OSError) as error:  # typer has endings of its own for these
            raise UnforeseenError from error

    return run


def end_with(verdict: "Judged | None") -> None:
    """End a command that is done by the one rule: 1 where something was found wanting.

    Parameters
    ----------
    verdict
        Of a result; None: nothing was to be judged.

    Raises
    ------
    typer.Exit
        With 1: it does not fit, or that is undecided.
    """
    from ...analysis.quantity import Judged

    if verdict not in {None, Judged.FITS}:
        raise typer.Exit(FOUND_WANTING)


def _say(sentence: str, error: BaseException) -> None:
    """Say how it ended, and in lines of their own what is to be typed as it stands."""
    notes = sorted(getattr(error, "__notes__", ()), key=lambda note: "\n" in note)
    said, *typed = f"halfpower: {'; '.join([sentence, *notes])}".split("\n")
    # The terminal may be gone, which must not hide how the program ends.
    with contextlib.suppress(OSError):
        if sys.stderr.isatty():
            columns = os.get_terminal_size(sys.stderr.fileno()).columns
            if columns > 0:  # a bare pseudo-terminal has none, and does not wrap
                said = textwrap.fill(said, columns, break_on_hyphens=False)
    print(said, *typed, sep="\n", file=sys.stderr)  # noqa: T201 - talk goes there
