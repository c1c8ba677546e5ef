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
from pyvisa import rname

from ..errors import TransportError

__all__ = ["InstrumentLock", "lock_folder"]

READABLE = 60  # characters of the resource in the file's name


def lock_folder() -> Path:
    """Return the folder of this user's locks, in the system's temporary folder."""
    try:
        user = str(os.getuid())
    except AttributeError:  # no numbers for users on this system
        user = re.sub(r"\W", "-", getpass.getuser())
    return Path(tempfile.gettempdir()) / f"halfpower-locks-{user}"


def _canonical(resource: str) -> str:
    """Give a resource's one name: ``GPIB::9`` is ``GPIB0::9::INSTR``."""
    try:
        return rname.to_canonical_name(resource).lower()
    except rname.InvalidResourceName:
        return resource.lower()  # an alias


class InstrumentLock:
    """Keep other programs off an instrument until `release`.

    Parameters
    ----------
    resource
        Its VISA resource name; spellings of one name are one lock.
    name
        What it is called in messages.
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

    def __init__(self, resource: str, *, name: str, folder: Path | None = None) -> None:
        key = _canonical(resource)
        stem = re.sub(r"[^a-z0-9]+", "-", key).strip("-")[:READABLE]
        stem += f"-{hashlib.sha256(key.encode()).hexdigest()[:12]}"
        folder = folder if folder is not None else lock_folder()
        # The lock file is emptied by whoever tries it, so the holder's number stands
        # beside it.
        self._owner = folder / f"{stem}.owner"
        self._lock = filelock.FileLock(folder / f"{stem}.lock", timeout=0)
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._lock.acquire()
            self._owner.write_text(f"{os.getpid()}\n", encoding="ascii")
        except filelock.Timeout as error:
            raise TransportError(
                f"{name} {resource} is in use by {self._holder()}; wait for it, or end "
                "it",
                resource=resource,
            ) from error
        except (OSError, NotImplementedError) as error:
            self.release()
            raise TransportError(
                f"{name} {resource} cannot be locked in {folder} ({error}); make that "
                "folder writable",
                resource=resource,
            ) from error

    def _holder(self) -> str:
        try:
            number = int(self._owner.read_text(encoding="ascii"))
        except (OSError, ValueError):
            return "another program"
        return "this program" if number == os.getpid() else f"process {number}"

    def release(self) -> None:
        """Let others have it; twice does no harm."""
        with contextlib.suppress(OSError):
            if self._lock.is_locked:
                self._owner.unlink(missing_ok=True)
            self._lock.release()

    def __enter__(self) -> Self:
        """Give the lock."""
        return self

    def __exit__(self, *_: object) -> None:
        """Release it."""
        self.release()
