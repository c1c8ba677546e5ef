"""A result in words and honest digits, for a table on a terminal or a page."""

import math
from dataclasses import dataclass

from ..analysis.quantities import format_quantity
from ..analysis.resonance_fit import ResonanceFit
from ..analysis.result import Quantity, Result

__all__ = [
    "BudgetRow",
    "QuantityRow",
    "budget_rows",
    "cross_check",
    "heading",
    "quantity_rows",
    "remarks",
]

WORDS = {
    "resonant_frequency": "resonant frequency",
    "bandwidth": "bandwidth (3 dB)",
    "loaded_q": "loaded Q",
    "unloaded_q": "unloaded Q",
    "inductance": "inductance",
    "series_resistance": "series resistance",
    "parallel_resistance": "parallel resistance",
}
PROCEDURES = {
    "coil": "Coil on a known capacitor",
    "sweep": "Resonance on the bench",
    "fit": "Resonance in a readings file",
}
LEAST_SHARE = 0.001  # of the variance: below it a contribution is not worth a line


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityRow:
    """One line of the result table, all text."""

    name: str
    value: str
    doubt: str
    unit: str


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


def _row(quantity: Quantity) -> QuantityRow:
    if quantity.interval is None:
        half_width = 2.0 * quantity.standard_uncertainty
    else:
        low, high = quantity.interval
        half_width = max(high - quantity.value, quantity.value - low)
    value, doubt, unit = format_quantity(
        quantity.value, u=half_width, unit=quantity.unit
    )
    return QuantityRow(
        name=WORDS.get(quantity.name, quantity.name.replace("_", " ")),
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

    How the half-power points read off the trace compare with the fit, which response
    was fitted and why, what was left out, what else resonates.
    """
    found = result.evidence.found
    sentences = [cross_check(result), _response(found)]
    if found.refused:
        frequencies = ", ".join(
            f"{_megahertz(result.evidence.readings[index].frequency_hz, found)}"
            for index in (result.evidence.used[i] for i in found.refused)
        )
        sentences.append(f"Readings left out as glitches, at {frequencies} MHz.")
    sentences.extend(
        f"Another resonance stands at {_megahertz(other.frequency_hz, found)} MHz."
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


def _megahertz(frequency_hz: float, found: ResonanceFit) -> str:
    """Write a frequency in MHz as finely as the bandwidth is."""
    digits = max(0, math.ceil(-math.log10(found.bandwidth_hz / 1e6)) + 2)
    return f"{frequency_hz / 1e6:.{digits}f}"


def cross_check(result: Result) -> str:
    """Compare the half-power points read off the trace with the fit, in a sentence."""
    found = result.evidence.found
    if found.half_power is None:
        return f"No half-power points to check against: {found.half_power_missing}."
    direct = found.half_power
    per_cent = 100.0 * (direct.loaded_q / found.loaded_q - 1.0)
    lower = _megahertz(direct.lower_hz, found)
    upper = _megahertz(direct.upper_hz, found)
    return (
        f"Half-power points read straight off the readings: {lower} and {upper} MHz, "
        f"Q = {direct.loaded_q:#.4g} ({per_cent:+.1f} % from the fit)."
    )
