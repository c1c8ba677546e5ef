"""Read a TOML file into a checked record, and name every mistake with its line.

The standard library's reader gives no positions for what is well-formed but wrong,
but of every beginning of the file it tells which keys that has. It follows nesting to
the interpreter's end and takes memory with the square of a dotted key's length, so
that what is nested beyond all use is refused before it.
"""

import difflib
import re
import tomllib
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from functools import lru_cache, reduce
from itertools import islice
from operator import getitem
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, ValidationError

from ..analysis.errors import InputError
from ..analysis.given_text import label_trouble, shown, text_of_file

__all__ = ["TomlTable", "line_of", "load_toml", "parse_toml", "toml_text"]

Record = TypeVar("Record", bound=BaseModel)
Location = tuple[str | int, ...]
MOST_BYTES = 250_000  # the longest that this program writes or bundles has 13 kB
DEEPEST = 20  # tables or arrays in each other; no record here has more than 5
MOST_NAMED = 10  # mistakes in one sentence
WIDEST = 300  # characters of one of them
LONG_BITS = 63  # TOML promises whole numbers of 64 bits with their sign
# Comments and strings, within which brackets and line ends mean nothing.
_TEXTS = (
    r'"{3}(?:\\.|[^\\])*?"{3,5}|' + r"'{3}.*?'{3,5}|"
    r'"(?:\\.|[^"\\\n])*"|' + r"'[^'\n]*'|\#[^\n]*"
)
_TOKEN = re.compile(rf"{_TEXTS}|[\[\]{{}}\n]", re.DOTALL)
_OPEN, _CLOSED = frozenset("[{"), frozenset("]}")


