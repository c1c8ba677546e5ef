"""What a command may write to: nothing that it reads, nothing that is there already.

All of it is looked at before anything is measured; `halfpower.records.whole_file` looks
again when it writes.
"""

import os
import re
import stat
from collections.abc import Iterator, Mapping
from itertools import combinations
from pathlib import Path

from ...analysis.errors import InputError
from ...analysis.given_text import shown
from .output import STANDARD_OUTPUT, talk

__all__ = ["check_outputs"]

Named = str | Path | None
GROWING = {"--readings", "--trace"}  # written line by line, and never replaced
SQLITE_HEAD = b"SQLite format 3\x00"  # sqlite.org/fileformat.html, 1.3.1
SIDE_HEAD = b'{"schema": "halfpower.side/'
EXPORTED = ["lot", "position", "attempt", "sweep"]  # how an export's readings begin
LONGEST_HEAD = 65536  # bytes of comments before a readings file's header


def check_outputs(
    outputs: Mapping[str, Named],
    *,
    read: Mapping[str, Named] | None = None,
    overwrite: bool,
    replaces: tuple[str, ...] = (),
) -> None:
    """Refuse what must not be written over, before anything is done.

    A folder that will be made elsewhere than below the present one is said.

    Parameters
    ----------
    outputs
        Files to be written, by the option that names each; ``-`` is standard output.
    read
        Files that this call reads or keeps, by what each is.
    overwrite
        Whether other files may be replaced.
    replaces
        Options that write an export's readings, and may replace such.

    Raises
    ------
    InputError
        Two are one file; or a file is there already and must stay, is a folder, or
        cannot be written where it is.
    """
    written = dict(_files(outputs))
    kept = dict(_files(read or {}))
    pairs = [*combinations(written.items(), 2)]
    pairs += [(one, other) for one in written.items() for other in kept.items()]
    for (option, path), (other, its) in pairs:
        if _same(path, its):
            raise InputError(
                f"{option} {path} and {other} are one file; name another file"
            )
    for option, path in written.items():
        if path.exists():
            _may_replace(option, path, overwrite=overwrite, replaces=replaces)
        else:
            _see_folder(option, path)


def _files(named: Mapping[str, Named]) -> Iterator[tuple[str, Path]]:
    """Give what is a file, or will be; a device or a pipe loses nothing."""
    for what, name in named.items():
        if name is not None and name != STANDARD_OUTPUT:
            path = Path(name)
            try:
                mode = path.stat().st_mode
            except (FileNotFoundError, NotADirectoryError):
                mode = stat.S_IFREG
            except OSError as error:  # a name that is too long
                raise InputError(
                    f"{what} {shown(str(path))} cannot be: {error.strerror}"
                ) from error
            if stat.S_ISREG(mode) or stat.S_ISDIR(mode):
                yield what, path


def _same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)  # hard links too
    except OSError:
        names = (os.path.normcase(os.path.realpath(path)) for path in (one, other))
        return len(set(names)) == 1


def _may_replace(
    option: str, path: Path, *, overwrite: bool, replaces: tuple[str, ...]
) -> None:
    if path.is_dir():
        raise InputError(f"{option} {path} is a folder; name a file")
    what = _precious(path, exported_too=option not in replaces)
    if option in GROWING or (overwrite and what):
        what = f" and is {what}" if what else ""
        raise InputError(
            f"{option} {path} exists already{what}, which nothing replaces; name "
            "another file"
        )
    if not overwrite:
        raise InputError(
            f"{option} {path} exists already; name another file, or say --overwrite to "
            "replace it"
        )
    if not os.access(path.parent, os.W_OK):
        raise InputError(f"{option} {path} is in a folder that cannot be written to")


def _precious(path: Path, *, exported_too: bool) -> str:
    """Say what a file is that must stay, whatever its name; empty: it may go."""
    try:
        with path.open("rb") as file:
            head = file.read(LONGEST_HEAD)
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror}") from error
    if head.startswith(SQLITE_HEAD):
        return "a record base"
    if head.startswith(SIDE_HEAD):
        return "a record base's side file"
    lines = head.decode("utf-8-sig", "replace").splitlines()
    first = next((line for line in lines if not line.startswith("#")), "")
    names = [name.strip(' "') for name in re.split("[,;\t]", first)]
    if {"amplitude_v", "power_dbm"}.isdisjoint(names):
        return ""
    is_export = names[: len(EXPORTED)] == EXPORTED
    return "" if is_export and not exported_too else "readings"


def _see_folder(option: str, path: Path) -> None:
    """See that a file can be made there; say so where a far folder will be."""
    folder = Path(os.path.realpath(path)).parent
    there = next(one for one in (folder, *folder.parents) if one.exists())
    if not (there.is_dir() and os.access(there, os.W_OK)):
        raise InputError(
            f"cannot write {option} {path}: {there} is no folder that this user may "
            "write to; name another file"
        )
    if there != folder and not folder.is_relative_to(Path.cwd().resolve()):
        talk(f"Note: {option} makes the folder {folder}, outside the present one.")
