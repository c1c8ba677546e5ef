"""A few of what ``benchmarks/hostile_files.py`` does ten thousand times."""

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture
def hostile() -> Iterator[ModuleType]:
    """Load the benchmark."""
    path = Path(__file__).parents[2] / "benchmarks" / "hostile_files.py"
    spec = importlib.util.spec_from_file_location("hostile_files", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["hostile_files"] = module  # its dataclasses look themselves up
    spec.loader.exec_module(module)
    yield module
    del sys.modules["hostile_files"]


@pytest.mark.filterwarnings("ignore")  # numpy's own about numbers beyond sense
@pytest.mark.parametrize("what", ["files", "options"])
def test_nothing_does_worse_than_be_refused(hostile: ModuleType, what: str) -> None:
    """No foreign exception, no other status, no hang, no sentence without an end."""
    tallies = getattr(hostile, f"try_{what}")(36, 3)
    found = {
        name: (*one.foreign, *one.hung, *one.long) for name, one in tallies.items()
    }
    assert not any(found.values()), found
    assert sum(sum(one.statuses.values()) for one in tallies.values()) > 36


def test_a_fault_would_be_found(
    hostile: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The check above can fail: a reader that lets its parser's error through."""

    def careless(*_: object, **__: object) -> None:
        raise RecursionError("deep")

    monkeypatch.setattr("halfpower.records.files.readings._table", careless)
    tally = hostile.try_files(0, 3)["readings"]
    assert "RecursionError: deep" in tally.foreign[0]
