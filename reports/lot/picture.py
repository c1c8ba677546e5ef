"""Pictures of a lot: histograms against limits, run charts, Q against inductance."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ...analysis.lots import Verdict
from ..result import WORDS
from .findings import Q_NAMES, TESTED, quantity_of
from .tables import scale_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ...analysis.lots import QuantityFigures
    from ...analysis.quantity import FloatArray
    from .findings import LotResult
    from .tables import Scale

__all__ = ["draw_histogram", "draw_run_chart", "draw_scatter"]

# Colours that stay apart for colour-blind eyes and in grey print.
PART, LIMIT, BAND, CHECK = "#1b6ca8", "#2e4057", "#e8c07d", "#3a7d44"
LOOKS = {  # colour and mark, so that neither stands alone for a verdict
    Verdict.ACCEPTED: ("#1b6ca8", "o"),
    Verdict.REJECTED: ("#d1495b", "X"),
    Verdict.UNDECIDED: ("#e0a458", "D"),
    Verdict.UNMEASURED: ("#5c6b7a", "v"),
}
DEFECT = "#7b2d8b"
MANY = 2000  # points; more are drawn as an image within the picture
MOST_NAMED = 12  # defects named in the scatter; all are in the table
MOST_BINS = 60


def draw_histogram(result: LotResult, figures: QuantityFigures) -> Figure:
    """Draw how a quantity is spread, its limits, and the guard band shaded.

    The band is as wide as the lot's median uncertainty makes it; each part was judged
    by its own.
    """
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    figure = Figure(figsize=(7.2, 3.2), layout="constrained")
    axes = figure.subplots()
    scale = scale_of(figures)
    values = figures.column.values[figures.column.known] / scale.by
    low, high = _view(result, figures, scale)
    shown = values[(values >= low) & (values <= high)]
    axes.hist(shown, bins=_bins(shown, low, high), color=PART, alpha=0.85, zorder=2)
    _draw_limits(axes, result, figures, scale, upright=True)
    axes.set_xlim(low, high)
    axes.set_xlabel(_axis(figures, scale))
    axes.set_ylabel("parts")
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))
    beyond = values.size - shown.size
    if beyond:
        axes.set_title(f"{beyond} farther out, not shown", fontsize=9, loc="right")
    axes.ticklabel_format(axis="x", useOffset=False)
    return figure


def draw_run_chart(result: LotResult, figures: QuantityFigures) -> Figure:
    """Draw a quantity in the order measured, with the check standard's readings."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.2, 3.2), layout="constrained")
    axes = figure.subplots()
    scale = scale_of(figures)
    tested = [one for one in result.parts if one.verdict in TESTED]
    values = figures.column.values / scale.by
    place = np.arange(1.0, values.size + 1.0)
    low, high = _view(result, figures, scale)
    for verdict, (colour, mark) in LOOKS.items():
        mine = np.array([one.verdict is verdict for one in tested])
        mine &= np.isfinite(values)
        if mine.any():
            axes.plot(
                place[mine], np.clip(values[mine], low, high), mark, color=colour,
                ms=4, label=verdict.value, rasterized=values.size > MANY, zorder=3,
                clip_on=False,
            )  # fmt: skip
    _draw_suspect(axes, [one.suspect for one in tested])
    _draw_limits(axes, result, figures, scale, upright=False)
    _draw_checks(axes, result, figures, scale)
    axes.set_ylim(low, high)
    axes.set_xlabel("parts in the order measured")
    axes.set_ylabel(_axis(figures, scale))
    axes.ticklabel_format(axis="y", useOffset=False)
    figure.legend(fontsize=8, ncols=3, loc="outside upper center", frameon=False)
    return figure


def draw_scatter(result: LotResult) -> Figure | None:
    """Draw Q against inductance, likely defects named; None without either."""
    inductance = result.figures_of("inductance")
    quality = next(
        (f for name in Q_NAMES if (f := result.figures_of(name)) is not None), None
    )
    if inductance is None or quality is None:
        return None
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.2, 4.2), layout="constrained")
    axes = figure.subplots()
    scale = scale_of(inductance)
    x, y = inductance.column.values / scale.by, quality.column.values
    tested = [one for one in result.parts if one.verdict in TESTED]
    for verdict, (colour, mark) in LOOKS.items():
        mine = np.array([one.verdict is verdict for one in tested])
        if (mine & np.isfinite(x) & np.isfinite(y)).any():
            axes.plot(
                x[mine], y[mine], mark, color=colour, ms=4, label=verdict.value,
                rasterized=x.size > MANY,
            )  # fmt: skip
    _name_defects(axes, result, x=x, y=y)
    axes.set_xlabel(_axis(inductance, scale))
    axes.set_ylabel(_axis(quality, scale_of(quality)))
    axes.ticklabel_format(useOffset=False)
    axes.margins(0.08)
    figure.legend(fontsize=8, ncols=5, loc="outside upper center", frameon=False)
    return figure


