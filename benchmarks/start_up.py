"""How long `halfpower --help` takes against `python -c "import typer"`.

Alternating runs in one go, medians, the ratio: it must stay under 2.

    python benchmarks/start_up.py [--runs 15]
"""

import argparse
import statistics
import subprocess
import sys
import time
from pathlib import Path

LIMIT = 2.0


def seconds(command: list[str]) -> float:
    """Time one run of a command in s."""
    begun = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)  # noqa: S603 - our own
    return time.perf_counter() - begun


def main() -> None:
    """Print the two medians and their ratio; fail above the limit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=15)
    runs = parser.parse_args().runs
    program = str(Path(sys.executable).with_name("halfpower"))
    help_s, typer_s = [], []
    for _ in range(runs):
        help_s.append(seconds([program, "--help"]))
        typer_s.append(seconds([sys.executable, "-c", "import typer"]))
    shown, base = statistics.median(help_s), statistics.median(typer_s)
    print(
        f"halfpower --help {1e3 * shown:.0f} ms, import typer {1e3 * base:.0f} ms, ",
        end="",
    )
    print(f"ratio {shown / base:.2f} (limit {LIMIT})")
    if shown > LIMIT * base:
        sys.exit(1)


if __name__ == "__main__":
    main()
