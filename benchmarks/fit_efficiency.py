"""Compare the fit with the Cramer-Rao bound, and its stated uncertainties with scatter.

    python benchmarks/fit_efficiency.py [--quick] [--seed S]

First the batch fit over every cell of noise, number of readings, span, Q and place of
the grid; then the public fit over the cells that are hardest for it; then the methods
of common use (least squares, a parabola through reciprocal powers, the
half-power points as read) side by side. Noise is the trace's own scatter
throughout: nothing is told to the fit. Wanted: r.m.s. error within 3 % of the bound,
bias below 0.1 of the standard error, stated over observed uncertainty 0.95 to 1.05.
"""

import argparse
import os
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from halfpower.analysis import FitError, Peak, Trace, fit
from halfpower.analysis.fitting.batch.rows import fit_rows
from halfpower.analysis.fitting.half_power import half_power

F0_HZ, HEIGHT_V = 1e6, 1.0
SNRS, COUNTS = (30, 100, 300, 1000), (15, 41, 120, 400)
MOST_RMS, MOST_BIAS, MOST_MISSTATED = 1.03, 0.1, 0.05
SPANS, QS, SHIFTS = (1.5, 3.0, 5.0, 10.0), (10.0, 100.0, 2000.0), (0.0, 0.3)


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One combination: peak over noise, readings, half-bandwidths either way, Q, k."""

    snr: float
    n: int
    span: float
    q_factor: float
    shift: float  # of the grid's centre, in spans
    exponent: float

    @property
    def frequency_hz(self) -> np.ndarray:
        """The grid, even in detuning."""
        q = np.linspace(-self.span, self.span, self.n) + self.shift * self.span
        return F0_HZ * np.exp(np.arcsinh(q / (2.0 * self.q_factor)))

    @property
    def truth(self) -> np.ndarray:
        """Return f0, Q, A."""
        return np.array([F0_HZ, self.q_factor, HEIGHT_V])

    def efficient(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the bound of f0 and Q, and the linear estimator that reaches it.

        Slopes are taken numerically, apart from the package's own. Noise times the
        second, shape (n, 2), is the error of an estimator that knows the truth to
        linearise about: its variance is the Cramer-Rao bound exactly.
        """
        response, truth = Peak(exponent=self.exponent), self.truth
        rows = []
        for i in range(3):
            step = np.zeros(3)
            step[i] = 1e-6 * truth[i] / (self.q_factor if i == 0 else 1.0)
            up = response.amplitude(self.frequency_hz, truth + step)
            down = response.amplitude(self.frequency_hz, truth - step)
            rows.append((up - down) / (2.0 * step[i]))
        j = np.array(rows)
        size = np.sqrt(np.sum(j * j, axis=1))
        unit = j / size[:, None]
        inverse = np.linalg.inv(unit @ unit.T)
        bound = np.sqrt(np.diagonal(inverse)) / size * HEIGHT_V / self.snr
        return bound[:2], ((inverse @ unit) / size[:, None]).T[:, :2]

    def traces(
        self, rng: np.random.Generator, count: int
    ) -> tuple[np.ndarray, np.ndarray]:
        """Draw noisy amplitudes, shape (count, n), and give the noise as well."""
        clean = Peak(exponent=self.exponent).amplitude(self.frequency_hz, self.truth)
        noise = rng.normal(0.0, HEIGHT_V / self.snr, (count, self.n))
        return np.abs(clean + noise), noise

    def __str__(self) -> str:
        return (
            f"SNR {self.snr:5g} N {self.n:3d} span {self.span:4g} "
            f"Q {self.q_factor:5g} shift {self.shift:3g} k {self.exponent:2g}"
        )


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """Ratios for f0 and Q: r.m.s. error to bound, bias to scatter, stated to seen."""

    cell: Cell
    rms: np.ndarray
    bias: np.ndarray
    stated: np.ndarray
    missing: int

    def __str__(self) -> str:
        def pair(a: np.ndarray) -> str:
            return f"{a[0]:7.3f}{a[1]:7.3f}"

        return (
            f"{self.cell} | {pair(self.rms)} | {pair(self.bias)} | {pair(self.stated)}"
            f" | {self.missing}"
        )


def summed(
    cell: Cell, noise: np.ndarray, values: np.ndarray, stated: np.ndarray
) -> Outcome:
    """Reduce estimates and stated uncertainties of f0 and Q, shape (M, 2).

    Both are compared with the efficient linear estimator on the same noise, whose
    bound is known: what is left of chance is that of their difference, a tenth or so.
    """
    fitted = np.isfinite(values).all(axis=1)
    bound, linear = cell.efficient()
    error = (values - cell.truth[:2])[fitted]
    least = (noise @ linear)[fitted]
    luck = np.sqrt(np.mean(least**2, axis=0)) / bound
    scatter = error.std(axis=0) / luck
    return Outcome(
        cell=cell,
        rms=np.sqrt(np.mean(error**2, axis=0)) / bound / luck,
        bias=np.mean(error - least, axis=0) / scatter,
        stated=np.sqrt(np.mean(stated[fitted] ** 2, axis=0)) / scatter,
        missing=int(np.count_nonzero(~fitted)),
    )


