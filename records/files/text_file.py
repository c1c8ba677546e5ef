"""The text of a file of readings or checks, opened here alone."""

from pathlib import Path

from ...analysis.errors import InputError
from ...analysis.given_text import text_of_file

__all__ = ["MOST_BYTES", "file_text"]

MOST_BYTES = 16_000_000  # about 300 000 readings, in a measurement's own file


def file_text(path: Path, *, what: str) -> str:
    """Read a file's text.

    Parameters
    ----------
    path
        The file.
    what
        What it is, for the error's sentence (``readings file``).

    Raises
    ------
    InputError
        The file is missing or unreadable, no file, not UTF-8, or larger than 16 MB.
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
