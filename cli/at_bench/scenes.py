"""Load a simulated scene, its mistakes told in the command line's own way."""

from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from ...sim import Scene
    from ...sim.bench import SimulatedBench
    from ...sim.instruments import Clock

__all__ = ["scene_built", "scene_named"]

MOST_NAMED = 10  # mistakes in one sentence


def scene_named(name: str) -> "Scene":
    """Load a bundled scene or a scene file.

    Raises
    ------
    InputError
        There is none, or it has mistakes: all of them, each with its line.
    """
    from ...sim import load_scene

    with _told():
        return load_scene(name)


def scene_built(
    name: str, *, seed: int, clock: "Clock | None" = None
) -> "SimulatedBench":
    """Load a scene and draw its bench.

    Raises
    ------
    InputError
        As `scene_named`, or what the seed draws cannot be built.
    """
    scene = scene_named(name)
    with _told():
        return scene.build(seed=seed, clock=clock)


@contextmanager
def _told() -> "Iterator[None]":
    from ...analysis.errors import InputError
    from ...sim import SceneError

    try:
        yield
    except SceneError as error:
        listed = error.problems[:MOST_NAMED]
        more = len(error.problems) - len(listed)
        problems = "; ".join([*listed, *([f"and {more} more"] if more else [])])
        raise InputError(f"scene {error.path}: {problems}", path=error.path) from error
