"""The process itself: how a signal or a fault ends it.

It imports nothing but a little of the standard library, so that `run_process` is in
force before anything else is loaded.
"""

import errno
import signal
import sys
from collections.abc import Callable
from types import FrameType

from .faults import end_of_fault, watch_threads
from .streams import let_fail, why_lost

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

    An error that nobody foresaw ends with 70 and the place of its log. What standard
    output and standard error do not take stops nothing.
    """
    ending = [
        number
        for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT")
        if (number := getattr(signal, name, None)) is not None
        and signal.getsignal(number) is not signal.SIG_IGN
    ]
    _unwound_by(ending)
    let_fail()
    watch_threads()
    try:
        try:
            program()
        finally:
            _deaf_to(ending)
    except KeyboardInterrupt:
        _deaf_to(ending)
        sys.stderr.write("halfpower: interrupted\n")
        sys.exit(INTERRUPTED)
    except Exception as error:  # noqa: BLE001 - the last to catch anything
        sys.exit(end_of_fault(error))
    finally:
        _say_if_lost()


def _say_if_lost() -> None:
    """Say that standard output took not all; that its reader went is nobody's loss."""
    lost = why_lost(sys.stdout)
    if lost is not None and lost.errno not in {None, errno.EPIPE}:
        sys.stderr.write(
            f"halfpower: not all of it could be written to standard output: "
            f"{lost.strerror}\n"
        )


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
