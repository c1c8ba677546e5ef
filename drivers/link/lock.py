"""One program at a time on an instrument.

Two programs on one instrument read each other's answers. The lock is the operating
system's own, on a file named after the resource, so that it goes with its holder
however that ends, ``kill -9`` included.
"""

import contextlib
import getpass
import hashlib
import os
import re
import tempfile
from pathlib import Path
from typing import Self

import filelock
import pyvisa

from ..errors import TransportError
from .spelling import keys_of

__all__ = ["InstrumentLock", "lock_folder"]

READABLE = 60  # characters of the resource in the file's name


def lock_folder() -> Path:
    """Return the folder of this user's locks, in the system's temporary folder."""
    try:
        user = str(os.getuid())
    except AttributeError:  # no numbers for users on this system
        user = re.sub(r"\W", "-", getpass.getuser())
    return Path(tempfile.gettempdir()) / f"halfpower-locks-{user}"


class InstrumentLock:
    """Keep other programs off an instrument until `release`.

    Parameters
    ----------
    resource
        Its VISA resource name or alias; all spellings of one name are one lock (see
        `keys_of`).
    name
        What it is called in messages.
    manager
        Asked what an alias stands for.
    folder
        Where the locks are; `lock_folder` by default.

    Raises
    ------
    TransportError
        Another program has it (the sentence says which), or the folder cannot be
        used.

    Notes
    -----
    It holds between programs of one user on one machine: an instrument on a network
    can still be reached from elsewhere.
    """

    def __init__(
        self,
        resource: str,
        *,
        name: str,
        manager: pyvisa.ResourceManager | None = None,
        folder: Path | None = None,
    ) -> None:
        folder = folder if folder is not None else lock_folder()
        self._held: list[tuple[filelock.BaseFileLock, Path]] = []
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            for key in keys_of(resource, manager=manager):
                self._hold(folder / _stem(key), name=name)
        except filelock.Timeout as error:
            owner = Path(error.lock_file).with_suffix(".owner")
            self.release()
            raise TransportError(
                f"{name} {resource} {_in_use(owner)}",
                resource=resource,
            ) from error
        except (OSError, NotImplementedError) as error:
            self.release()
            raise TransportError(
                f"{name} {resource} cannot be locked in {folder} ({error}); make that "
                "folder writable",
                resource=resource,
            ) from error

    def _hold(self, stem: Path, *, name: str) -> None:
        lock = filelock.FileLock(stem.with_suffix(".lock"), timeout=0)
        lock.acquire()
        # The lock file is emptied by whoever tries it, so the holder's number stands
        # beside it.
        owner = stem.with_suffix(".owner")
        self._held.append((lock, owner))
        owner.write_text(f"{os.getpid()} {name}\n", encoding="utf-8")

    def release(self) -> None:
        """Let others have it; twice does no harm."""
        while self._held:
            lock, owner = self._held.pop()
            with contextlib.suppress(OSError):
                owner.unlink(missing_ok=True)
            with contextlib.suppress(OSError):
                lock.release()

    def __enter__(self) -> Self:
        """Give the lock."""
        return self

    def __exit__(self, *_: object) -> None:
        """Release it."""
        self.release()


def _stem(key: str) -> str:
    readable = re.sub(r"[^a-z0-9]+", "-", key.lower()).strip("-")[:READABLE]
    return f"{readable}-{hashlib.sha256(key.encode()).hexdigest()[:12]}"


def _in_use(owner: Path) -> str:
    """Say who has it, and what to do."""
    try:
        number, _, name = owner.read_text(encoding="utf-8").strip().partition(" ")
        is_here = int(number) == os.getpid()
    except (OSError, ValueError):
        return "is in use by another program; wait for it, or end it"
    if is_here:
        return (
            f"is the instrument that this program has open as {name}; each instrument "
            "of a bench needs a resource of its own"
        )
    return f"is in use by process {number}; wait for it, or end it"
