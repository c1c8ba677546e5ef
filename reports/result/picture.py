"""The picture of a resonance: readings, fit, half-power points, residuals."""

from __future__ import annotations

import warnings
from importlib.util import find_spec
from typing import IO, TYPE_CHECKING, Any, Literal

import numpy as np

from ...analysis.fitting import Abscissa
from ...analysis.quantity import format_quantity
from ...records import whole_file
from ..errors import ReportError
from .summary import heading

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ...analysis.fitting import ResonanceFit
    from ...analysis.quantity import FloatArray
    from ...analysis.result import Result

__all__ = ["check_picture", "draw", "save_figure", "save_picture"]

# Colours that stay apart for colour-blind eyes and in grey print.
READING, FITTED, HALF, OTHER = "#1b6ca8", "#d1495b", "#2e4057", "#9aa5b1"
VIEW = 5.5  # half-bandwidths shown on each side where the readings reach so far
NO_LIBRARY = "pictures need matplotlib: pip install 'halfpower[report]'"
FORMATS = {".png", ".svg", ".pdf"}


def save_picture(result: Result, path: Path, *, overwrite: bool = False) -> None:
    """Draw a result and save it as PNG, SVG or PDF, by the path's ending.

    Raises
    ------
    InputError
        The file is there already (and `overwrite` is not said), or cannot be written.
    ReportError
        Another ending, or no drawing library.
    """
    check_picture(path)
    figure = draw(result)
    with whole_file(path, overwrite=overwrite) as file:
        save_figure(figure, file, kind=path.suffix.lower().removeprefix("."))


def check_picture(path: Path) -> None:
    """See that a picture of this name could be drawn.

    Raises
    ------
    ReportError
        Its ending is not one of the formats, or there is no drawing library.
    """
    if path.suffix.lower() not in FORMATS:
        raise ReportError(
            f"a picture's name must end in {', '.join(sorted(FORMATS))}, "
            f"not {path.name!r}"
        )
    if find_spec("matplotlib") is None:
        raise ReportError(NO_LIBRARY)


def _undated(suffix: str) -> dict[str, None]:
    """Leave the date out: the same result gives the same file."""
    return {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}.get(suffix, {})


def draw(result: Result) -> Figure:
    """Draw a result's readings, the fitted curve, half-power points and residuals.

    Raises
    ------
    ReportError
        The drawing library is not installed.
    """
    try:
        from matplotlib.figure import Figure
    except ImportError as error:
        raise ReportError(NO_LIBRARY) from error
    sweeps = result.evidence.sweeps
    if len(sweeps) > 1 or sweeps[0].found.abscissa is not Abscissa.FREQUENCY:
        from .panels import draw_panels, results_line

        figure = draw_panels(result)
        _head(figure, result, below=results_line(result))
        return figure
    figure = Figure(figsize=(9.0, 5.2), layout="constrained")
    grid = figure.add_gridspec(2, 2, width_ratios=(2.6, 1.0), height_ratios=(3.0, 1.0))
    peak = figure.add_subplot(grid[0, 0])
    residual = figure.add_subplot(grid[1, 0], sharex=peak)
    whole = figure.add_subplot(grid[:, 1])
    frequency, amplitude, used = _columns(result)
    _draw_peak(peak, result, frequency=frequency, amplitude=amplitude, used=used)
    _draw_residuals(residual, result, frequency=frequency, used=used)
    _draw_whole(whole, result, frequency=frequency, amplitude=amplitude, used=used)
    _head(figure, result)
    return figure


def _head(figure: Figure, result: Result, *, below: str = "") -> None:
    # A label is text, whatever it looks like: no formula between dollar signs.
    text = _drawable(heading(result))
    figure.suptitle(
        f"{text}\n{below}" if below else text,
        fontsize=10 if below else 12,
        fontweight="bold",
        parse_math=False,
    )


def save_figure(figure: Figure, target: IO[Any], *, kind: str) -> None:
    """Save a figure so that the same figure gives the same bytes.

    Parameters
    ----------
    figure
        From `draw`.
    target
        A file of bytes, or a buffer of text for SVG.
    kind
        ``png``, ``svg`` or ``pdf``.
    """
    from matplotlib import rc_context

    with rc_context({"svg.hashsalt": "halfpower"}), warnings.catch_warnings():
        # A label in a script that the font lacks is drawn as boxes; that is all.
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from font")
        figure.savefig(target, format=kind, dpi=140, metadata=_undated(f".{kind}"))


def _drawable(text: str) -> str:
    """Replace what is no character to draw: controls, halves of surrogate pairs."""
    return "".join(
        c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text
    )


def _columns(result: Result) -> tuple[FloatArray, FloatArray, FloatArray]:
    swept = result.evidence.sweeps[0]
    readings = swept.readings
    frequency = np.array([reading.frequency_hz for reading in readings]) / 1e6
    amplitude = np.array([reading.amplitude_v for reading in readings])
    return frequency, amplitude, np.array(swept.used, dtype=np.intp)


