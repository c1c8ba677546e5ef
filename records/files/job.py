"""The line of a readings file that says what was asked for: written here, read here.

It is JSON on one line, ``{"halfpower.job": 1, "procedure": "coil", "span": {...}}``:
each part of the job by its name, its fields by theirs, in SI units. A measurement goes
on from readings that were taken for the same job alone.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

from ...analysis.errors import InputError

__all__ = ["ASKED_FOR", "job_line", "refuse_another_job"]

ASKED_FOR = "asked for"  # the line's name
VERSION_KEY = "halfpower.job"
VERSION = 1
MOST_SHOWN = 3  # differences in one sentence
WIDEST = 60  # characters of a value in it
# What ends a measurement and is no part of what it is: free to change.
ENDS = ("target", "most_readings")


def job_line(procedure: str, job: Mapping[str, object]) -> str:
    """Write a job down.

    Parameters
    ----------
    procedure
        What is measured.
    job
        Its parts by name: numbers, words, sequences and dataclasses of them. A field
        that a dataclass works out of the others is left out.

    Returns
    -------
    str
        One line of ASCII.

    Raises
    ------
    InputError
        A text holds a line break, or a number is beyond what JSON has.
    """
    document: dict[str, Any] = {VERSION_KEY: VERSION, "procedure": procedure}
    document |= {name: _plain(part, name) for name, part in job.items()}
    try:
        return json.dumps(document, allow_nan=False)
    except ValueError as error:
        raise InputError(
            f"what is asked for cannot be kept with the readings ({error}); give "
            "finite numbers"
        ) from error


def _plain(part: Any, name: str) -> Any:
    """Turn a part of a job into what JSON has."""
    if is_dataclass(part):
        return {
            one.name: _plain(getattr(part, one.name), f"{name}.{one.name}")
            for one in fields(part)
            if one.init
        }
    if isinstance(part, str) and part.splitlines() not in ([], [part]):
        raise InputError(f"{name} holds a line break: {part!r}; write it on one line")
    if isinstance(part, tuple):
        return [_plain(one, f"{name}.{n}") for n, one in enumerate(part, start=1)]
    return part


def refuse_another_job(line: str, *, asked: str, path: Path) -> bool:
    """Refuse readings that were taken for another job than the one that is asked for.

    When to stop (`ENDS`) may differ.

    Parameters
    ----------
    line
        What the readings file says.
    asked
        The job now, as `job_line` writes it.
    path
        The readings file, for the sentence.

    Returns
    -------
    bool
        Whether it is to end elsewhere.

    Raises
    ------
    InputError
        They differ (the sentence says in what), or the line cannot be read: it was
        written by an older or a newer release.
    """
    then, now = _read(line, path=path), json.loads(asked)
    try:
        found = [
            difference
            for name in dict.fromkeys((*then, *now))
            for difference in _differences(then.get(name), now.get(name), name=name)
        ]
    except RecursionError as error:
        raise InputError(
            f"the line '# {ASKED_FOR}' of {path} is nested beyond all use, so what its "
            "readings were taken for cannot be compared; take them anew",
            path=path,
        ) from error
    if not found:
        return bool(then != now)
    more = f", and {len(found) - MOST_SHOWN} more" if len(found) > MOST_SHOWN else ""
    raise InputError(
        f"the readings in {path} were taken for another measurement: "
        f"{', '.join(found[:MOST_SHOWN])}{more}; go on with the options that they were "
        "taken with",
        path=path,
    )


def _read(line: str, *, path: Path) -> dict[str, Any]:
    """Read a job's line of this release's version."""
    try:
        document = json.loads(line)
    except (ValueError, RecursionError):
        document = None
    if isinstance(document, dict) and document.get(VERSION_KEY) == VERSION:
        return document
    raise InputError(
        f"the line '# {ASKED_FOR}' of {path} is not in this release's form, so what "
        "its readings were taken for cannot be compared; go on with the release that "
        "took them, or take the line out if you are sure of the options",
        path=path,
    )


def _differences(then: Any, now: Any, *, name: str) -> Iterator[str]:
    """Say field by field what differs; one that is missing was not stated."""
    if isinstance(then, dict) and isinstance(now, dict):
        for key in dict.fromkeys((*then, *now)):
            if key in ENDS:
                continue
            yield from _differences(then.get(key), now.get(key), name=f"{name}.{key}")
    elif isinstance(then, list) and isinstance(now, list) and len(then) == len(now):
        for n, (one, other) in enumerate(zip(then, now, strict=True), start=1):
            yield from _differences(one, other, name=f"{name}.{n}")
    elif then != now:
        yield f"{_cut(name)} was {_shown(then)} and is {_shown(now)}"


def _shown(value: Any) -> str:
    text = "not stated" if value is None else json.dumps(value, ensure_ascii=False)
    return _cut(text)


def _cut(text: str) -> str:
    return text if len(text) <= WIDEST else f"{text[:WIDEST]}..."
