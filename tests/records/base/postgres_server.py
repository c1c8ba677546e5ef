"""A PostgreSQL server of one's own, in a folder of its own, gone at the end.

Its programs come from the distribution's packages or from the wheel `pgserver`. It
refuses to run as root, so root runs it as ``nobody``.
"""

import importlib.util
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

__all__ = ["postgres_programs", "running_postgres"]


def postgres_programs() -> Path | None:
    """Find the folder of initdb and pg_ctl; None where there is none."""
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    wheel = importlib.util.find_spec("pgserver")
    if wheel is not None and wheel.origin is not None:
        folders.append(Path(wheel.origin).parent / "pginstall" / "bin")
    return next((one for one in folders if (one / "initdb").exists()), None)


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
    rights: dict[str, Any] = {}
    if os.geteuid() == 0:
        nobody = pwd.getpwnam("nobody")
        os.chown(folder, nobody.pw_uid, nobody.pw_gid)
        rights |= {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}

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
