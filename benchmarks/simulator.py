"""How fast the simulated bench is: readings, circuits, a lot of parts.

Run with ``python benchmarks/simulator.py``; every figure is a median of several
runs on one core, in processor time, so that a busy machine tells much the same.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: one core
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import statistics
import time
from collections.abc import Callable

import numpy as np

from halfpower.sim import load_scene, open_visa

RUNS = 9
READINGS = 2000
FREQUENCIES = 10_000
PARTS = 200
READINGS_PER_PART = 24


def median_seconds(action: Callable[[], object], runs: int = RUNS) -> float:
    """Give the median processor time of several runs."""
    times = []
    for _ in range(runs):
        start = time.process_time()
        action()
        times.append(time.process_time() - start)
    return statistics.median(times)


def readings_per_second(scene: str, query: str, *settings: str) -> float:
    """Set a frequency and query the detector, through the whole VISA path."""
    bench = load_scene(scene).build(seed=1)
    manager = open_visa(bench)
    generator = manager.open_resource(bench.resources["generator"])
    detector = manager.open_resource(bench.resources["detector"])
    generator.write("POW 0;:OUTP ON")
    for setting in settings:
        detector.write(setting)
    f0_hz = bench.modes[0].frequency_hz
    wait_s = 0.05

    def run() -> None:
        for i in range(READINGS):
            generator.write(f"FREQ {f0_hz * (0.98 + 2e-5 * i):.2f}")
            bench.clock.sleep(wait_s)
            detector.query(query)

    seconds = median_seconds(run)
    manager.close()
    return READINGS / seconds


def circuit_seconds(scene: str) -> float:
    """Solve a scene's circuit at many frequencies at once."""
    circuit = load_scene(scene).build(seed=1).circuit
    frequency_hz = np.geomspace(1e5, 1e8, FREQUENCIES)
    return median_seconds(lambda: circuit.transfer(frequency_hz), 21)


def lot_ratio() -> tuple[float, float, float]:
    """Measure a lot at a person's pace: the bench's seconds, ours, their ratio."""
    bench = load_scene("choke-lot").build(seed=1)
    manager = open_visa(bench)
    generator = manager.open_resource(bench.resources["generator"])
    detector = manager.open_resource(bench.resources["detector"])
    generator.write("POW 0;:OUTP ON")
    detector.write("CHAN1:SCAL 0.2")
    start_s, start = bench.clock.now_s, time.process_time()
    for number in range(1, PARTS + 1):
        bench.insert_part(number)
        for frequency_hz in np.linspace(1.1e6, 1.3e6, READINGS_PER_PART):
            generator.write(f"FREQ {frequency_hz:.2f}")
            bench.clock.sleep(0.02)
            detector.query("MEAS:VRMS?")
    virtual_s, our_s = bench.clock.now_s - start_s, time.process_time() - start
    manager.close()
    return virtual_s, our_s, virtual_s / our_s


def main() -> None:
    """Print the table."""
    rows = [
        ("readings/s, scope", readings_per_second("kit-coil", "MEAS:VRMS?"), 10_000.0),
        (
            "readings/s, power meter",
            readings_per_second("kit-coil-power", "MEAS:POW?"),
            10_000.0,
        ),
        (
            "readings/s, voltmeter",
            readings_per_second("kit-coil-voltmeter", "MEAS:VOLT:AC?"),
            10_000.0,
        ),
    ]
    print(f"{'':34}{'median':>12}{'aim':>12}")
    for name, value, aim in rows:
        print(f"{name:34}{value:12.0f}{aim:12.0f}")
    for scene in ("kit-coil", "mica-capacitor"):
        milliseconds = 1e3 * circuit_seconds(scene)
        name = f"circuit, 10 000 frequencies, ms ({scene})"
        print(f"{name:34}{milliseconds:8.1f}{'< 20':>12}")
    virtual_s, our_s, ratio = lot_ratio()
    print(
        f"lot of {PARTS}: {virtual_s:.0f} s on the bench in {our_s:.2f} s, "
        f"{ratio:.0f} times real time (aim 100)"
    )


if __name__ == "__main__":
    main()
