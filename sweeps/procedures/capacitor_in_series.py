"""A capacitor in series with the work coil, in the place of a strap."""

import math
from dataclasses import replace

from ...analysis.errors import InputError
from ...analysis.fitting import fit
from ...analysis.fitting.curves import Peak
from ...analysis.quantity import Stated
from ...analysis.result import Swept
from ...analysis.tank import (
    SERIES,
    Tank,
    exponent_in_series,
    highest_rise_in_series,
)
from ...drivers.bench import BenchFile
from ..errors import EdgeError, NoResonanceError
from ..plan import trace_of
from ..run import EXPONENTS, Arrangement, IdentifiedBench, Span, Steps, resonance_of
from .work_coil import across_f

__all__ = ["refuse_small", "sweep_in_series"]

ACROSS = "measure it across the tank (--method parallel)"
ROOM = 1.1  # above the highest resonance, for its upper flank
SURE = 2.0  # standard uncertainties of what is expected


def refuse_small(
    bench: IdentifiedBench, span: Span, *, tank: Tank, expected_f: Stated
) -> None:
    """Refuse a part that is expected too small for this, before anything is read.

    Raises
    ------
    InputError
        Its resonance in series could not be fitted, or driven.
    """
    f1 = math.sqrt(span.lowest_hz * span.highest_hz)
    least_f = _least_f(bench.file, tank=tank, alone_hz=f1)
    if expected_f.value + SURE * expected_f.u < least_f:
        raise InputError(
            f"{_in_pf(expected_f.value)} expected is too small to be measured in "
            f"series with the coil: with {_in_pf(across_f(tank, frequency_hz=f1))} "
            f"across it that serves from about {_in_pf(least_f)} up; {ACROSS}"
        )


def sweep_in_series(
    bench: IdentifiedBench,
    span: Span,
    *,
    steps: Steps,
    fitted: tuple[str, ...],
    tank: Tank,
    reference: Swept,
) -> Swept:
    """Sweep with the unknown in series with the coil.

    Raises
    ------
    NoResonanceError
        There is none; or it is too high, the part too small.
    SweepError, GuardError, SettingError, DriverError
        See `halfpower.sweeps.run.Steps.sweep`.
    """
    f1 = reference.found.resonant_frequency_hz
    limits = bench.file.limits
    rise = highest_rise_in_series(fixture=EXPONENTS[bench.file.fixture.kind])
    about = _in_pf(_least_f(bench.file, tank=tank, alone_hz=f1))
    try:
        series = steps.sweep(
            Arrangement(
                step=SERIES,
                instruction="Take the unknown off the tank, take out the strap at the "
                "coil's cold end, and put the unknown in its place.",
                fitted=(*(one for one in fitted if one != "strap"), "unknown@series"),
                hookup="capacitor-series",
            ),
            replace(
                span,
                lowest_hz=max(0.9 * f1, limits.lowest_frequency_hz),
                highest_hz=min(ROOM * rise * f1, limits.highest_frequency_hz),
            ),
            tank=tank,
            without_hz=f1,
        )
    except (EdgeError, NoResonanceError) as error:
        raise NoResonanceError(
            "with the unknown in series with the coil there is no resonance to "
            f"measure: the part is below about {about}, too small for that (then "
            f"{ACROSS}), or open, or far too lossy; {error}"
        ) from error
    f2 = series.found.resonant_frequency_hz
    if f2 > rise * f1:
        raise NoResonanceError(
            f"with the unknown in series with the coil the tank resonates at "
            f"{f2 / 1e6:.6g} MHz: the part is below about {about}, too small for that; "
            f"{ACROSS}"
        )
    return _fitted_in_series(bench.file, reference=reference, series=series, tank=tank)


def _least_f(file: BenchFile, *, tank: Tank, alone_hz: float) -> float:
    """Give the least capacitance in F that resonates low enough in series.

    The coil with its own C shows w L/(1 - y), y = w^2 L C, and the rest of the tank
    T - C. Both resonances, a rise m apart, give without losses

        1/Cx = m^2/(T - m^2 C) - 1/(T - C).
    """
    highest_hz = file.limits.highest_frequency_hz / ROOM
    rise = highest_rise_in_series(fixture=EXPONENTS[file.fixture.kind])
    squared = min(rise, highest_hz / alone_hz) ** 2
    across, own = across_f(tank, frequency_hz=alone_hz), tank.self_capacitance_f.value
    if across <= squared * own:
        return 0.0  # the coil by itself does not go so high
    inverse = squared / (across - squared * own) - 1.0 / (across - own)
    return 1.0 / inverse if inverse > 0.0 else math.inf


def _in_pf(farad: float) -> str:
    """Write a capacitance in pF."""
    return f"{farad * 1e12:.3g} pF"


def _fitted_in_series(
    file: BenchFile, *, tank: Tank, reference: Swept, series: Swept
) -> Swept:
    """Fit the series sweep with its own exponent."""
    rise = series.found.resonant_frequency_hz / reference.found.resonant_frequency_hz
    exponent = exponent_in_series(rise=rise, fixture=EXPONENTS[file.fixture.kind])
    used = [series.readings[index] for index in series.used]
    found = fit(trace_of(used), response=Peak(exponent=exponent))
    return replace(series, found=found, quantities=resonance_of(found, tank=tank))
