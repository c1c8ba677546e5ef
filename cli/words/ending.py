"""How a command ends: one sentence on standard error, and the exit status."""

import contextlib
import functools
import io
import os
import signal
import sys
import textwrap
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any, ParamSpec, TextIO

import typer

__all__ = ["INTERRUPTED", "run_process", "with_exit_status"]

INTERRUPTED = 130
AGAIN_S = 0.3  # a signal that has unwound nothing by then is raised again

Arguments = ParamSpec("Arguments")


def with_exit_status(command: Callable[Arguments, None]) -> Callable[Arguments, None]:
    """Give a command its ending.

    An error of our own is printed as its sentence and ends with its own status;
    Ctrl-C and SIGTERM end with 130. Anything else is a fault and keeps its traceback.
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

    return run


def run_process(program: Callable[[], None]) -> None:
    """Run this process's program; the first signal to end unwinds it.

    Ctrl-C, SIGTERM, a closed terminal (SIGHUP) and SIGQUIT alike. Later ones
    are ignored: what is left then is switching off and saying so, each step within a
    time limit, and it must not be cut short. One that is ignored already (under nohup)
    stays so.

    Python ignores what is raised in a callback or a finaliser, and an import may
    swallow it: a signal that unwinds nothing is raised again until it does.
    """
    ending = [
        number
        for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT")
        if (number := getattr(signal, name, None)) is not None
        and signal.getsignal(number) is not signal.SIG_IGN
    ]

    def unwind(number: int, frame: FrameType | None) -> None:
        del number, frame
        if _unwinding(sys.exc_info()[1]):
            return
        for one in ending:
            signal.signal(one, signal.SIG_IGN)
        if hasattr(signal, "setitimer"):  # not on Windows
            signal.setitimer(signal.ITIMER_REAL, AGAIN_S)
        raise KeyboardInterrupt

    for number in ending:
        signal.signal(number, unwind)
    if hasattr(signal, "setitimer"):
        signal.signal(signal.SIGALRM, unwind)
    sys.stdout = _MayClose(sys.stdout)
    try:
        program()
    finally:
        if hasattr(signal, "setitimer"):  # or it would end Python's own ending
            signal.setitimer(signal.ITIMER_REAL, 0.0)


def _unwinding(error: BaseException | None) -> bool:
    """Tell whether an interruption is being handled."""
    while error is not None and not isinstance(error, KeyboardInterrupt):
        error = error.__context__
    return error is not None


class _MayClose(io.TextIOBase):
    """Standard output whose reader may go (``| head``): the rest is let go, quietly.

    What is measured is not lost with it: files are written and the end is the usual.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write, or let it go."""
        with self._quietly():
            self._stream.write(text)
        return len(text)

    def flush(self) -> None:
        """Flush, or let it go."""
        with self._quietly():
            self._stream.flush()

    @contextlib.contextmanager
    def _quietly(self) -> Iterator[None]:
        try:
            yield
        except BrokenPipeError:
            # What is left in the buffer must not fail again when Python ends.
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self._stream.fileno())
            os.close(nowhere)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def fileno(self) -> int:
        """Return the stream's own descriptor."""
        return self._stream.fileno()

    def isatty(self) -> bool:
        """Tell whether somebody looks."""
        return self._stream.isatty()

    @property
    def encoding(self) -> str:  # type: ignore[override] # a stream's is read, not set
        """The stream's own encoding."""
        return self._stream.encoding


def _say(sentence: str, error: BaseException) -> None:
    notes = getattr(error, "__notes__", ())
    # The terminal may be gone, which must not hide how the program ends.
    with contextlib.suppress(OSError):
        said = f"halfpower: {'; '.join([sentence, *notes])}"
        if sys.stderr.isatty():
            columns = os.get_terminal_size(sys.stderr.fileno()).columns
            said = textwrap.fill(said, max(columns, 1), break_on_hyphens=False)
        print(said, file=sys.stderr)  # noqa: T201 - talk goes to standard error
