"""A log of every byte on the links, with time and instrument."""

import contextlib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from ...analysis.errors import InputError

__all__ = ["ByteLog"]


def _utc_now() -> datetime:
    return datetime.now(tz=UTC)


class ByteLog:
    r"""Write what goes over the links, a line for each piece.

    A line is the time (UTC), the instrument, ``>`` for bytes to it, ``<`` for bytes
    from it or ``#`` for a remark, and the bytes as a Python literal::

        2001-02-03T04:05:06.789012Z generator > b'*IDN?\n'

    Parameters
    ----------
    path
        The file; one that is there is never written over.
    now
        What time it is.

    Raises
    ------
    InputError
        The file is there already, or cannot be written.

    Notes
    -----
    Every line is handed to the system at once, so that the log of a program that was
    killed ends with its last byte. Bytes of an answer that was cut off by a timeout
    are dropped inside the VISA and cannot be shown.
    """

    def __init__(self, path: Path, *, now: Callable[[], datetime] = _utc_now) -> None:
        self._now = now
        if path.is_fifo():  # opening it would wait for whoever reads it
            raise InputError(f"the trace {path} is a pipe; name a file", path=path)
        try:
            self._file = path.open("xb", buffering=0)
        except FileExistsError as error:
            raise InputError(
                f"the trace {path} exists already and is never replaced; name another "
                "file",
                path=path,
            ) from error
        except OSError as error:
            raise InputError(
                f"the trace {path} cannot be written ({error.strerror}); name another "
                "file",
                path=path,
            ) from error

    def sent(self, name: str, data: bytes) -> None:
        """Write down bytes to an instrument."""
        self._line(name, f"> {data!r}")

    def received(self, name: str, data: bytes) -> None:
        """Write down bytes from an instrument."""
        self._line(name, f"< {data!r}")

    def note(self, name: str, text: str) -> None:
        """Write down a remark about an instrument's link."""
        self._line(name, f"# {ascii(text)[1:-1]}")

    def _line(self, name: str, text: str) -> None:
        line = f"{self._now():%Y-%m-%dT%H:%M:%S.%fZ} {name} {text}\n".encode("ascii")
        # a full disk costs the log, not the measurement; it ends with a whole line
        with contextlib.suppress(OSError, ValueError):
            start = self._file.tell()
            if self._file.write(line) < len(line):
                self._file.seek(start)
                self._file.truncate()

    def close(self) -> None:
        """Close the file; twice does no harm."""
        with contextlib.suppress(OSError):
            self._file.close()

    def __enter__(self) -> Self:
        """Give the log."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close it."""
        self.close()
