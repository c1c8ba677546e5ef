"""A fault of the program itself: a traceback in a log file, one sentence on the screen.

Imports little: what it needs, it loads when there is a fault.
"""

import os
import sys
from pathlib import Path

__all__ = ["FAULT", "SHOW", "UnforeseenError", "end_of_fault", "watch_threads"]

FAULT = 70  # EX_SOFTWARE of sysexits.h
SHOW = "HALFPOWER_TRACEBACK"  # set: the traceback is shown, too (DEVELOPERS.md)
LONGEST = 300  # characters of an error's own text in the sentence


class UnforeseenError(Exception):
    """Carries (as its cause) an error that typer would end with a status of its own."""


def end_of_fault(error: BaseException) -> int:
    """Log an error that nobody foresaw, say where; return the exit status."""
    if isinstance(error, UnforeseenError) and error.__cause__ is not None:
        error = error.__cause__
    try:
        text = _report(error)
        where = _logged(text)
    except Exception as trouble:  # noqa: BLE001 - the fault is said, whatever else fails
        text = ""
        where = f"its log could not be written ({type(trouble).__name__}: {trouble})"
    what = _without_passwords(f"{type(error).__name__}: {error}".rstrip(": "))
    said = " ".join(what.split())[:LONGEST]
    notes = getattr(error, "__notes__", ())
    sys.stderr.write(
        f"halfpower: {'; '.join([f'a fault of the program itself ({said})', *notes])}; "
        f"{where}\n"
    )
    if os.environ.get(SHOW):
        sys.stderr.write(text)
    return FAULT


def _report(error: BaseException) -> str:
    import platform
    import traceback
    from datetime import UTC, datetime
    from importlib.metadata import version

    at = f"{datetime.now(tz=UTC):%Y-%m-%dT%H:%M:%SZ}"
    where = f"Python {platform.python_version()}, {platform.platform()}"
    text = (
        f"halfpower {version('halfpower')}, {where}, {at}\n"
        f"arguments: {sys.argv[1:]!r}\n"
        f"{''.join(traceback.format_exception(error))}"
    )
    return _without_passwords(text)


def _without_passwords(text: str) -> str:
    """Take a record base's password out, which stands in its URL."""
    import re

    return re.sub(r"(://[^:/@\s]*):[^@\s]*@", r"\1:...@", text)


def _logged(text: str) -> str:
    """Write the log where logs go, or where temporary files go; say where."""
    import tempfile

    try:
        import platformdirs

        folder = platformdirs.user_log_path("halfpower", appauthor=False)
        folder.mkdir(parents=True, exist_ok=True)
        path = _write(text, folder)
    except OSError:
        path = _write(text, Path(tempfile.gettempdir()))
    return f"its traceback is in {path}: report it with that file"


def _write(text: str, folder: Path) -> str:
    import tempfile

    number, path = tempfile.mkstemp(prefix="fault-", suffix=".log", dir=folder)
    with open(number, "w", encoding="utf-8", errors="backslashreplace") as file:  # noqa: PTH123 - a descriptor
        file.write(text)
    return path


def watch_threads() -> None:
    """Have what goes wrong in a thread logged and said the same way."""
    import threading

    def log(fault: threading.ExceptHookArgs) -> None:
        if fault.exc_value is not None:
            end_of_fault(fault.exc_value)

    threading.excepthook = log
