"""Do the tests notice? Change the source at random places and run what must fail.

    pip install -e ".[test]" --group mutation
    python benchmarks/mutation.py [MODULE ...] [--most 60] [--seed 1] [--jobs 1]

A module (`sweeps/run/guard.py`; all of `TARGETS` without one) gets `--most` changes,
drawn with the seed: one operator, number, condition, exception or decorator each, at
most one of a kind at one place. The changes are made in a scratch copy, never in the
checkout, and the tests named beside the module run there. A change that they pass
`survived`: a test is missing, or the change means nothing.
"""

import argparse
import os
import random
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

from cosmic_ray.commands.init import init
from cosmic_ray.mutating import mutate_and_test
from cosmic_ray.work_db import WorkDB, use_db
from cosmic_ray.work_item import WorkItem, WorkResult

ROOT = Path(__file__).resolve().parents[1]
LOTS, TANK = "tests/analysis/lots", "tests/analysis/tank"
FITTING, BASE = "tests/analysis/fitting", "tests/records/base"
CHAIN = f"-k 'not postgresql' {BASE}/test_base.py {BASE}/test_verify.py"
CIRCUIT = "tests/references/test_coil_circuit.py"
# The shortest selection of tests that must notice.
TARGETS = {
    "sweeps/run/guard.py": "tests/sweeps/run/test_guard.py",
    "analysis/lots/conformity.py": f"{LOTS}/test_conformity.py "
    "tests/references/test_conformity.py",
    "analysis/lots/decision_rows.py": "tests/analysis/test_rework.py",
    "sweeps/lots/outcome.py": "tests/sweeps/lots/test_outcome.py "
    "tests/sweeps/lots/test_run.py",
    "records/base/chain.py": f"{CHAIN} {BASE}/test_chain.py",
    "records/base/writing.py": CHAIN,
    "records/files/readings_writer.py": "tests/records/files/test_readings_writer.py",
    "records/files/job.py": "tests/records/files/test_job.py",
    "analysis/fitting/linear.py": f"{FITTING}/test_linear.py",
    "analysis/fitting/gauss_newton.py": f"{FITTING}/test_gauss_newton.py",
    "analysis/fitting/refusal.py": f"{FITTING}/test_refusal.py",
    "analysis/fitting/doubts.py": f"{FITTING}/test_doubts.py",
    "analysis/tank/balance.py": f"{TANK}/test_balance.py {CIRCUIT}",
    "analysis/tank/shunt.py": f"{TANK}/test_shunt.py",
    "analysis/tank/correction.py": f"{TANK}/test_correction.py {CIRCUIT}",
    "analysis/tank/attached.py": f"-k 'attached or across' {TANK}/test_attached.py "
    "tests/references/test_substitution.py",
}
# Not changed: `|`, which here unites types or joins mappings (any other operator stops
# the program at once); a signature's bare `*`, taken for a product; what a dataclass is
# like (frozen, slots), which nothing but a test for its own sake would notice.
UNION, BARE, RECORD = "core/ReplaceBinaryOperator_BitOr", "*,", "@dataclass"
LEAST_S, TIMES = 20.0, 5.0  # time limit: at least, and times that of a run unchanged


def main() -> None:
    """Print a line a module, then what survived."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("modules", nargs="*", metavar="MODULE", default=list(TARGETS))
    parser.add_argument("--most", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    given = parser.parse_args()
    header = "mutants", "killed", "timeouts", "survived", "score"
    print(f"{'module':34}", *(f"{one:>8}" for one in header))
    survivors: list[str] = []
    tried = partial(try_module, most=given.most, seed=given.seed)
    with ProcessPoolExecutor(given.jobs) as pool:
        for module, done in zip(
            given.modules, pool.map(tried, given.modules), strict=True
        ):
            late = sum(result.output == "timeout" for _, result in done)
            lived = [one for one in done if not one[1].is_killed]
            counts = len(done), len(done) - late - len(lived), late, len(lived)
            score = f"{1.0 - len(lived) / max(1, len(done)):8.0%}"
            print(f"{module:34}", *(f"{one:8}" for one in counts), score, flush=True)
            survivors += [told(module, item, result) for item, result in lived]
    print(*survivors, sep="\n")


def try_module(
    module: str, *, most: int, seed: int
) -> list[tuple[WorkItem, WorkResult]]:
    """Change one module in a copy of its own, `most` times; what came of each."""
    with tempfile.TemporaryDirectory() as name:
        copy_to(Path(name))
        os.chdir(name)  # cosmic-ray runs its command where it stands
        os.environ |= {"PYTHONPATH": name, "OMP_NUM_THREADS": "1"}
        options = "-q -x --no-header --hypothesis-seed=0 -p no:cacheprovider"
        command = f"{sys.executable} -m pytest {options} {TARGETS[module]}"
        begun = time.perf_counter()
        subprocess.run(shlex.split(command), check=True, stdout=subprocess.PIPE)  # noqa: S603 - our own
        limit_s = LEAST_S + TIMES * (time.perf_counter() - begun)
        return [
            (item, mutate_and_test(item.mutations, command, limit_s))
            for item in drawn(Path("halfpower", module), most=most, seed=seed)
        ]


def copy_to(folder: Path) -> None:
    """Lay the sources out as they are installed, so that this copy is imported."""
    for package in ROOT.glob("*/__init__.py"):
        shutil.copytree(package.parent, folder / "halfpower" / package.parent.name)
    shutil.copytree(ROOT / "tests", folder / "tests")
    shutil.copy2(ROOT / "pyproject.toml", folder)


def drawn(path: Path, *, most: int, seed: int) -> list[WorkItem]:
    """Draw changes of a module: of the kinds of operator at one place, one each."""
    with use_db("mutants.sqlite", WorkDB.Mode.create) as base:
        init([path], base, {})
        items = base.work_items
    lines = path.read_text(encoding="utf-8").splitlines()
    draw = random.Random(seed)  # noqa: S311 - a sample
    draw_from: dict[tuple[object, ...], list[WorkItem]] = {}
    for item in sorted(items, key=lambda one: str(one.mutations)):
        change = item.mutations[0]
        row, column = change.start_pos
        line = lines[row - 1]
        form = line.startswith(RECORD) or line.startswith(BARE, column)
        if not (form or change.operator_name.startswith(UNION)):
            kind = change.operator_name.split("_")[0]
            draw_from.setdefault((change.start_pos, kind), []).append(item)
    one_each = [draw.choice(alike) for alike in draw_from.values()]
    return draw.sample(one_each, min(most, len(one_each)))


def told(module: str, item: WorkItem, result: WorkResult) -> str:
    """Say where a change survived, of which kind it is, and both lines."""
    change = item.mutations[0]
    lines = [
        line
        for line in (result.diff or "").splitlines()
        if line[:1] in {"-", "+"} and not line.startswith(("---", "+++"))
    ]
    return "\n".join([f"{module}:{change.start_pos[0]} {change.operator_name}", *lines])


if __name__ == "__main__":
    main()
