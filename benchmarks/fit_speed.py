"""Time the fit: one public fit, and the batch against a loop over scipy's curve_fit.

    python benchmarks/fit_speed.py [--quick]

One thread, the same traces, medians of repeated runs, the ratio within this run.
"""

import argparse
import os
import time
import tracemalloc
from collections.abc import Callable

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from scipy.optimize import curve_fit

from halfpower.analysis import LeakyPeak, Peak, PeakOnFloor, Trace, fit
from halfpower.analysis.fitting.batch.rows import fit_rows
from halfpower.analysis.fitting.resonance import AUTO

F0_HZ, Q_FACTOR, HEIGHT_V, N, SNR = 7.1e6, 120.0, 0.4, 61, 100


def median_time(action: Callable[[], object], repeats: int) -> float:
    """Return the median time of an action in s."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return float(np.median(times))


def lorentzian(f: np.ndarray, f0: float, q: float, a: float) -> np.ndarray:
    """Return the amplitude that curve_fit is given."""
    x = f / f0
    return a / np.sqrt(1.0 + (q * (x - 1.0 / x)) ** 2)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer traces")
    options = parser.parse_args()
    count = 8_000 if options.quick else 40_000
    rng = np.random.default_rng(1)
    f = F0_HZ * (1.0 + (np.linspace(-5, 5, N) + 0.7) / (2.0 * Q_FACTOR))
    start = (F0_HZ, Q_FACTOR, HEIGHT_V)
    clean = lorentzian(f, *start)
    traces = clean + rng.normal(0.0, HEIGHT_V / SNR, (count, N))

    print(f"one public fit of {N} readings, median of 300")
    for name, response in (
        ("peak", Peak()),
        ("peak, k = 1", Peak(exponent=1.0)),
        ("peak on a floor", PeakOnFloor()),
        ("peak with leakage", LeakyPeak()),
        ("left to the readings", AUTO),
    ):
        rows = iter(np.tile(traces, (1, 1))[:400])
        fit(Trace(frequency_hz=f, amplitude_v=next(rows)), response=response)
        seconds = median_time(
            lambda rows=rows, response=response: fit(
                Trace(frequency_hz=f, amplitude_v=next(rows)), response=response
            ),
            300,
        )
        print(f"  {name:22s} {1e3 * seconds:6.2f} ms")

    loop_count = count // 10  # the loop is the same for every trace: a tenth tells

    def loop() -> np.ndarray:
        return np.array(
            [curve_fit(lorentzian, f, row, p0=start)[0] for row in traces[:loop_count]]
        )

    batch = fit_rows(f, amplitude_v=traces)
    batch_s = median_time(lambda: fit_rows(f, amplitude_v=traces), 5) / count
    loop_s = median_time(loop, 3) / loop_count
    print(f"\n{count} traces of {N} readings, one thread")
    print(f"  batch       {1e6 * batch_s:8.2f} us a trace")
    print(f"  curve_fit   {1e6 * loop_s:8.2f} us a trace (timed on {loop_count})")
    print(f"  ratio       {loop_s / batch_s:8.1f} (at least 50 wanted)")
    theirs = loop()[:, 1]
    ours = batch.loaded_q[:loop_count]
    for name, q in (("batch", ours), ("curve_fit", theirs)):
        rms = float(np.sqrt(np.mean((q - Q_FACTOR) ** 2)))
        print(f"  r.m.s. error of Q, {name:10s} {100 * rms / Q_FACTOR:.4f} %")

    print("\nmemory beyond inputs and outputs, by number of traces")
    for m in (count // 8, count):
        tracemalloc.start()
        result = fit_rows(f, amplitude_v=traces[:m])
        now, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        print(f"  {m:6d} traces {(peak - now) / 1e6:7.2f} MB ({result.fitted.sum()})")


if __name__ == "__main__":
    main()
