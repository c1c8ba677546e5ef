"""Look for known vulnerabilities in what this environment has installed.

Run with ``python .ci/audit.py``; further words are pip-audit's own. It ends with 1 for
a known vulnerability. Where there is no registry or no vulnerability service to ask it
says so and ends with 0, within a minute. A package that the service does not know is
not one without vulnerabilities: how many were looked up is said.
"""

import json
import subprocess
import sys
import tempfile
import venv
from pathlib import Path
from typing import Any

INSTALL_S, AUDIT_S = 25.0, 25.0
NO_SERVICE = ("ServiceError", "ConnectionError", "HTTPError", "Timeout")


def main(words: list[str]) -> int:
    """Audit; give the exit status."""
    with tempfile.TemporaryDirectory() as name:
        report = audited(Path(name), words)
    if isinstance(report, str):
        print(f"skipped: {report}")
        return 0
    looked_up = [one for one in report["dependencies"] if "skip_reason" not in one]
    found = [
        f"{one['name']} {one['version']}: {hole['id']}"
        f" (mended in {', '.join(hole['fix_versions']) or 'no version yet'})"
        for one in looked_up
        for hole in one["vulns"]
    ]
    if not looked_up:
        print("skipped: the vulnerability service knows none of the packages here")
        return 0
    of = len(report["dependencies"])
    print(f"{len(looked_up)} of {of} packages looked up, {len(found)} vulnerabilities")
    print("".join(f"  {line}\n" for line in found), end="")
    return 1 if found else 0


def audited(folder: Path, words: list[str]) -> dict[str, Any] | str:
    """Give pip-audit's report; or why there is none."""
    freeze = [sys.executable, "-m", "pip", "freeze", "--exclude-editable"]
    installed, report = folder / "installed.txt", folder / "report.json"
    installed.write_text(run(freeze, within_s=INSTALL_S), encoding="utf-8")
    venv.create(folder / "audit", with_pip=True)
    tools = folder / "audit" / "bin"
    try:
        run([tools / "pip", "install", "--quiet", "pip-audit"], within_s=INSTALL_S)
    except (subprocess.CalledProcessError, subprocess.TimeoutExpired):
        return "pip-audit could not be installed from the package registry"
    asked = [tools / "pip-audit", "--no-deps", "--disable-pip", "--format", "json"]
    asked += ["--progress-spinner", "off", "--requirement", installed]
    try:
        run([*asked, "--output", report, *words], within_s=AUDIT_S)
    except subprocess.TimeoutExpired:
        return f"the vulnerability service did not answer within {AUDIT_S:g} s"
    except subprocess.CalledProcessError as failure:
        # It ends alike for a vulnerability, which it has reported, and for no service.
        if not report.exists() or not report.stat().st_size:
            if any(word in failure.stderr for word in NO_SERVICE):
                return "the vulnerability service could not be reached"
            raise
    done: dict[str, Any] = json.loads(report.read_text(encoding="utf-8"))
    return done


def run(command: list[Any], *, within_s: float) -> str:
    """Run a program and give what it printed."""
    done = subprocess.run(  # noqa: S603 - our own command lines
        command, check=True, capture_output=True, text=True, timeout=within_s
    )
    return done.stdout


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
