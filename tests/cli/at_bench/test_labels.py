"""What a label may be, and the files that are named after it."""

from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., "Ended"]  # noqa: F821 - conftest's record
SWEEP = ("sweep", "--scene", "kit-coil", "--from", "6MHz", "--to", "9MHz")


def test_a_long_label_makes_a_file_name_that_fits(halfpower: Run) -> None:
    """200 characters of it would leave no room in 255 bytes: 60 are in it."""
    halfpower(*SWEEP, "--target", "5%", "--label", "é" * 100 + "L" * 100)
    (kept,) = Path("halfpower-out").glob("*.csv")
    assert len(kept.name) < 100
    assert f"part: {'é' * 100}{'L' * 100}" in kept.read_text("utf-8")


@pytest.mark.parametrize("label", ["a\rb", "\x07", "x" * 201])
def test_a_label_that_no_list_holds_is_refused_first(
    halfpower: Run, label: str
) -> None:
    """Before anything is driven or written."""
    ended = halfpower(*SWEEP, "--label", label)
    assert ended.status == 2
    assert "--label" in ended.err
    assert not Path("halfpower-out").exists()
