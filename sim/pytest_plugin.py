"""Fixtures for other people's tests: a simulated bench, in process or over TCP.

A test marks its scene, and gets the bench, a VISA resource manager that knows its
instruments, or the same instruments over loopback TCP::

    import pytest

    @pytest.mark.simulated_scene("kit-coil", seed=3)
    def test_my_procedure_finds_the_resonance(simulated_bench, simulated_visa):
        names = simulated_bench.resources
        generator = simulated_visa.open_resource(names["generator"])
        generator.write("FREQ 6.8 MHZ;:VOLT 0.1;:OUTP ON")
        simulated_bench.clock.sleep(0.05)
        scope = simulated_visa.open_resource(names["detector"])
        assert 0.01 < float(scope.query("MEAS:VRMS?")) < 0.2

Without the mark the scene is ``kit-coil``, the seed 0. Nothing but pytest is
imported before a fixture is used.
"""

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pyvisa

    from .bench import SimulatedBench
    from .server import ServedBench

__all__ = ["pytest_configure", "simulated_bench", "simulated_tcp", "simulated_visa"]

DEFAULT_SCENE = "kit-coil"


def pytest_configure(config: pytest.Config) -> None:
    """Make the mark known."""
    config.addinivalue_line(
        "markers",
        "simulated_scene(name_or_path, seed=0): the scene of simulated_bench",
    )


@pytest.fixture
def simulated_bench(request: pytest.FixtureRequest) -> "SimulatedBench":
    """Give the bench on the marked scene, with a virtual clock of its own."""
    from .scene_files import load_scene

    mark = request.node.get_closest_marker("simulated_scene")
    arguments = mark.args if mark is not None and mark.args else (DEFAULT_SCENE,)
    seed = mark.kwargs.get("seed", 0) if mark is not None else 0
    bench: SimulatedBench = load_scene(*arguments).build(seed=seed)
    return bench


@pytest.fixture
def simulated_visa(
    simulated_bench: "SimulatedBench",
) -> "Iterator[pyvisa.ResourceManager]":
    """Give a VISA resource manager that knows the bench's instruments."""
    from .visa import open_visa

    manager = open_visa(simulated_bench)
    yield manager
    manager.close()


@pytest.fixture
def simulated_tcp(simulated_bench: "SimulatedBench") -> "Iterator[ServedBench]":
    """Serve the bench's instruments on loopback; gives the resources' names."""
    from .server import serve

    with serve(simulated_bench) as served:
        yield served
