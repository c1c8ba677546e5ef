"""The reports' branch of the error tree (drawn in `halfpower.analysis.errors`)."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ..analysis.errors import HalfpowerError

__all__ = ["ReportError", "writing_to"]


class ReportError(HalfpowerError):
    """A report cannot be made or written."""

    exit_status = 2


@contextmanager
def writing_to(path: Path) -> Iterator[None]:
    """Make a file's folder where needed, and write the file in the block.

    Raises
    ------
    ReportError
        It cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield
    except OSError as error:
        raise ReportError(f"cannot write {path}: {error.strerror}") from error
