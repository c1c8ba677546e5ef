"""The person at the bench: questions on standard error, answers from standard input.

What was typed before a question was shown is no answer to it: a second Enter, a key
that bounces and a line that a scanner sends twice are thrown away, and the question is
shown when nothing more comes. Nobody types into a pipe: each of its lines is an answer.
"""

import contextlib
import os
import sys

from ...analysis.errors import InputError
from .output import talk

__all__ = ["ask_person"]

# A bouncing key and a scanner's second line come within a tenth of a second, the second
# press of a double one within two or three (common practice, no published source).
QUIET_S = 0.3
CHUNK = 1024


def ask_person(question: str) -> str:
    """Put a question and return the line that is typed after it was shown.

    Raises
    ------
    InputError
        Nobody is there to answer.
    """
    if sys.stdin is not None and sys.stdin.isatty():
        _let_go()
    talk(question)
    try:
        return input()
    except (EOFError, OSError, RuntimeError) as error:  # it ended, broke, never was
        raise InputError(
            "somebody at the bench has to answer, and standard input has ended; run it "
            "at a terminal"
        ) from error


if sys.platform != "win32":
    import select
    import termios

    _LOCAL = 3  # where the local modes are in what tcgetattr returns

    def _let_go() -> None:
        """Throw away what is typed at the terminal until nothing more comes.

        Half a line counts too, which the terminal hands out only key by key.
        """
        terminal = sys.stdin.fileno()
        # A terminal that is gone says so when it is read.
        with contextlib.suppress(termios.error, OSError):
            before = termios.tcgetattr(terminal)
            key_by_key = [*before]
            key_by_key[_LOCAL] &= ~(termios.ICANON | termios.ECHO)
            termios.tcsetattr(terminal, termios.TCSAFLUSH, key_by_key)
            try:
                while select.select([terminal], [], [], QUIET_S)[0]:
                    if not os.read(terminal, CHUNK):
                        break
            finally:
                termios.tcsetattr(terminal, termios.TCSAFLUSH, before)

else:
    import msvcrt
    import time

    def _let_go() -> None:
        """Throw away what is typed at the console until nothing more comes."""
        until_s = time.monotonic() + QUIET_S
        while time.monotonic() < until_s:
            if msvcrt.kbhit():
                msvcrt.getwch()
                until_s = time.monotonic() + QUIET_S
