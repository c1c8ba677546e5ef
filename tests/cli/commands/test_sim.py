"""`halfpower sim list` and `show`; `serve` is driven in test_interruption.py."""

from collections.abc import Callable
from pathlib import Path

Run = Callable[..., "Ended"]  # noqa: F821 - conftest's record


def test_every_bundled_scene_is_listed_and_shown(halfpower: Run) -> None:
    """A line each, and each can be shown."""
    lines = halfpower("sim", "list").out.splitlines()
    assert len(lines) >= 10
    for line in lines:
        name = line.split()[0]
        ended = halfpower("sim", "show", name)
        assert ended.status == 0
        assert ended.out.startswith(f"{name}: ")


def test_a_scene_files_mistakes_are_all_named_with_their_lines(halfpower: Run) -> None:
    """One sentence, status 2, the nearest known key."""
    Path("mine.toml").write_text(
        'schema = "halfpower.scene/1"\n[generator]\nresorce = "x"\n', encoding="utf-8"
    )
    ended = halfpower("sim", "show", "mine.toml")
    assert ended.status == 2
    assert "line 3" in ended.err
    assert "resource" in ended.err
    assert "detector" in ended.err


def test_an_unknown_scene_is_refused_with_the_known_ones(halfpower: Run) -> None:
    """The sentence lists what there is."""
    ended = halfpower("sim", "serve", "nowhere")
    assert ended.status == 2
    assert "kit-coil" in ended.err
