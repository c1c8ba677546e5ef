"""What the procedures share that put something across a coil's tank."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from ...analysis.quantity import Quantity, Stated
from ...analysis.result import Swept
from ...analysis.tank import CoilPoint, Tank, bound_of, tank_shunt
from ...analysis.uncertainty import values_of
from ..run import (
    USUAL_SELF_CAPACITANCE,
    Arrangement,
    IdentifiedBench,
    KnownCapacitor,
    Span,
    Steps,
    next_span,
    tank_on_bench,
)

__all__ = ["across_f", "attached_span", "bounded", "on_each_capacitor", "tank_with"]

EXACT = Stated(value=0.0)
WIDEST_FALL = 12.0  # of the frequency, where nothing is known of the unknown
ABOVE = 1.08  # of the tank's own resonance: room for the upper flank
SLACK = 2.0  # factor that an expected capacitance may be off by


def tank_with(
    bench: IdentifiedBench,
    *,
    capacitor: KnownCapacitor | None,
    self_capacitance_f: Stated | None,
) -> Tank:
    """Put the bench's constants and what stays across the coil together."""
    return tank_on_bench(
        bench.file,
        capacitor_f=EXACT if capacitor is None else capacitor.capacitance_f,
        capacitor_loss=EXACT if capacitor is None else capacitor.usual_loss,
        self_capacitance_f=self_capacitance_f or USUAL_SELF_CAPACITANCE,
    )


def on_each_capacitor(
    bench: IdentifiedBench,
    span: Span,
    *,
    capacitors: Sequence[KnownCapacitor],
    self_capacitance_f: Stated | None,
    steps: Steps,
    arranged: Callable[[KnownCapacitor, str], Arrangement],
) -> tuple[list[Swept], list[CoilPoint]]:
    """Sweep a coil on one known capacitor after the other.

    `arranged` says how one is put on the fixture, given its place there.
    """
    sweeps: list[Swept] = []
    points: list[CoilPoint] = []
    for number, one in enumerate(capacitors, start=1):
        place = "capacitor" if number == 1 else f"capacitor-{number}"
        swept = steps.sweep(
            arranged(one, place),
            next_span(span, points, one, bench=bench),
            tank=tank_with(bench, capacitor=one, self_capacitance_f=self_capacitance_f),
        )
        sweeps.append(swept)
        points.append(
            CoilPoint(
                step=swept.step,
                capacitor_f=one.capacitance_f,
                capacitor_loss=one.usual_loss,
                found=swept.found,
                capacitor=one.name,
            )
        )
    return sweeps, points


def attached_span(
    span: Span,
    *,
    bench: IdentifiedBench,
    tank: Tank,
    reference: Swept,
    expected_f: float | None,
) -> Span:
    """Give the span that holds the resonance once something was put across the tank."""
    f1 = reference.found.resonant_frequency_hz
    limits = bench.file.limits
    low, high = f1 / WIDEST_FALL, ABOVE * f1
    if expected_f is not None:
        before = across_f(tank, frequency_hz=f1)
        low = f1 / math.sqrt(1.0 + SLACK * expected_f / before) / 1.1
        high = 1.1 * f1 / math.sqrt(1.0 + expected_f / SLACK / before)
    return replace(
        span,
        lowest_hz=max(low, limits.lowest_frequency_hz),
        highest_hz=min(high, limits.highest_frequency_hz),
    )


def bounded(
    deduced: Sequence[Quantity], *, losses: Sequence[str]
) -> tuple[Quantity, ...]:
    """Give those losses that cannot be resolved their 95 % limits."""
    return tuple(
        replace(one, at_most=bound_of(one)) if one.name in losses else one
        for one in deduced
    )


def across_f(tank: Tank, *, frequency_hz: float) -> float:
    """Give what is across a tank at a frequency in Hz, in F."""
    shunt = tank_shunt(values_of(tank), omega=2.0 * math.pi * frequency_hz)
    return float(shunt.capacitance_f)
