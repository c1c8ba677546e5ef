"""A result in words and honest digits, for a table on a terminal or a page."""

import math
from dataclasses import dataclass

from ...analysis.fitting import Abscissa, ResonanceFit
from ...analysis.quantity import Quantity, format_quantity
from ...analysis.result import Result, Swept

__all__ = [
    "SCALES",
    "BudgetRow",
    "QuantityRow",
    "StepRow",
    "budget_rows",
    "cross_check",
    "heading",
    "part_remarks",
    "quantity_rows",
    "remarks",
    "step_rows",
    "sweep_remarks",
]

WORDS = {
    "resonant_frequency": "resonant frequency",
    "bandwidth": "bandwidth (3 dB)",
    "loaded_q": "loaded Q",
    "unloaded_q": "unloaded Q",
    "inductance": "inductance",
    "series_resistance": "series resistance",
    "parallel_resistance": "parallel resistance",
    "self_capacitance": "self-capacitance",
    "self_resonant_frequency": "self-resonant frequency",
    "apparent_inductance": "apparent inductance",
    "capacitance": "capacitance",
    "dissipation_factor": "dissipation factor",
    "relative_permittivity": "relative permittivity",
    "loss_tangent": "loss tangent",
    "capacitance_in_air": "the plates in air",
    "calculated_in_air": "the same, calculated",
    "resonant_capacitance": "dial at resonance",
    "capacitance_half_width": "half-width on the dial",
    "stray_capacitance": "stray capacitance",
    "probe_resistance": "probe resistance",
    "probe_capacitance": "probe capacitance",
}
PROCEDURES = {
    "coil": "Coil",
    "capacitor": "Capacitor by substitution",
    "sheet": "Sheet between plates",
    "fixture": "What the fixture adds",
    "sweep": "Resonance on the bench",
    "fit": "Resonance in a readings file",
}
# How a setting is written: the scale, and the unit then.
SCALES = {Abscissa.FREQUENCY: (1e6, "MHz"), Abscissa.CAPACITANCE: (1e-12, "pF")}
LEAST_SHARE = 0.001  # of the variance: below it a contribution is not worth a line


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityRow:
    """One line of the result table, all text."""

    name: str
    value: str
    doubt: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """What one sweep of several found, all text."""

    step: str
    quantities: tuple[QuantityRow, ...]

    @property
    def text(self) -> str:
        """The quantities in one line."""
        return ", ".join(
            f"{one.name} {one.value} ± {one.doubt} {one.unit}".rstrip()
            for one in self.quantities
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetRow:
    """One line of an uncertainty budget; the share is of the variance."""

    source: str
    u: str
    unit: str
    share: float


def heading(result: Result) -> str:
    """Name the procedure and the part."""
    procedure = PROCEDURES.get(result.procedure, result.procedure)
    return f"{procedure}: {result.label}" if result.label else procedure


def quantity_rows(result: Result) -> list[QuantityRow]:
    """Give every quantity rounded to its 95 % limits."""
    return [_row(quantity) for quantity in result.quantities]


def step_rows(result: Result) -> list[StepRow]:
    """Give what each sweep of a measurement with several found by itself."""
    sweeps = result.evidence.sweeps
    if len(sweeps) < 2:  # noqa: PLR2004 - several
        return []
    return [
        StepRow(
            step=one.step or "first",
            quantities=tuple(_row(quantity) for quantity in _own(one)),
        )
        for one in sweeps
    ]


def _own(swept: Swept) -> tuple[Quantity, ...]:
    """Give a sweep's own quantities; of a dial its setting and half-width."""
    found = swept.found
    if found.abscissa is Abscissa.FREQUENCY:
        return swept.quantities
    return (
        Quantity(
            name="resonant_capacitance",
            value=found.centre,
            unit="F",
            standard_uncertainty=found.u_centre,
        ),
        Quantity(
            name="capacitance_half_width",
            value=found.half_width,
            unit="F",
            standard_uncertainty=found.u_half_width,
        ),
    )


def _row(quantity: Quantity) -> QuantityRow:
    name = WORDS.get(quantity.name, quantity.name.replace("_", " "))
    if quantity.at_most is not None:
        most, _, unit = format_quantity(
            quantity.at_most, u=quantity.at_most, unit=quantity.unit
        )
        return QuantityRow(name=name, value=f"< {most}", doubt="", unit=unit)
    if quantity.interval is None:
        half_width = 2.0 * quantity.standard_uncertainty
    else:
        low, high = quantity.interval
        half_width = max(high - quantity.value, quantity.value - low)
    value, doubt, unit = format_quantity(
        quantity.value, u=half_width, unit=quantity.unit
    )
    return QuantityRow(
        name=name,
        value=value,
        doubt=doubt,
        unit=unit,
    )


def budget_rows(quantity: Quantity) -> list[BudgetRow]:
    """Give the contributions to a standard uncertainty, the largest first."""
    rows = []
    for part in quantity.budget:
        share = (part.u / quantity.standard_uncertainty) ** 2
        if share < LEAST_SHARE:
            continue
        _, doubt, unit = format_quantity(part.u, u=part.u, unit=quantity.unit)
        rows.append(BudgetRow(source=part.source, u=doubt, unit=unit, share=share))
    return rows


def remarks(result: Result) -> list[str]:
    """Say what belongs beside the numbers, a sentence each.

    The verdict, where there is one; how they compare with what was marked, expected or
    calculated; for each sweep how the
    half-power points read off the trace compare with the fit, which response was
    fitted and why, what was left out, what else resonates.
    """
    return [*part_remarks(result), *sweep_remarks(result)]


def part_remarks(result: Result) -> list[str]:
    """Say what became of what was said of the part, and what else belongs to it."""
    each = ", ".join(f"{one.about}: {one.outcome}" for one in result.judged)
    verdict = [] if result.verdict is None else [f"Verdict: {result.verdict} ({each})."]
    return [*verdict, *(one.text for one in result.judged), *result.remarks]


def sweep_remarks(result: Result) -> list[str]:
    """Say of each sweep how its readings and its fit compare."""
    sentences: list[str] = []
    for swept in result.evidence.sweeps:
        beside = f"{swept.step}: " if swept.step else ""
        sentences.extend(f"{beside}{one}" for one in _of_sweep(swept))
    return sentences


def _of_sweep(swept: Swept) -> list[str]:
    found = swept.found
    sentences = [cross_check(swept), _response(found)]
    if found.refused:
        refused = swept.settings[list(found.refused)]
        places = ", ".join(_abscissa(one, found) for one in refused)
        sentences.append(f"Readings left out as glitches, at {places}.")
    sentences.extend(
        f"Another resonance stands at {_abscissa(other.frequency_hz, found)}."
        for other in found.others
    )
    return sentences


def _response(found: ResonanceFit) -> str:
    if found.choice is None:
        return f"Fitted: {found.response.label}."
    others = [
        one
        for one in found.choice.candidates
        if one.bic is not None and one.response != found.choice.chosen
    ]
    if not others:
        return f"Fitted: {found.response.label}, the only response that could be."
    rival = min(others, key=lambda one: one.bic or 0.0)
    chosen = next(
        one for one in found.choice.candidates if one.response == found.choice.chosen
    )
    margin = (rival.bic or 0.0) - (chosen.bic or 0.0)
    side = "worse" if margin >= 0.0 else "better, but less simple,"
    return (
        f"Fitted: {found.response.label}, chosen by {found.choice.criterion}; next: "
        f"{rival.response.label}, {side} by {abs(margin):.1f}."
    )


def _abscissa(value: float, found: ResonanceFit) -> str:
    """Write a frequency in MHz, or a setting in pF, as finely as the bandwidth is."""
    scale, unit = SCALES[found.abscissa]
    width = found.centre / found.loaded_q
    digits = max(0, math.ceil(-math.log10(width / scale)) + 2)
    return f"{value / scale:.{digits}f} {unit}"


def cross_check(swept: Swept) -> str:
    """Compare the half-power points read off the trace with the fit, in a sentence."""
    found = swept.found
    if found.half_power is None:
        return f"No half-power points to check against: {found.half_power_missing}."
    direct = found.half_power
    per_cent = 100.0 * (direct.loaded_q / found.loaded_q - 1.0)
    lower, upper = (_abscissa(x, found) for x in (direct.lower, direct.upper))
    number, _, unit = lower.partition(" ")
    what = f"half-width {direct.half_width / 1e-12:#.4g} pF"
    if found.abscissa is Abscissa.FREQUENCY:
        what = f"Q = {direct.loaded_q:#.4g}"
    return (
        f"Half-power points read straight off the readings: {number} and "
        f"{upper.removesuffix(f' {unit}')} {unit}, {what} ({per_cent:+.1f} % from the "
        "fit)."
    )
