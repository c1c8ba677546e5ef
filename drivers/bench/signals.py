"""What ends a program unwinds it, and waits while the output is switched off."""

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any

from ..errors import Interrupted

__all__ = ["endings_unwind", "not_interrupted"]

_Handler = Callable[[int, FrameType | None], Any] | int | None


# What ends a program unless it is handled: a plain kill, a closed terminal, Ctrl-\.
# Windows has only the first.
ENDING = tuple(
    number
    for name in ("SIGTERM", "SIGHUP", "SIGQUIT")
    if (number := getattr(signal, name, None)) is not None
)

# By it a program may raise a signal again that Python has swallowed; none on Windows.
AGAIN = (signal.SIGALRM,) if hasattr(signal, "SIGALRM") else ()


@contextlib.contextmanager
def endings_unwind() -> Iterator[None]:
    """Turn SIGTERM, SIGHUP and SIGQUIT into `Interrupted`.

    A signal that the program handles, or ignores (as under nohup), stays its own.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def unwind(number: int, frame: FrameType | None) -> None:
        del number, frame
        raise Interrupted

    taken = [n for n in ENDING if signal.getsignal(n) is signal.SIG_DFL]
    for number in taken:
        signal.signal(number, unwind)
    try:
        yield
    finally:
        for number in taken:
            signal.signal(number, signal.SIG_DFL)


@contextlib.contextmanager
def not_interrupted() -> Iterator[None]:
    """Hold Ctrl-C and the ending signals back while the output is switched off.

    It is bounded: the links have their time limits. What came in the meantime is
    acted on afterwards.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    held = (signal.SIGINT, *ENDING, *AGAIN)

    def note(number: int, frame: FrameType | None) -> None:
        del frame
        came.append(number)

    before: dict[int, _Handler] = {
        number: signal.signal(number, note) for number in held
    }
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler or signal.SIG_DFL)
    for number in came:
        _act_on(number, before[number])


def _act_on(number: int, handler: _Handler) -> None:
    """Do what the program's own handler would have done, had it been asked."""
    if callable(handler):
        handler(number, None)
    elif handler is not signal.SIG_IGN:
        raise Interrupted
