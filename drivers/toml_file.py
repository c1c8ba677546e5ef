"""Read a TOML file into a checked record, and name every mistake with its line.

The standard library's reader gives no positions for what is well-formed but wrong,
so the lines of tables and keys are found again in the text.
"""

import difflib
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError

from ..analysis.errors import InputError

__all__ = ["key_lines", "load_toml"]

Record = TypeVar("Record", bound=BaseModel)
_HEADER = re.compile(r"\s*\[\s*(?P<name>[^\[\]]+?)\s*\]\s*(#.*)?")
_KEY = re.compile(r"\s*(?P<name>[A-Za-z0-9_.\-\"']+)\s*=")


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
        lines = key_lines(text)
        mistakes = [_sentence(item, lines, record) for item in error.errors()]
        raise InputError(
            f"{what} {path}: {'; '.join(mistakes)}", path=path, mistakes=mistakes
        ) from error


def key_lines(text: str) -> dict[tuple[str, ...], int]:
    """Line number (from 1) of every table and key, by its path in the document."""
    lines: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.fullmatch(line):
            table = _path(header["name"])
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            lines.setdefault((*table, *_path(key["name"])), number)
    return lines


def _path(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _sentence(
    item: Mapping[str, Any],
    lines: Mapping[tuple[str, ...], int],
    record: type[BaseModel],
) -> str:
    where = tuple(str(part) for part in item["loc"])
    known = [where[:n] for n in range(len(where), 0, -1) if where[:n] in lines]
    line = f"line {lines[known[0]]}: " if known else ""
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
