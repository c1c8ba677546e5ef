"""Standard output and standard error, as this machine has them.

They may be closed, full, without a reader, or in an encoding that lacks µ and Ω: a
measurement is not lost for that. Imports little, like `process`, which puts them in.
"""

import codecs
import contextlib
import io
import os
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from typing_extensions import Buffer

__all__ = ["as_shown", "deliver", "let_fail", "spelled", "why_lost"]

# What an encoding lacks is written with what every one has.
SPELLED = {
    "±": "+-",
    "µ": "u",  # micro sign
    "\N{GREEK SMALL LETTER MU}": "u",
    "Ω": "ohm",
    "\N{OHM SIGN}": "ohm",
    "₀": "0",
    "²": "^2",
    "³": "^3",
    "°": " deg ",
    "·": "*",
    "\N{MULTIPLICATION SIGN}": "x",
    "\N{MINUS SIGN}": "-",
    "\N{EN DASH}": "-",
    "—": "-",
    "…": "...",
    "→": "->",
    "≤": "<=",
    "≥": ">=",
}
HANDLER = "halfpower.spelled"


def spelled(error: UnicodeError) -> tuple[str, int]:
    """Spell out what an encoding lacks; what has no spelling as Python's escape."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end]
    return "".join(
        SPELLED.get(one) or one.encode("ascii", "backslashreplace").decode()
        for one in lacking
    ), error.end


codecs.register_error(HANDLER, spelled)


def as_shown(text: str, *, encoding: str) -> str:
    """Write a text as a stream of that encoding will, for what has to line up."""
    return text.encode(encoding, HANDLER).decode(encoding)


class _MayFail(io.RawIOBase):
    """A stream's descriptor; what it does not take is let go, and why is kept.

    Parameters
    ----------
    raw
        What writes; None: it was closed before the program began.
    """

    def __init__(self, raw: io.RawIOBase | None) -> None:
        self._raw = raw
        self.failure: OSError | None = None
        self.is_told = False
        if raw is None:
            self.failure = OSError("it is closed")

    def writable(self) -> bool:
        """Say that it always is."""
        return True

    def write(self, data: "Buffer", /) -> int | None:
        """Write, or let it go from the first failure on."""
        if self._raw is not None and self.failure is None:
            try:
                written = self._raw.write(data)
                while written is None:  # not blocking, and nobody reads as yet
                    _wait_for(self._raw)
                    written = self._raw.write(data)
            except OSError as error:
                self.failure = error
            else:
                return written
        return memoryview(data).nbytes

    def fileno(self) -> int:
        """Return the stream's own descriptor."""
        return super().fileno() if self._raw is None else self._raw.fileno()

    def isatty(self) -> bool:
        """Tell whether somebody looks."""
        return self._raw is not None and self._raw.isatty()


def _wait_for(raw: io.RawIOBase) -> None:
    import select

    select.select((), (raw,), ())


def let_fail() -> None:
    """Put streams in the place of the process's own that never stop the program."""
    for number in range(3):  # of one that is closed no file of ours gets the number
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    sys.stdout = _let_fail(sys.stdout)
    sys.stderr = _let_fail(sys.stderr)


def _let_fail(stream: TextIO | None) -> TextIO:
    buffer = getattr(stream, "buffer", None)
    raw = _MayFail(getattr(buffer, "raw", buffer))
    if stream is None:
        return io.TextIOWrapper(
            io.BufferedWriter(raw), encoding="utf-8", errors=HANDLER
        )
    with contextlib.suppress(OSError, ValueError):
        stream.flush()
    return io.TextIOWrapper(
        io.BufferedWriter(raw),
        encoding=stream.encoding,
        errors=HANDLER,
        line_buffering=getattr(stream, "line_buffering", False),
        write_through=getattr(stream, "write_through", False),
    )


def why_lost(stream: TextIO) -> OSError | None:
    """Flush a stream; say, once, why something written to it was let go.

    None: nothing was, or it has been said.
    """
    stream.flush()
    raw = getattr(getattr(stream, "buffer", None), "raw", None)
    if not isinstance(raw, _MayFail) or raw.is_told:
        return None
    raw.is_told = raw.failure is not None
    return raw.failure


def deliver(text: str, *, escape: Callable[[str], str] | None = None) -> None:
    """Write what must arrive whole to standard output.

    Parameters
    ----------
    text
        All of it.
    escape
        How one character is written that not every encoding has; None: as ever.

    Raises
    ------
    OSError
        It did not arrive.
    """
    if escape is not None and "utf" not in (sys.stdout.encoding or "utf-8").lower():
        text = "".join(one if one.isascii() else escape(one) for one in text)
    sys.stdout.write(text)
    if (lost := why_lost(sys.stdout)) is not None:
        raise lost
