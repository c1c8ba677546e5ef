"""Files that are whole or not there: the one place that opens a file to write it.

What is written goes into a file beside the one that is named, to the disk, and takes
the name when it is complete: a full disk or an interrupt leaves what was there before
as it was. Files that grow line by line (readings, byte log, a base's side file) are not
written so; what they hold is safe line by line, and none of them is ever replaced.
"""

import contextlib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import IO, NoReturn
from uuid import uuid4

from ..analysis.errors import InputError

__all__ = ["whole_file", "write_whole"]

NOT_WAITING = getattr(os, "O_NONBLOCK", 0)  # none on Windows, nor such pipes


@contextlib.contextmanager
def whole_file(path: Path, *, overwrite: bool = False) -> Iterator[IO[bytes]]:
    """Write a file in the block; it appears, or is replaced, when the block ends well.

    Parameters
    ----------
    path
        The file; its folder is made where needed. A link to a file stays one, and a
        device or a pipe is written to as it is.
    overwrite
        Whether a file that is there already may be replaced.

    Raises
    ------
    InputError
        It is there already, or cannot be written.
    """
    target = Path(os.path.realpath(path))
    try:
        if path.exists() and not path.is_file():
            # Of a folder, and of a pipe that nobody reads, this is refused.
            number = os.open(path, os.O_WRONLY | NOT_WAITING)
            with os.fdopen(number, "wb") as device:
                if NOT_WAITING:
                    os.set_blocking(number, True)
                yield device
            return
        if not overwrite and target.exists():
            _refuse(target)
        _make_folder(target.parent)
        beside = target.with_name(f".halfpower-{uuid4().hex}.part")
        try:
            with beside.open("xb") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            _put(beside, target, overwrite=overwrite)
        finally:
            beside.unlink(missing_ok=True)
    except FileExistsError as error:
        raise InputError(
            f"{path} exists already; name another file, or say --overwrite to replace "
            "it"
        ) from error
    except OSError as error:
        raise InputError(
            f"cannot write {path}: {error.strerror or error}, and what was there is as "
            "it was; name another place"
        ) from error


def write_whole(path: Path, text: str, *, overwrite: bool = False) -> None:
    """Write a text (UTF-8; what has none, as its escape) with `whole_file`.

    Raises
    ------
    InputError
        It is there already, or cannot be written.
    """
    with whole_file(path, overwrite=overwrite) as file:
        file.write(text.encode("utf-8", "backslashreplace"))


def _refuse(target: Path) -> NoReturn:
    raise FileExistsError(f"{target} exists")


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        raise NotADirectoryError(error.errno, f"{folder} is no folder") from error


def _put(beside: Path, target: Path, *, overwrite: bool) -> None:
    """Give the file its name, for good."""
    if not overwrite:
        _put_new(beside, target)
    else:
        if target.exists():
            shutil.copymode(target, beside)
        beside.replace(target)
    # Where a folder cannot be opened (Windows) its entry is not ours to secure.
    with contextlib.suppress(OSError):
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _put_new(beside: Path, target: Path) -> None:
    """Give it a name that nobody took in the meantime."""
    try:
        target.hardlink_to(beside)
    except FileExistsError:
        raise
    except (OSError, NotImplementedError):
        # A memory stick's file system has no links; there a look before has to do.
        if target.exists():
            _refuse(target)
        beside.replace(target)
