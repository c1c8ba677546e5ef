"""Result documents: a result as JSON, with its evidence.

The ``schema`` key carries the document's version.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from ...analysis.fitting import ModelChoice, ResonanceFit
from ...analysis.fitting.curves import Peak
from ...analysis.quantity import Quantity
from ...analysis.reading import Reading
from ...analysis.result import Condition, Result, Swept
from .predictions import document_text

__all__ = ["SCHEMA", "result_document", "to_json", "unfinished_document"]

SCHEMA = "halfpower.result/2"


def result_document(result: Result) -> dict[str, Any]:
    """Turn a result into a document of plain JSON types, SI units throughout."""
    evidence = result.evidence
    return {
        "schema": SCHEMA,
        "complete": True,
        "procedure": result.procedure,
        "part": {"label": result.label},
        "quantities": {one.name: _quantity(one) for one in result.quantities},
        "verdict": result.verdict,
        "judged": [
            {"about": one.about, "outcome": one.outcome, "text": one.text}
            for one in result.judged
        ],
        "warnings": [{"code": one.code, "text": one.text} for one in result.warnings],
        "remarks": list(result.remarks),
        "evidence": {
            "software": evidence.software,
            "begun": evidence.begun or None,
            "instruments": dict(evidence.instruments),
            "settings": {one.name: _condition(one) for one in evidence.settings},
            "sweeps": [_swept(one) for one in evidence.sweeps],
        },
    }


def unfinished_document(
    result: Result, readings: Mapping[str, Sequence[Reading]]
) -> dict[str, Any]:
    """Give the document of a measurement that was interrupted: what there is.

    Parameters
    ----------
    result
        What is known of it, without sweeps.
    readings
        What was read, by the sweep's step; none of it was fitted.
    """
    document = result_document(result) | {"complete": False}
    document["evidence"]["sweeps"] = [
        {
            "step": step or None,
            "quantities": {},
            "fit": None,
            "readings": [_reading(one) for one in some],
            "used": [],
        }
        for step, some in readings.items()
    ]
    return document


def to_json(result: Result) -> str:
    """Write a result document as JSON text, ending in a line feed."""
    return document_text(result_document(result))


def _number(value: float, *, u: float, unit: str) -> dict[str, Any]:
    return {"value": value, "unit": unit, "standard_uncertainty": u}


def _quantity(quantity: Quantity) -> dict[str, Any]:
    document = _number(
        quantity.value, u=quantity.standard_uncertainty, unit=quantity.unit
    )
    if quantity.interval is not None:
        document["coverage_interval_95"] = list(quantity.interval)
    if quantity.at_most is not None:
        document["upper_limit_95"] = quantity.at_most
    if quantity.budget:
        document["budget"] = [
            {"source": part.source, "standard_uncertainty": part.u}
            for part in quantity.budget
        ]
    return document


def _condition(one: Condition) -> dict[str, Any]:
    """Give a number with its unit and doubt, or a word; and what a person reads."""
    if isinstance(one.value, str):
        return {"value": one.value, "text": one.text}
    unit = "1" if one.unit == "fraction" else one.unit
    document = _number(one.value.value, u=one.value.u, unit=unit)
    if one.value.u:
        document["distribution"] = one.value.distribution
    return document | {"text": one.text}


def _swept(swept: Swept) -> dict[str, Any]:
    return {
        "step": swept.step or None,
        "quantities": {one.name: _quantity(one) for one in swept.quantities},
        "fit": _fit(swept.found),
        "readings": [_reading(one) for one in swept.readings],
        "used": list(swept.used),
    }


def _reading(reading: Reading) -> dict[str, Any]:
    document: dict[str, Any] = {
        "frequency_hz": reading.frequency_hz,
        "amplitude_v": reading.amplitude_v,
        "range_v": reading.range_v,
        "time_s": round(reading.time_s, 6),
    }
    if reading.capacitance_f is not None:
        document["capacitance_f"] = reading.capacitance_f
    return document


def _fit(found: ResonanceFit) -> dict[str, Any]:
    """Give a fit as it came out of the readings; nothing in it is corrected.

    Over a dial's settings the centre and the half-power points are in F, and Q is that
    of the setting alone: the setting over its half-width.
    """
    direct, response, unit = found.half_power, found.response, found.abscissa.unit
    centre, u_centre = found.centre, found.u_centre
    width = "bandwidth" if unit == "Hz" else "capacitance_half_width"
    times = found.abscissa.half_widths
    return {
        "response": response.label,
        "exponent": response.exponent if isinstance(response, Peak) else None,
        "abscissa_unit": unit,
        f"resonant_{found.abscissa.quantity}": _number(centre, u=u_centre, unit=unit),
        "loaded_q": _number(found.loaded_q, u=found.u_loaded_q, unit="1"),
        width: _number(
            times * found.half_width, u=times * found.u_half_width, unit=unit
        ),
        "amplitude_v": found.amplitude_v,
        "extra": {one.name: one.value for one in found.extra},
        "covariance": found.covariance.tolist(),
        "noise_v": _finite(found.noise_v),
        "noise_source": found.noise_source.value,
        "reduced_chi2": _finite(found.reduced_chi2),
        "degrees_of_freedom": _finite(found.degrees_of_freedom),
        "refused": list(found.refused),
        "other_resonances": [
            {
                "frequency_hz": other.frequency_hz,
                "amplitude_v": other.amplitude_v,
                "loaded_q": other.loaded_q,
            }
            for other in found.others
        ],
        "choice": None if found.choice is None else _choice(found.choice),
        "half_power_points": None
        if direct is None
        else {
            f"lower_{unit.lower()}": direct.lower,
            f"upper_{unit.lower()}": direct.upper,
            "loaded_q": direct.loaded_q,
        },
        "half_power_missing": found.half_power_missing or None,
    }


def _choice(choice: ModelChoice) -> dict[str, Any]:
    return {
        "criterion": choice.criterion,
        "candidates": [
            {
                "response": one.response.label,
                "bic": _finite(one.bic),
                "share": one.share,
                "resonant_frequency_hz": _finite(one.resonant_frequency_hz),
                "loaded_q": _finite(one.loaded_q),
            }
            for one in choice.candidates
        ],
    }


def _finite(value: float | None) -> float | None:
    """JSON has no infinity: an infinite number of degrees of freedom is null."""
    return value if value is not None and math.isfinite(value) else None
