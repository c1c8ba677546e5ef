"""Measure a coil on a known capacitor."""

import math
from dataclasses import dataclass

from ..analysis.coil import COIL_UNITS, deduce_coil
from ..analysis.corrected import measured_pair
from ..analysis.errors import InputError
from ..analysis.outcome import cautions_of, quantities_of
from ..analysis.propagate import Deduced
from ..analysis.quantities import format_quantity
from ..analysis.result import Caution, Result
from ..analysis.stated import Stated
from .on_bench import (
    IdentifiedBench,
    Span,
    collect_evidence,
    sweep_tank,
    tank_on_bench,
    target_cautions,
)
from .sink import NullSink, Sink

__all__ = ["KnownParts", "expected_span", "measure_coil"]

# A single-layer coil of 1 to 5 cm diameter has 0.46 to 0.8 pF per cm (Medhurst 1947,
# table); a small one on a form a little more or less.
USUAL_SELF_CAPACITANCE = Stated.within(2.5e-12, half_width=2e-12)
# Mica and low-loss ceramic: common practice, no published source.
USUAL_CAPACITOR_LOSS = Stated.within(2.5e-4, half_width=2.5e-4)
DOUBTFUL_Q = 1.0 / 3.0  # relative uncertainty from which Q is hardly a value


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownParts:
    """What is known besides the fixture.

    Attributes
    ----------
    capacitor_f
        The resonating capacitor in F.
    capacitor_loss
        Its dissipation factor at the frequency; None: that of a good one.
    self_capacitance_f
        The coil's, in F; None: that of a usual single-layer coil.
    """

    capacitor_f: Stated
    capacitor_loss: Stated | None = None
    self_capacitance_f: Stated | None = None

    def __post_init__(self) -> None:
        """Refuse parts that cannot be."""
        if self.capacitor_f.value <= 0.0:
            raise InputError(
                f"a resonating capacitor of {self.capacitor_f.value:g} F cannot be; "
                "state its capacitance"
            )
        loss = self.capacitor_loss
        if loss is not None and not 0.0 <= loss.value < 1.0:
            raise InputError(
                f"a dissipation factor of {loss.value:g} is not between 0 and 1"
            )
        own = self.self_capacitance_f
        if own is not None and not 0.0 <= own.value < self.capacitor_f.value:
            raise InputError(
                f"a self-capacitance of {own.value:g} F is not between 0 and the "
                f"resonating capacitor's {self.capacitor_f.value:g} F; above it the "
                "coil would resonate by itself"
            )


def expected_span(inductance_h: float, *, known: KnownParts) -> tuple[float, float]:
    """Give a span in Hz that holds the resonance of about this inductance in H.

    An octave below the resonance on the known capacitor alone to a quarter above
    it: strays lower the frequency, never raise it, and a marking may be off.
    """
    omega = (inductance_h * known.capacitor_f.value) ** -0.5
    f0 = omega / (2.0 * math.pi)
    return f0 / 2.0, f0 * 1.25


def measure_coil(
    bench: IdentifiedBench,
    span: Span,
    *,
    known: KnownParts,
    label: str = "",
    begun: str = "",
    sink: Sink | None = None,
) -> Result:
    """Measure a coil's inductance, Q and resistances on a known capacitor.

    Parameters
    ----------
    bench
        An open bench.
    span
        Where to look and how closely to measure.
    known
        The capacitor, and what is known of the coil.
    begun
        When the measurement begins (ISO 8601, UTC), for the evidence.
    label
        What the coil is called.
    sink
        Gets every reading as it is taken, and the result; None: nobody does, but the
        result carries them all.

    Raises
    ------
    AnalysisError
        The readings do not bear a value for the coil.
    SweepError, GuardError, SettingError, DriverError
        See `sweep_tank`.
    """
    tank = tank_on_bench(
        bench.file,
        capacitor_f=known.capacitor_f,
        capacitor_loss=known.capacitor_loss or USUAL_CAPACITOR_LOSS,
        self_capacitance_f=known.self_capacitance_f or USUAL_SELF_CAPACITANCE,
    )
    sink = sink or NullSink()
    planner = sweep_tank(bench, span, tank=tank, sink=sink)
    deduced = deduce_coil(tank, measured=measured_pair(planner.resonance))
    warnings = (
        *cautions_of(planner.resonance),
        *target_cautions(planner),
        *_assumed(known),
        *_doubtful_q(deduced),
    )
    result = Result(
        procedure="coil",
        label=label,
        quantities=quantities_of(deduced, units=COIL_UNITS),
        warnings=warnings,
        evidence=collect_evidence(bench, span, tank=tank, planner=planner, begun=begun),
    )
    sink.result(result)
    return result


def _assumed(known: KnownParts) -> tuple[Caution, ...]:
    """Say what was put in because nobody said it."""
    cautions = []
    if known.self_capacitance_f is None:
        cautions.append(
            Caution(
                code="self_capacitance_assumed",
                text=f"the coil's self-capacitance was taken as "
                f"{_limits(USUAL_SELF_CAPACITANCE, unit='F')}, as usual for a small "
                "single-layer coil; state it if you know better",
            )
        )
    if known.capacitor_loss is None:
        low, high = 0.0, 2.0 * USUAL_CAPACITOR_LOSS.value
        cautions.append(
            Caution(
                code="capacitor_loss_assumed",
                text=f"the resonating capacitor's dissipation factor was taken as "
                f"between {low:g} and {high:g}, as usual for mica and low-loss "
                "ceramic; state it if you know better",
            )
        )
    return tuple(cautions)


def _limits(stated: Stated, *, unit: str) -> str:
    half_width = 3.0**0.5 * stated.u
    value, doubt, shown = format_quantity(stated.value, u=half_width, unit=unit)
    return f"{value} ± {doubt} {shown}"


def _doubtful_q(deduced: tuple[Deduced, ...]) -> tuple[Caution, ...]:
    quality = next(one for one in deduced if one.name == "unloaded_q")
    if quality.u < DOUBTFUL_Q * quality.value and quality.interval[0] > 0.0:
        return ()
    return (
        Caution(
            code="unloaded_q_doubtful",
            text="the fixture's own loading hides the coil's loss: its unloaded Q is "
            "uncertain by a third of itself or more; state the probe and the "
            "capacitor's loss more closely, or couple more loosely",
        ),
    )
