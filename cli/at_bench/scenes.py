"""Load a simulated scene, its mistakes told in the command line's own way."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ...sim import Scene

__all__ = ["scene_named"]


def scene_named(name: str) -> "Scene":
    """Load a bundled scene or a scene file.

    Raises
    ------
    InputError
        There is none, or it has mistakes: all of them, each with its line.
    """
    from ...analysis.errors import InputError
    from ...sim import SceneError, load_scene

    try:
        return load_scene(name)
    except SceneError as error:
        problems = "; ".join(error.problems)
        raise InputError(f"scene {error.path}: {problems}", path=error.path) from error
