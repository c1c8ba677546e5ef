"""What the drivers cost over the same queries by bare pyvisa.

Run with ``python benchmarks/driver_overhead.py``. On the simulated bench in process,
where an instrument answers in tens of microseconds: a whole reading (frequency set
and read back, wait, reading, both instruments asked whether anything happened and the
generator whether it is set as it was)
against the same messages sent and read through pyvisa alone, and against those that a
program without care would send. Processor time, medians of several runs.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: one core

import statistics
import time
from collections.abc import Callable

from halfpower.analysis import Setting
from halfpower.cli.at_bench import bundled_bench_file
from halfpower.drivers import load_bench_file, open_bench
from halfpower.sim import load_scene, open_visa

SCENE = "kit-coil"
RUNS, READINGS = 15, 1000
WAIT_S = 9e-3
AIM_S = 60e-6


def medians(
    *actions: Callable[[], None], runs: int, readings: int
) -> tuple[float, ...]:
    """Give each action's median processor time for a reading, taken in turns."""
    times: list[list[float]] = [[] for _ in actions]
    for _ in range(runs):
        for taken, action in zip(times, actions, strict=True):
            start = time.process_time()
            for _ in range(readings):
                action()
            taken.append((time.process_time() - start) / readings)
    return tuple(statistics.median(taken) for taken in times)


def measure(runs: int = RUNS, readings: int = READINGS) -> tuple[float, float, float]:
    """Give the seconds for a reading: driver, same messages, fewest messages."""
    bench = load_scene(SCENE).build(seed=1)
    manager = open_visa(bench)
    f0_hz = bench.modes[0].frequency_hz
    path = bundled_bench_file(SCENE)
    with open_bench(
        load_bench_file(path),
        folder=path.parent,
        manager=manager,
        sleep=bench.clock.sleep,
        clock=lambda: bench.clock.now_s,
    ) as opened:
        generator = manager.open_resource(
            bench.resources["generator"],
            read_termination="\n",
            write_termination="\n",
        )
        detector = manager.open_resource(
            bench.resources["detector"], read_termination="\n", write_termination="\n"
        )

        def by_driver() -> None:
            opened.read(Setting(frequency_hz=f0_hz, settle_s=1e-3))

        def bare() -> None:
            generator.write(f"SOURce:FREQuency:CW {f0_hz:.3f}")  # type: ignore[attr-defined] # message-based
            float(generator.query("SOURce:FREQuency:CW?"))  # type: ignore[attr-defined] # message-based
            bench.clock.sleep(WAIT_S)
            float(detector.query("MEASure:VRMS? CHANnel1"))  # type: ignore[attr-defined] # message-based

        def same() -> None:
            bare()
            int(generator.query("*ESR?"))  # type: ignore[attr-defined] # message-based
            int(detector.query("*ESR?"))  # type: ignore[attr-defined] # message-based
            generator.query("OUTPut:STATe?")  # type: ignore[attr-defined] # message-based
            float(generator.query("SOURce:FREQuency:CW?"))  # type: ignore[attr-defined] # message-based
            float(generator.query("SOURce:VOLTage:LEVel:IMMediate:AMPLitude?"))  # type: ignore[attr-defined] # message-based

        with opened.driven():
            by_driver()  # finds its range
            seconds = medians(by_driver, same, bare, runs=runs, readings=readings)
    manager.close()
    return seconds[0], seconds[1], seconds[2]


def main() -> None:
    """Print the table."""
    driver_s, same_s, bare_s = measure()
    over_s = driver_s - same_s
    print(f"{'a reading, median':44}{'us':>8}")
    print(f"{'drivers':44}{driver_s * 1e6:8.1f}")
    print(f"{'bare pyvisa, the same messages':44}{same_s * 1e6:8.1f}")
    print(f"{'bare pyvisa, without the five checks':44}{bare_s * 1e6:8.1f}")
    print(
        f"overhead {over_s * 1e6:.1f} us (aim < {AIM_S * 1e6:.0f}), ratio "
        f"{driver_s / same_s:.2f}; with the five checks counted as overhead "
        f"{(driver_s - bare_s) * 1e6:.1f} us"
    )


if __name__ == "__main__":
    main()