def by_batch(cell: Cell, rng: np.random.Generator, count: int) -> Outcome:
    """Measure the batch fit in a cell."""
    traces, noise = cell.traces(rng, count)
    batch = fit_rows(cell.frequency_hz, amplitude_v=traces, exponent=cell.exponent)
    values = np.stack((batch.resonant_frequency_hz, batch.loaded_q), axis=1)
    stated = np.stack((batch.u_resonant_frequency_hz, batch.u_loaded_q), axis=1)
    return summed(cell, noise, values, stated)


def by_fit(cell: Cell, rng: np.random.Generator, count: int) -> Outcome:
    """Measure the public fit in a cell."""
    traces, noise = cell.traces(rng, count)
    table = np.full((count, 4), np.nan)
    for row, amplitude in zip(table, traces, strict=True):
        trace = Trace(frequency_hz=cell.frequency_hz, amplitude_v=amplitude)
        try:
            found = fit(trace, response=Peak(exponent=cell.exponent))
        except FitError:
            continue
        row[:] = (
            found.resonant_frequency_hz,
            found.loaded_q,
            found.u_resonant_frequency_hz,
            found.u_loaded_q,
        )
    return summed(cell, noise, table[:, :2], table[:, 2:])


def cells() -> Iterator[Cell]:
    """Yield every cell."""
    for i, (snr, n, span, q_factor, shift) in enumerate(
        product(SNRS, COUNTS, SPANS, QS, SHIFTS)
    ):
        yield Cell(
            snr=snr,
            n=n,
            span=span,
            q_factor=q_factor,
            shift=shift,
            exponent=(0.0, 1.0, -1.0, 2.0)[i % 4],
        )


def report(title: str, outcomes: list[Outcome]) -> None:
    """Print the worst of each figure and every cell that falls short."""
    rms = np.array([o.rms for o in outcomes])
    bias = np.abs([o.bias for o in outcomes])
    stated = np.array([o.stated for o in outcomes])
    print(f"\n{title}: {len(outcomes)} cells          f0             Q")
    for name, lowest, middle, highest in (
        ("r.m.s. error / bound", rms.min(0), np.median(rms, 0), rms.max(0)),
        ("|bias| / scatter", bias.min(0), np.median(bias, 0), bias.max(0)),
        ("stated / observed", stated.min(0), np.median(stated, 0), stated.max(0)),
    ):
        print(
            f"  {name:22s} least {lowest.round(3)} median {middle.round(3)} "
            f"most {highest.round(3)}"
        )
    short = [
        o
        for o in outcomes
        if o.rms.max() > MOST_RMS
        or np.abs(o.bias).max() > MOST_BIAS
        or np.abs(o.stated - 1.0).max() > MOST_MISSTATED
    ]
    print(f"  cells that fall short: {len(short)}")
    for o in short:
        print(f"    {o}")


def methods(rng: np.random.Generator, count: int) -> None:
    """Print the row N 51, span 4 bandwidths, SNR 30 and 100 of three methods."""
    print("\nQ in %, scatter (bias): N 51 over 4 bandwidths, Q 100")
    for snr in (30, 100, 300):
        cell = Cell(snr=snr, n=51, span=4, q_factor=100, shift=0, exponent=0)
        drawn, _ = cell.traces(rng, count)
        f = cell.frequency_hz
        fitted = fit_rows(f, amplitude_v=drawn).loaded_q
        parabola, read = [], []
        x = (f - F0_HZ) / F0_HZ
        for v in drawn[: count // 10]:
            c = np.polyfit(x, v**-2.0, 2, w=v**3)
            vertex = c[2] - c[1] ** 2 / (4 * c[0])
            parabola.append(0.5 * np.sqrt(c[0] / vertex))
            read.append(half_power(Trace(frequency_hz=f, amplitude_v=v)).loaded_q)
        row = "  ".join(
            f"{name} {np.std(q):.2f} ({np.mean(q) - 100:+.2f})"
            for name, q in (
                ("fit", fitted),
                ("weighted parabola", np.array(parabola)),
                ("half-power points read", np.array(read)),
            )
        )
        print(f"  SNR {snr:4d}: bound {cell.efficient()[0][1]:.2f}  {row}")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a tenth of the trials")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    count = 2_000 if options.quick else 20_000
    print(f"{count} trials a cell")
    report("batch fit", [by_batch(cell, rng, count) for cell in cells()])
    hard = [c for c in cells() if c.snr in (30, 1000) and c.n in (15, 120)]
    hard = [c for c in hard if c.span in (1.5, 10.0)]
    few = 300 if options.quick else 3_000
    print(f"\n{few} trials a cell")
    report("public fit", [by_fit(cell, rng, few) for cell in hard])
    methods(rng, count)


if __name__ == "__main__":
    main()