class TomlTable(BaseModel):
    """A table with no other keys than its own, and not to be changed."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        arbitrary_types_allowed=True,
        allow_inf_nan=False,
    )


def load_toml(path: Path, *, record: type[Record], what: str) -> Record:
    """Read, check and return a file's content.

    Parameters
    ----------
    path
        The file.
    record
        The pydantic model that the content must satisfy.
    what
        What the file is, for the error's sentence (``bench file``).

    Raises
    ------
    InputError
        The file is missing, unreadable, not TOML, or has wrong, unknown or missing
        keys; every mistake is named with its line.
    """
    text = toml_text(path, what=what)
    return parse_toml(text, record=record, name=f"{what} {path}")


def toml_text(path: Path, *, what: str) -> str:
    """Read a TOML file's text; the parameters are those of `load_toml`.

    Raises
    ------
    InputError
        The file is missing or unreadable, no file, not UTF-8, or larger than 0.25 MB.
    """

    def read(most: int) -> bytes:
        with path.open("rb") as file:
            return file.read(most)

    named = f"{what} {path}"
    try:
        return text_of_file(path.stat(), read=read, most_bytes=MOST_BYTES, what=named)
    except OSError as error:
        reason = f"cannot read {named}: {error.strerror}"
        raise InputError(reason, path=path) from error
    except ValueError as error:
        raise InputError(
            f"cannot read {what} {str(path)!r}: no file has such a name", path=path
        ) from error


def parse_toml(text: str, *, record: type[Record], name: str) -> Record:
    """Check and return what a TOML text says.

    Parameters
    ----------
    text
        The text.
    record
        The pydantic model that the content must satisfy.
    name
        What the text is, for the error's sentence.

    Raises
    ------
    InputError
        Not TOML, or wrong, unknown or missing keys; every mistake with its line.
    """
    content = _content(text, name=name)
    try:
        mistakes = list(islice(_unusable(content, text), MOST_NAMED))
        if not mistakes:
            return record.model_validate(content)
    except ValidationError as error:
        mistakes = [
            _sentence(item, text, record) for item in error.errors()[:MOST_NAMED]
        ]
        if error.error_count() > MOST_NAMED:
            mistakes.append(f"and {error.error_count() - MOST_NAMED} more")
    raise InputError(f"{name}: {'; '.join(mistakes)}", mistakes=mistakes)


def line_of(location: Sequence[str | int], text: str) -> int | None:
    """Return the line (from 1) of a key, or of the nearest table around it.

    Parameters
    ----------
    location
        Keys, and indices in arrays.
    text
        A valid TOML document.

    Returns
    -------
    int or None
        The first line of the statement that adds the key; None where nothing of the
        location is there.
    """
    starts, ends = _statements(text)
    for length in range(len(location), 0, -1):

        def is_there(n: int, path: Sequence[str | int] = location[:length]) -> bool:
            with suppress(KeyError, IndexError, TypeError):
                reduce(getitem, path, _beginning(text, ends[n]))
                return True
            return False

        # Of a longer beginning no key is missing that a shorter one has.
        n = bisect_left(range(len(ends)), True, key=is_there)  # noqa: FBT003
        if n < len(ends):
            return starts[n]
    return None


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


def _content(text: str, *, name: str) -> dict[str, Any]:
    """Parse what is nested no deeper than makes sense."""
    if _is_too_deep(text):
        raise InputError(
            f"{name} is nested more than {DEEPEST} deep, which nothing in it may be"
        )
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{name} is not TOML: {error}") from error
    except ValueError as error:  # more digits than Python reads
        raise InputError(f"{name} holds a number of thousands of digits") from error


def _is_too_deep(text: str) -> bool:
    """Tell whether brackets, or the parts of a key, are too many in each other."""
    depth = 0
    for token in _TOKEN.finditer(text):
        depth += (token[0] in _OPEN) - (token[0] in _CLOSED)
        if depth > DEEPEST:
            return True
    bare = re.sub(_TEXTS, "s", text, flags=re.DOTALL)
    return any(one.count(".") >= DEEPEST for one in re.split(r"[=,\n\[\]{}]", bare))


def _unusable(content: Any, text: str) -> Iterator[str]:
    """Name what no table may hold, whatever it is for."""
    for where, value in _values(content):
        trouble = label_trouble(str(where[-1]))
        if trouble:
            trouble = f"the name {shown(where[-1])}: {trouble}"
        elif isinstance(value, int) and value.bit_length() > LONG_BITS:
            trouble = f"{'.'.join(map(str, where))}: a number of more than 64 bits"
        elif isinstance(value, str) and "\0" in value:
            trouble = f"{'.'.join(map(str, where))}: it holds a control character (0)"
        if trouble:
            yield f"line {line_of(where, text)}: {trouble}"


def _values(content: Any, where: Location = ()) -> Iterator[tuple[Location, Any]]:
    """Give everything in a table or an array, with its place."""
    inside: Any = ()
    if isinstance(content, dict):
        inside = content.items()
    elif isinstance(content, list):
        inside = enumerate(content)
    for key, value in inside:
        yield (*where, key), value
        yield from _values(value, (*where, key))


def _sentence(item: Mapping[str, Any], text: str, record: type[BaseModel]) -> str:
    where = tuple(str(part) for part in item["loc"])
    number = line_of(item["loc"], text)
    line = f"line {number}: " if number else ""
    name = ".".join(where)
    if item["type"] == "extra_forbidden":
        return f"{line}unknown key {name!r}{_nearest(where, record)}"
    if item["type"] == "missing":
        return f"{line}{name!r} is missing"
    message = str(item["msg"]).removeprefix("Value error, ")
    if len(message) > WIDEST:
        message = f"{message[:WIDEST]}..."
    return f"{line}{name}: {message}"


def _nearest(where: tuple[str, ...], record: type[BaseModel]) -> str:
    fields = _fields(where[:-1], record)
    near = difflib.get_close_matches(where[-1], fields, n=1, cutoff=0.5)
    if near:
        return f" (did you mean {near[0]!r}?)"
    return f" (known here: {', '.join(sorted(fields))})"


def _is_table(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _fields(table: tuple[str, ...], record: type[BaseModel]) -> list[str]:
    model = record
    for name in table:
        field = model.model_fields.get(name)
        annotation = field.annotation if field else None
        tables = [one for one in (annotation, *get_args(annotation)) if _is_table(one)]
        if not tables:
            break
        model = tables[0]
    return [field.alias or name for name, field in model.model_fields.items()]