def _name_defects(
    axes: Axes, result: LotResult, *, x: FloatArray, y: FloatArray
) -> None:
    shown = [one for one in result.defects if np.isfinite(x[one.index] + y[one.index])]
    if not shown:
        return
    at = [one.index for one in shown]
    axes.plot(
        x[at], y[at], "o", ms=10, mfc="none", color=DEFECT, label="stands apart"
    )  # fmt: skip
    for one in shown[:MOST_NAMED]:
        axes.annotate(
            _short(one.label or str(one.position)),
            (x[one.index], y[one.index]),
            xytext=(7, 4), textcoords="offset points", fontsize=8, color=DEFECT,
            parse_math=False, clip_on=True,
        )  # fmt: skip


def _short(text: str, *, most: int = 24) -> str:
    plain = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
    return plain if len(plain) <= most else f"{plain[: most - 1]}…"


def _axis(figures: QuantityFigures, scale: Scale) -> str:
    name = figures.column.quantity
    word = WORDS.get(name, name)
    return f"{word}, {scale.unit}" if scale.unit else word


def _view(
    result: LotResult, figures: QuantityFigures, scale: Scale
) -> tuple[float, float]:
    """Give the span to show: limits, bands and checks, and the bulk of the parts."""
    values = figures.column.values[figures.column.known]
    middle = float(np.median(values))
    scatter = 1.4826 * float(np.median(np.abs(values - middle))) or figures.sd
    reach = 8.0 * scatter if math.isfinite(scatter) else 0.0
    near = values[np.abs(values - middle) <= max(reach, 1e-9 * abs(middle))]
    ends = [float(near.min()), float(near.max())] if near.size else [middle]
    band = _band(result, figures)
    limits = figures.column.limits
    if limits is not None:
        ends += [one - band for one in (limits.lower,) if one is not None]
        ends += [one + band for one in (limits.upper,) if one is not None]
    margin = 0.06 * (max(ends) - min(ends)) or 0.05 * abs(middle) or 1.0
    return (min(ends) - margin) / scale.by, (max(ends) + margin) / scale.by


def _bins(values: FloatArray, low: float, high: float) -> list[float]:
    if not values.size:
        return [low, high]
    width = 2.0 * float(np.subtract(*np.percentile(values, [75, 25])))
    width /= max(values.size, 1) ** (1.0 / 3.0)  # Freedman and Diaconis 1981
    count = math.ceil((high - low) / width) if width > 0.0 else 20
    edges = np.linspace(low, high, min(max(count, 10), MOST_BINS) + 1)
    return [float(one) for one in edges]


def _band(result: LotResult, figures: QuantityFigures) -> float:
    width = result.held.guard_band.multiple * figures.median_u
    return width if math.isfinite(width) else 0.0


def _draw_limits(
    axes: Axes,
    result: LotResult,
    figures: QuantityFigures,
    scale: Scale,
    *,
    upright: bool,
) -> None:
    limits = figures.column.limits
    if limits is None:
        return
    band = _band(result, figures) / scale.by
    line, span = (
        (axes.axvline, axes.axvspan) if upright else (axes.axhline, axes.axhspan)
    )
    outward = band if result.held.guard_band.undecided_zone else 0.0
    for limit, inward in ((limits.lower, 1.0), (limits.upper, -1.0)):
        if limit is None:
            continue
        at = limit / scale.by
        line(at, color=LIMIT, lw=1.5, zorder=4)
        if band:
            ends = sorted((at + inward * band, at - inward * outward))
            span(ends[0], ends[1], color=BAND, alpha=0.5, lw=0, zorder=1)


def _draw_suspect(axes: Axes, suspect: Sequence[bool]) -> None:
    """Shade the stretches that no good check follows."""
    edges = np.diff(np.concatenate(([0], np.array(suspect, dtype=int), [0])))
    starts, ends = np.flatnonzero(edges > 0), np.flatnonzero(edges < 0)
    for number, (start, end) in enumerate(zip(starts, ends, strict=True)):
        axes.axvspan(
            start + 0.5, end + 0.5, color="#9aa5b1", alpha=0.3, lw=0,
            label="suspect" if number == 0 else None,
        )  # fmt: skip


def _draw_checks(
    axes: Axes, result: LotResult, figures: QuantityFigures, scale: Scale
) -> None:
    """Draw the standard's readings, moved so that their mean is the parts' median."""
    name = figures.column.quantity
    found = [
        (one, quantity.value)
        for one in result.checks
        if (quantity := quantity_of(one, name)) is not None
    ]
    if not found:
        return
    sequences = [one.sequence for one in result.parts if one.verdict in TESTED]
    values = np.array([value for _, value in found])
    known = figures.column.values[figures.column.known]
    offset = float(np.median(known) - np.median(values))
    places = np.searchsorted(sequences, [one.sequence for one, _ in found]) + 0.5
    good = np.array([one.in_control for one, _ in found])
    shown = (values + offset) / scale.by
    label = "check standard, moved to the parts' median"
    axes.plot(places, shown, "-", color=CHECK, lw=0.8)
    axes.plot(places[good], shown[good], "s", color=CHECK, ms=6, label=label)
    if not good.all():
        axes.plot(
            places[~good], shown[~good], "s", mfc="white", color=CHECK, ms=8, mew=2,
            label="check standard, out of control",
        )  # fmt: skip
