"""A measurement of several resonances as small pictures side by side."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ...analysis.fitting import Abscissa
from .summary import SCALES, quantity_rows

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ...analysis.result import Result, Swept

__all__ = ["draw_panels", "results_line"]

READING, FITTED, HALF = "#1b6ca8", "#d1495b", "#2e4057"
VIEW = 4.0  # half-bandwidths shown on each side where the readings reach so far
MOST_COLUMNS = 3
WIDTH, HEIGHT = 3.4, 3.0  # of a panel, in inches
LEAST_WIDTH = 5.6
ALIKE = 4.0  # peaks that differ by less share a scale
MOST_TOLD = 3  # quantities in the line below the title


def draw_panels(result: Result) -> Figure:
    """Draw each sweep in a panel of its own: readings, curve, half-power level.

    Every panel has its own abscissa; the amplitude is on one scale for all where the
    peaks are not too different, so that a loss shows as a lower and wider peak.
    """
    from matplotlib.figure import Figure

    sweeps = result.evidence.sweeps
    columns = min(len(sweeps), MOST_COLUMNS)
    rows = math.ceil(len(sweeps) / columns)
    figure = Figure(
        figsize=(max(WIDTH * columns, LEAST_WIDTH), HEIGHT * rows + 0.4),
        layout="constrained",
    )
    peaks = [one.found.amplitude_v for one in sweeps]
    alike = max(peaks) < ALIKE * min(peaks)
    grid = figure.subplots(rows, columns, squeeze=False, sharey=alike)
    scale, unit = (1.0, "V") if max(peaks) >= 1.0 else (1e3, "mV")
    for axes, swept in zip(grid.flat, sweeps, strict=False):
        _draw(axes, swept, scale=scale)
        axes.set_ylim(bottom=0.0, top=None if alike else 1.15 * axes.get_ylim()[1])
    for axes in grid.flat[len(sweeps) :]:
        axes.set_axis_off()
    for axes in grid[:, 0]:
        axes.set_ylabel(f"detector, {unit}")
    return figure


def results_line(result: Result) -> str:
    """Give the result's own quantities in one line."""
    told = []
    for row in quantity_rows(result)[:MOST_TOLD]:
        doubt = f" ± {row.doubt}" if row.doubt else ""
        told.append(f"{row.name} {row.value}{doubt} {row.unit}".rstrip())
    return ", ".join(told)


def _draw(axes: Axes, swept: Swept, *, scale: float) -> None:
    found = swept.found
    by, unit = SCALES[found.abscissa]
    by_dial = found.abscissa is Abscissa.CAPACITANCE
    used = np.array(swept.used, dtype=np.intp)
    abscissa = swept.settings
    amplitude = np.array([one.amplitude_v for one in swept.readings])[used]
    centre, half = found.centre, found.half_width
    low = max(abscissa.min(), centre - VIEW * half)
    high = min(abscissa.max(), centre + VIEW * half)
    margin = 0.05 * (high - low)
    curve = np.linspace(low - margin, high + margin, 400)
    axes.plot(curve / by, found.amplitude_at(curve) * scale, color=FITTED, lw=1.5)
    axes.plot(abscissa / by, amplitude * scale, "o", ms=4, mfc="none", color=READING)
    out = list(found.refused)
    axes.plot(abscissa[out] / by, amplitude[out] * scale, "x", ms=7, color=HALF)
    level = found.amplitude_v * math.sqrt(0.5) * scale
    axes.plot(
        [(centre - half) / by, (centre + half) / by], [level, level], "-D", ms=4,
        lw=1.0, color=HALF,
    )  # fmt: skip
    axes.set_xlim((low - margin) / by, (high + margin) / by)
    axes.set_title(swept.step or "first", fontsize=10, parse_math=False)
    axes.set_xlabel(f"{'dial' if by_dial else 'frequency'}, {unit}")
    axes.text(
        0.97,
        0.96,
        f"half-width {half / by:.4g} {unit}" if by_dial
        else f"Q = {found.loaded_q:.4g}",
        transform=axes.transAxes, ha="right", va="top", fontsize=8,
    )  # fmt: skip
    axes.ticklabel_format(useOffset=False)
    axes.locator_params(axis="x", nbins=5)
