"""A bench that obeys circuit theory, behind VISA.

``load_scene("kit-coil").build(seed=1)`` sets up a generator, a detector and a
fixture with parts in it; ``open_visa(bench)`` gives a VISA resource manager in the
same process, ``serve(bench)`` the same instruments over TCP. The bench keeps its
own time, and ``bench.truth`` says what a measurement ought to find.
"""

from typing import TYPE_CHECKING, Any

from .clock import Clock, RealClock, SceneClock
from .errors import SceneError

if TYPE_CHECKING:
    from .bench import SimulatedBench
    from .describe import describe_scene, scene_titles
    from .scene_files import Scene, bundled_scenes, load_scene
    from .server import ServedBench, serve
    from .visa import open_visa

__all__ = [
    "Clock",
    "RealClock",
    "Scene",
    "SceneClock",
    "SceneError",
    "ServedBench",
    "SimulatedBench",
    "bundled_scenes",
    "describe_scene",
    "load_scene",
    "open_visa",
    "scene_titles",
    "serve",
]

# numpy, pydantic and pyvisa come with these, so they come when they are asked for
_HOMES = {
    "Scene": "scene_files",
    "ServedBench": "server",
    "SimulatedBench": "bench",
    "bundled_scenes": "scene_files",
    "describe_scene": "describe",
    "load_scene": "scene_files",
    "open_visa": "visa",
    "scene_titles": "describe",
    "serve": "server",
}


def __getattr__(name: str) -> Any:
    """Import what is asked for (PEP 562)."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f".{_HOMES[name]}", __name__), name)
