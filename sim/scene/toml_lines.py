"""A scene file's text and content, and on which line of it a key stands.

The standard parser does not tell a key's line, but what stands in any beginning of the
file that is TOML itself: a key's line is the first of the statement that adds it. It
follows nesting to the interpreter's end and takes memory with the square of a dotted
key's length, so that what is nested beyond all use is refused before it.
"""

import re
import stat
import tomllib
from bisect import bisect_left
from contextlib import suppress
from functools import lru_cache, reduce
from operator import getitem
from pathlib import Path
from typing import Any

from ..errors import SceneError

__all__ = ["line_of", "parse", "read_text"]

MOST_BYTES = 250_000  # the longest bundled file has 13 kB
DEEPEST = 20  # tables or arrays in each other; no scene has more than 6
LONG_BITS = 63  # TOML promises whole numbers of 64 bits with their sign
# Comments and strings, within which brackets and line ends mean nothing.
_TEXTS = (
    r'"{3}(?:\\.|[^\\])*?"{3,5}|' + r"'{3}.*?'{3,5}|"
    r'"(?:\\.|[^"\\\n])*"|' + r"'[^'\n]*'|\#[^\n]*"
)
_TOKEN = re.compile(rf"{_TEXTS}|[\[\]{{}}\n]", re.DOTALL)
_OPEN, _CLOSED = frozenset("[{"), frozenset("]}")


def read_text(path: Path) -> str:
    """Read a file's text.

    Raises
    ------
    FileNotFoundError
        There is none.
    SceneError
        It is no regular file (a pipe would be waited on, a device has no end), not
        UTF-8, larger than 0.25 MB, or cannot be read.
    """
    name = str(path)
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise SceneError("it is a folder, a pipe or a device, no file", path=name)
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
        if len(content) > MOST_BYTES:
            raise SceneError(f"it is larger than {MOST_BYTES / 1e6:g} MB", path=name)
        text = content.decode("utf-8-sig")
    except FileNotFoundError:
        raise
    except UnicodeDecodeError:
        raise SceneError("it is not UTF-8 text; save it so", path=name) from None
    except OSError as error:
        raise SceneError(f"cannot be read: {error.strerror}", path=name) from None
    return text.replace("\r\n", "\n").replace("\r", "\n")


def parse(text: str, path: str) -> dict[str, Any]:
    """Parse a file's text; ``path`` is for the error.

    Raises
    ------
    SceneError
        It is not TOML, nested too deeply, or holds a number or a character beyond use.
    """
    if _is_too_deep(text):
        raise SceneError(f"it is nested more than {DEEPEST} deep", path=path)
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        line = None
        if "(at line " in message:
            line = int(message.partition("(at line ")[2].partition(",")[0])
        elif "end of document" in message:
            line = len(text.splitlines())
        message = message.partition(" (at ")[0]
        raise SceneError(f"not TOML: {message}", path=path, line=line) from None
    except ValueError:  # more digits than Python reads
        raise SceneError("a number has thousands of digits", path=path) from None
    if not _is_sensible(content):
        raise SceneError(
            "it holds a number of more than 64 bits or a control character", path=path
        )
    return content


def _is_too_deep(text: str) -> bool:
    """Tell whether brackets, or the parts of a key, are too many in each other."""
    depth = 0
    for token in _TOKEN.finditer(text):
        depth += (token[0] in _OPEN) - (token[0] in _CLOSED)
        if depth > DEEPEST:
            return True
    bare = re.sub(_TEXTS, "s", text, flags=re.DOTALL)
    return any(one.count(".") >= DEEPEST for one in re.split(r"[=,\n\[\]{}]", bare))


def _is_sensible(content: Any) -> bool:
    """Tell whether all numbers fit 64 bits, and all text is printed as it stands."""
    if isinstance(content, dict):
        return all(map(_is_sensible, (*content, *content.values())))
    if isinstance(content, list):
        return all(map(_is_sensible, content))
    if isinstance(content, str):
        return all(one.isprintable() or one in "\n\t" for one in content)
    return not isinstance(content, int) or content.bit_length() <= LONG_BITS


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
    starts, ends = _statements(text)
    for length in range(len(location), 0, -1):

        def is_there(n: int, path: tuple[str | int, ...] = location[:length]) -> bool:
            with suppress(KeyError, IndexError, TypeError):
                reduce(getitem, path, _beginning(text, ends[n]))
                return True
            return False

        # Of a longer beginning no key is missing that a shorter one has.
        n = bisect_left(range(len(ends)), True, key=is_there)  # noqa: FBT003
        if n < len(ends):
            return starts[n]
    return 1


@lru_cache(maxsize=64)  # the mistakes of one file are looked for in the same places
def _beginning(text: str, end: int) -> Any:
    return tomllib.loads(text[:end])


@lru_cache(maxsize=1)  # one file's mistakes are looked up one after the other
def _statements(text: str) -> tuple[list[int], list[int]]:
    """Find the first line of each statement of a TOML document, and where it ends."""
    starts, ends, depth, line, start = [], [], 0, 1, 1
    for token in _TOKEN.finditer(f"{text}\n"):
        found = token[0]
        depth += (found in _OPEN) - (found in _CLOSED)
        line += found.count("\n")
        if found == "\n" and depth == 0:
            starts.append(start)
            ends.append(token.end())
            start = line
    return starts, ends
