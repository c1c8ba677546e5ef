"""What is known of the parts beside the one that is measured."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ...analysis.errors import InputError
from ...analysis.quantity import (
    Caution,
    Judged,
    Judgement,
    Stated,
    Unit,
    format_quantity,
)
from ...analysis.tank import CoilPoint
from .on_bench import IdentifiedBench, Span

__all__ = [
    "AROUND",
    "MOST_SHARE",
    "USUAL_CAPACITOR_LOSS",
    "USUAL_SELF_CAPACITANCE",
    "Expected",
    "KnownCapacitor",
    "assumed_loss",
    "assumed_of_tank",
    "assumed_self_capacitance",
    "compared",
    "expected_span",
    "limits_of",
    "next_span",
]

# A single-layer coil of 1 to 5 cm diameter has 0.46 to 0.8 pF per cm (Medhurst 1947,
# table); a small one on a form a little more or less.
USUAL_SELF_CAPACITANCE = Stated.within(2.5e-12, half_width=2e-12)
# Mica and low-loss ceramic: common practice, no published source.
USUAL_CAPACITOR_LOSS = Stated.within(2.5e-4, half_width=2.5e-4)
MOST_SHARE = 0.5  # of an error that capacitors or probes share
AROUND = (0.75, 1.3)  # of the frequency foretold: the further capacitors' spans


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownCapacitor:
    """A capacitor that is known beforehand.

    Attributes
    ----------
    capacitance_f
        In F.
    loss
        Its dissipation factor at the frequency; None: that of a good one.
    """

    capacitance_f: Stated
    loss: Stated | None = None

    def __post_init__(self) -> None:
        """Refuse one that cannot be."""
        if self.capacitance_f.value <= 0.0:
            raise InputError(
                f"a resonating capacitor of {self.capacitance_f.value:g} F cannot be; "
                "state its capacitance"
            )
        if self.loss is not None and not 0.0 <= self.loss.value < 1.0:
            raise InputError(
                f"a dissipation factor of {self.loss.value:g} is not between 0 and 1"
            )

    @property
    def usual_loss(self) -> Stated:
        """The loss as stated, or a good capacitor's."""
        return self.loss or USUAL_CAPACITOR_LOSS

    @property
    def name(self) -> str:
        """The capacitor in a word or two."""
        value, _, unit = format_quantity(self.capacitance_f.value, u=0.0, unit="F")
        return f"{value} {unit}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What a part was marked or predicted to be.

    Attributes
    ----------
    value
        In SI units.
    said_by
        ``marked`` or ``predicted``.
    """

    value: Stated
    said_by: str = "expected"

    def __post_init__(self) -> None:
        """Refuse what no part can be."""
        if self.value.value <= 0.0:
            raise InputError(
                f"no part is {self.said_by} to be {self.value.value:g}; give a value "
                "above zero"
            )


def expected_span(inductance_h: float, *, capacitance_f: float) -> tuple[float, float]:
    """Give a span in Hz that holds the resonance of about this inductance in H.

    An octave below the resonance on the known capacitance alone to a quarter above
    it: strays lower the frequency, never raise it, and a marking may be off.
    """
    if not (inductance_h > 0.0 and capacitance_f > 0.0):
        raise InputError(
            "an expected inductance is above zero, and so is a capacitance"
        )
    f0 = (inductance_h * capacitance_f) ** -0.5 / (2.0 * math.pi)
    return f0 / 2.0, f0 * 1.25


def next_span(
    span: Span,
    points: Sequence[CoilPoint],
    capacitor: KnownCapacitor,
    *,
    bench: IdentifiedBench,
) -> Span:
    """Foretell the resonance on the next capacitor from that on the first.

    Parameters
    ----------
    span
        Where to look on the first, and how closely to measure.
    points
        What was measured so far; none: the span is returned.
    capacitor
        The next one.
    bench
        The bench, for its limits and stray.
    """
    if not points:
        return span
    limits, first = bench.file.limits, points[0]
    fixture, detector = bench.file.fixture, bench.file.detector
    probe_f = (
        detector.input_capacitance
        if fixture.output_coupling_capacitance is None
        else fixture.output_coupling_capacitance
    )
    beside_f = (
        fixture.stray_capacitance.value
        + fixture.coupling_capacitance.value
        + probe_f.value
        + USUAL_SELF_CAPACITANCE.value
    )
    ratio = (first.capacitor_f.value + beside_f) / (
        capacitor.capacitance_f.value + beside_f
    )
    foretold_hz = first.found.resonant_frequency_hz * math.sqrt(ratio)
    return replace(
        span,
        lowest_hz=max(AROUND[0] * foretold_hz, limits.lowest_frequency_hz),
        highest_hz=min(AROUND[1] * foretold_hz, limits.highest_frequency_hz),
    )


def compared(
    name: str, *, value: float, half_width: float, unit: str, expected: Expected
) -> Judgement:
    """Say whether what was measured agrees with what was expected.

    Parameters
    ----------
    name
        Of the quantity.
    value, half_width
        Measured, with its 95 % half-width, in `unit`.
    expected
        What was said before.

    Notes
    -----
    They agree where the difference is within the root sum of squares of both 95 %
    half-widths (the normalised error of ISO/IEC 17043, from memory).
    """
    said = expected.value
    own = _half_width(said)
    shown, _, shown_unit = format_quantity(said.value, u=0.0, unit=unit)
    limits = f" ± {100.0 * own / said.value:.2g} %" if own else " (no tolerance stated)"
    difference = 100.0 * (value / said.value - 1.0)
    fits = abs(value - said.value) <= math.hypot(half_width, own)
    return Judgement(
        about=expected.said_by,
        outcome=Judged.FITS if fits else Judged.DOES_NOT_FIT,
        text=f"{name[:1].upper()}{name[1:]} {expected.said_by} as {shown} "
        f"{shown_unit}{limits}: measured {difference:+.2g} % from it; they "
        f"{'agree' if fits else 'do not agree'} within their uncertainties.",
    )


def _half_width(stated: Stated) -> float:
    """Give 95 % of a stated value: its limits, or twice its u."""
    return (math.sqrt(3.0) if stated.distribution == "rectangular" else 2.0) * stated.u


def limits_of(stated: Stated, *, unit: Unit) -> str:
    """Write a rectangular value with its limits."""
    value, doubt, shown = format_quantity(
        stated.value, u=math.sqrt(3.0) * stated.u, unit=unit
    )
    return f"{value} ± {doubt} {shown}"


def assumed_self_capacitance() -> Caution:
    """Say that nobody stated the coil's self-capacitance."""
    return Caution(
        code="self_capacitance_assumed",
        text="the coil's self-capacitance was taken as "
        f"{limits_of(USUAL_SELF_CAPACITANCE, unit='F')}, as usual for a small "
        "single-layer coil; state it if you know better",
    )


def assumed_loss(whose: str = "resonating capacitor's") -> Caution:
    """Say that nobody stated a known capacitor's loss, or that of several."""
    low, high = 0.0, 2.0 * USUAL_CAPACITOR_LOSS.value
    return Caution(
        code="capacitor_loss_assumed",
        text=f"the {whose} dissipation factor was taken as between {low:g} and "
        f"{high:g}, as usual for mica and low-loss ceramic; state it if you know "
        "better",
    )


def assumed_of_tank(
    capacitor: KnownCapacitor | None, *, self_capacitance_f: Stated | None
) -> tuple[Caution, ...]:
    """Say what nobody stated of a work coil and the capacitor across it."""
    cautions = []
    if self_capacitance_f is None:
        cautions.append(assumed_self_capacitance())
    if capacitor is not None and capacitor.loss is None:
        cautions.append(assumed_loss("known capacitor's"))
    return tuple(cautions)
