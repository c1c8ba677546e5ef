"""Read a TOML file into a checked record, and name every mistake with its line.

The standard library's reader gives no positions for what is well-formed but wrong,
but of every beginning of the file it tells which keys that has.
"""

import difflib
import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import lru_cache, reduce
from operator import getitem
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, ValidationError

from ..analysis.errors import InputError

__all__ = ["TomlTable", "line_of", "load_toml"]

Record = TypeVar("Record", bound=BaseModel)


class TomlTable(BaseModel):
    """A table with no other keys than its own, and not to be changed."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)


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
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise InputError(f"cannot read {what} {path}: {reason}", path=path) from error
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{what} {path} is not TOML: {error}", path=path) from error
    try:
        return record.model_validate(content)
    except ValidationError as error:
        mistakes = [_sentence(item, text, record) for item in error.errors()]
        raise InputError(
            f"{what} {path}: {'; '.join(mistakes)}", path=path, mistakes=mistakes
        ) from error


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
        The first line that was added to have the key in a beginning of the text that
        is TOML itself; None where nothing of the location is there.
    """
    for length in range(len(location), 0, -1):
        for line, content in _beginnings(text):
            with suppress(KeyError, IndexError, TypeError):
                reduce(getitem, location[:length], content)
                return line
    return None


@lru_cache(maxsize=1)  # one file's mistakes are looked up one after the other
def _beginnings(text: str) -> list[tuple[int, Any]]:
    """Parse every beginning that is TOML; tell the first line it adds to the last."""
    found, start, lines = [], 1, text.splitlines(keepends=True)
    for n in range(1, len(lines) + 1):
        with suppress(tomllib.TOMLDecodeError):
            found.append((start, tomllib.loads("".join(lines[:n]))))
            start = n + 1
    return found


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
