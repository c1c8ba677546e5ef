"""Fixtures for whole paths: a bench on a simulated scene, in process or over TCP."""

import resource
import signal
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import hypothesis
import numpy as np
import pytest

from halfpower.analysis import Result, Trace
from halfpower.cli.at_bench import bundled_bench_file
from halfpower.cli.at_bench.attendant import SceneCapacitor
from halfpower.drivers import Bench, load_bench_file, open_bench
from halfpower.sim import SimulatedBench, load_scene, open_visa
from halfpower.sweeps import fit_readings

OpenOnScene = Callable[..., AbstractContextManager[tuple[Bench, SimulatedBench]]]


def pytest_configure() -> None:
    """Make the suite the same wherever it runs.

    Signals that whoever started it ignores (nohup, ``&`` in a script) are heard: what
    the tests start inherits that, and is sent these signals.
    """
    # The same examples every time, and none fails for a slow machine.
    hypothesis.settings.register_profile("steady", deadline=None, derandomize=True)
    hypothesis.settings.load_profile("steady")
    for number in (signal.SIGHUP, signal.SIGINT, signal.SIGQUIT):
        if signal.getsignal(number) is signal.SIG_IGN:
            signal.signal(number, signal.SIG_DFL)
    if signal.getsignal(signal.SIGINT) is signal.SIG_DFL:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture
def room_for() -> Callable[[int], AbstractContextManager[None]]:
    """Let no file grow beyond so many bytes: the system's own limit (setrlimit(2)).

    What does not fit is written in part, as on a disk that fills up.
    """

    @contextmanager
    def limited(size: int) -> Iterator[None]:
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
        try:
            yield
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))

    return limited


@pytest.fixture
def open_on_scene() -> OpenOnScene:
    """Open a bench on a bundled scene, in this process and in the scene's time."""

    @contextmanager
    def opened(
        scene: str = "kit-coil", *, seed: int = 1, bench_file: Path | None = None
    ) -> Iterator[tuple[Bench, SimulatedBench]]:
        simulated = load_scene(scene).build(seed=seed)
        manager = open_visa(simulated)
        path = bench_file or bundled_bench_file(scene)
        file = load_bench_file(path)
        turned = None if file.capacitor is None else SceneCapacitor(simulated)
        try:
            with open_bench(
                file,
                folder=path.parent,
                manager=manager,
                sleep=simulated.clock.sleep,
                clock=lambda: simulated.clock.now_s,
                capacitor=turned,
            ) as bench:
                yield bench, simulated
        finally:
            manager.close()

    return opened


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Let what a test writes without a path land in its own folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def invented_trace() -> Trace:
    """Forty-one readings of an invented tank: 7 MHz, Q = 150, 0.3 % noise."""
    rng = np.random.default_rng(7)
    frequency = 7e6 * (1.0 + np.linspace(-4.0, 4.0, 41) / 300.0)
    x = frequency / 7e6
    amplitude = 0.3 * x / np.sqrt(1.0 + (150.0 * (x - 1.0 / x)) ** 2)
    noisy = amplitude * (1.0 + 0.003 * rng.standard_normal(41))
    return Trace(frequency_hz=frequency, amplitude_v=noisy)


@pytest.fixture(scope="session")
def result() -> Result:
    """The fit of the invented readings."""
    return fit_readings(invented_trace(), exponent=1.0, label="L17", source="invented")
