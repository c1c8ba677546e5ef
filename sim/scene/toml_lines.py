"""On which line of a TOML file a key stands, which the standard parser does not tell.

It tells what stands in any beginning of the file that is TOML itself. A key's line is
the first that was added to have the key.
"""

import tomllib
from contextlib import suppress
from functools import lru_cache, reduce
from operator import getitem
from typing import Any

__all__ = ["line_of"]


def line_of(location: tuple[str | int, ...], text: str) -> int:
    """Find the line of a key, or of the nearest table around it that is there.

    Parameters
    ----------
    location
        Keys, and indices in arrays.
    text
        A valid TOML document.

    Returns
    -------
    int
        From 1; 1 where nothing of the location is there. What stands within a value
        of several lines is found where that value begins.
    """
    for length in range(len(location), 0, -1):
        for line, content in _beginnings(text):
            with suppress(KeyError, IndexError, TypeError):
                reduce(getitem, location[:length], content)
                return line
    return 1


@lru_cache(maxsize=1)  # one file's mistakes are looked up one after the other
def _beginnings(text: str) -> list[tuple[int, Any]]:
    """Parse every beginning that is TOML, with the first line it adds to the last."""
    found, start, lines = [], 1, text.splitlines(keepends=True)
    for n in range(1, len(lines) + 1):
        with suppress(tomllib.TOMLDecodeError):
            found.append((start, tomllib.loads("".join(lines[:n]))))
            start = n + 1
    return found
