"""The process itself: how a signal ends it, and that its output's reader may go.

It imports nothing but a little of the standard library, so that `run_process` is in
force before anything else is loaded.
"""

import contextlib
import io
import os
import signal
import sys
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any, TextIO

__all__ = ["INTERRUPTED", "run_process"]

INTERRUPTED = 130
AGAIN_S = 0.3  # a signal that has unwound nothing by then is raised again


def run_process(program: Callable[[], None]) -> None:
    """Run this process's program; the first signal to end unwinds it.

    Ctrl-C, SIGTERM, a closed terminal (SIGHUP) and SIGQUIT alike. Later ones
    are ignored: what is left then is switching off and saying so, each step within a
    time limit, and it must not be cut short. One that is ignored already (under nohup)
    stays so.

    Python ignores what is raised in a callback or a finaliser, and an import may
    swallow it: a signal that unwinds nothing is raised again until it does. One that
    comes before the program minds it, while it loads, ends with 130 as well.
    """
    ending = [
        number
        for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT")
        if (number := getattr(signal, name, None)) is not None
        and signal.getsignal(number) is not signal.SIG_IGN
    ]
    _unwound_by(ending)
    sys.stdout = _MayClose(sys.stdout)
    try:
        try:
            program()
        finally:
            _deaf_to(ending)
    except KeyboardInterrupt:
        _deaf_to(ending)
        with contextlib.suppress(OSError):  # the terminal may be gone
            sys.stderr.write("halfpower: interrupted\n")
        sys.exit(INTERRUPTED)


def _unwound_by(ending: list[int]) -> None:
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


def _deaf_to(ending: list[int]) -> None:
    """Let nothing cut Python's own ending short, nor change how it ends."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, signal.SIG_IGN)
    for number in ending:
        signal.signal(number, signal.SIG_IGN)


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