def _draw_peak(
    axes: Axes,
    result: Result,
    *,
    frequency: FloatArray,
    amplitude: FloatArray,
    used: FloatArray,
) -> None:
    found = result.evidence.sweeps[0].found
    low, high = _view_mhz(found, frequency[used])
    curve_mhz = np.linspace(low, high, 600)
    scale, unit = _volts(found.amplitude_v)
    curve = found.amplitude_at(curve_mhz * 1e6) * scale
    axes.plot(curve_mhz, curve, color=FITTED, lw=1.6, label="fit")
    axes.plot(
        frequency[used],
        amplitude[used] * scale,
        "o",
        ms=4.5,
        mfc="none",
        color=READING,
        label=f"readings ({used.size})",
    )
    if found.refused:
        out = used[list(found.refused)]
        axes.plot(
            frequency[out],
            amplitude[out] * scale,
            "x",
            ms=7,
            color=HALF,
            label=f"refused ({out.size})",
        )
    _draw_half_power(axes, result, scale=scale)
    axes.set_xlim(low, high)
    axes.set_ylim(bottom=0.0)
    axes.set_ylabel(f"detector, {unit}")
    axes.ticklabel_format(useOffset=False)
    axes.tick_params(labelbottom=False)
    _say_facts(axes, result, at_top=found.response.is_peak)


def _view_mhz(found: ResonanceFit, frequency: FloatArray) -> tuple[float, float]:
    """Choose what to show of the readings' frequencies, with a margin."""
    half_mhz = found.bandwidth_hz / 2e6
    centre = found.resonant_frequency_hz / 1e6
    low = max(frequency.min(), centre - VIEW * half_mhz)
    high = min(frequency.max(), centre + VIEW * half_mhz)
    margin = 0.04 * (high - low)
    return low - margin, high + margin


def _say_facts(axes: Axes, result: Result, *, at_top: bool) -> None:
    # A notch leaves its corners free at the bottom, a peak at the top.
    corner: Literal["upper left", "lower left"] = (
        "upper left" if at_top else "lower left"
    )
    axes.legend(loc=corner, frameon=False, fontsize=9)
    axes.text(
        0.985,
        0.96 if at_top else 0.04,
        _facts(result),
        transform=axes.transAxes,
        ha="right",
        va="top" if at_top else "bottom",
        fontsize=9,
        linespacing=1.5,
    )


def _draw_half_power(axes: Axes, result: Result, *, scale: float) -> None:
    direct = result.evidence.sweeps[0].found.half_power
    if direct is None:
        return
    level = direct.peak_v * np.sqrt(0.5) * scale
    points = (direct.lower / 1e6, direct.upper / 1e6)
    axes.plot(points, (level, level), "-", color=HALF, lw=1.0)
    axes.plot(
        points,
        (level, level),
        "D",
        ms=5,
        color=HALF,
        label="half-power points",
    )


def _facts(result: Result) -> str:
    lines = []
    for name, symbol in (
        ("resonant_frequency", "f₀"),
        ("loaded_q", "loaded Q"),
        ("unloaded_q", "unloaded Q"),
        ("inductance", "L"),
    ):
        try:
            quantity = result[name]
        except KeyError:
            continue
        low, high = quantity.limits
        value, doubt, unit = format_quantity(
            quantity.value,
            u=max(high - quantity.value, quantity.value - low),
            unit=quantity.unit,
        )
        lines.append(f"{symbol} = {value} ± {doubt} {unit}".rstrip())
    return "\n".join([*lines, "(± covers 95 %)"])


def _draw_residuals(
    axes: Axes, result: Result, *, frequency: FloatArray, used: FloatArray
) -> None:
    found = result.evidence.sweeps[0].found
    per_cent = 100.0 * found.residual_v / found.amplitude_v
    keep = np.ones(used.size, dtype=bool)
    keep[list(found.refused)] = False
    axes.axhline(0.0, color=FITTED, lw=1.0)
    axes.plot(frequency[used][keep], per_cent[keep], "o", ms=3.5, color=READING)
    limit = 1.25 * max(float(np.abs(per_cent[keep]).max()), 1e-6)
    axes.set_ylim(-limit, limit)
    axes.set_ylabel("residual,\n% of peak")
    axes.set_xlabel("frequency, MHz")


def _draw_whole(
    axes: Axes,
    result: Result,
    *,
    frequency: FloatArray,
    amplitude: FloatArray,
    used: FloatArray,
) -> None:
    found = result.evidence.sweeps[0].found
    rest = np.setdiff1d(np.arange(frequency.size), used)
    reference = found.amplitude_v
    level = 20.0 * np.log10(np.maximum(amplitude, 1e-6 * reference) / reference)
    curve_mhz = np.union1d(
        np.geomspace(frequency.min(), frequency.max(), 600),
        found.resonant_frequency_hz / 1e6
        + found.bandwidth_hz / 1e6 * np.linspace(-4, 4, 81),
    )
    curve_mhz = curve_mhz[
        (curve_mhz >= frequency.min()) & (curve_mhz <= frequency.max())
    ]
    curve = np.maximum(found.amplitude_at(curve_mhz * 1e6) / reference, 1e-6)
    axes.plot(curve_mhz, 20.0 * np.log10(curve), color=FITTED, lw=1.0)
    axes.plot(frequency[rest], level[rest], "o", ms=3.0, color=OTHER, label="search")
    axes.plot(frequency[used], level[used], "o", ms=3.0, color=READING, mfc="none")
    axes.set_title("everything read", fontsize=10)
    axes.set_ylabel("level against the peak, dB")
    axes.set_xlabel("frequency, MHz")
    if rest.size:
        axes.legend(loc="upper right", frameon=False, fontsize=9)


def _volts(amplitude_v: float) -> tuple[float, str]:
    """Choose a factor and a unit in which the peak reads well."""
    for factor, unit in ((1.0, "V"), (1e3, "mV")):
        if amplitude_v * factor >= 1.0:
            return factor, unit
    return 1e6, "µV"
