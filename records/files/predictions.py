"""Documents of what was predicted, read off a marking, or chosen, as JSON types.

The ``schema`` key carries each document's version; SI units throughout.
"""

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from ...analysis.markings import (
    Kind,
    MarkedReading,
    MarkingOdds,
    nearest_series,
    neighbours,
    series_of,
)
from ...analysis.predict import Choice, Prediction
from ...analysis.quantity import Quantity, Stated

__all__ = [
    "CAPACITORS_SCHEMA",
    "MARKING_SCHEMA",
    "PREDICTION_SCHEMA",
    "capacitors_document",
    "document_text",
    "marking_document",
    "prediction_document",
]

PREDICTION_SCHEMA = "halfpower.prediction/1"
MARKING_SCHEMA = "halfpower.marking/1"
CAPACITORS_SCHEMA = "halfpower.capacitors/1"


def document_text(document: dict[str, Any]) -> str:
    """Write a document as JSON text, ending in a line feed."""
    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    # Bytes of an argument that are no text have no UTF-8; their Python escape is
    # JSON's too.
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def prediction_document(prediction: Prediction) -> dict[str, Any]:
    """Turn a prediction into a document."""
    return {
        "schema": PREDICTION_SCHEMA,
        "prediction": prediction.kind,
        "inputs": dict(prediction.inputs),
        "quantities": {one.name: _quantity(one) for one in prediction.quantities},
        "remarks": list(prediction.remarks),
        "warnings": [asdict(one) for one in prediction.warnings],
    }


def _quantity(quantity: Quantity) -> dict[str, Any]:
    interval = quantity.interval
    return {
        "value": quantity.value,
        "unit": quantity.unit,
        "standard_uncertainty": quantity.standard_uncertainty,
        "coverage_interval_95": None if interval is None else list(interval),
        "budget": [
            {"source": part.source, "standard_uncertainty": part.u}
            for part in quantity.budget
        ],
    }


def marking_document(
    readings: Sequence[MarkedReading],
    *,
    text: str,
    kind: Kind,
    measured: Stated | None,
    odds: MarkingOdds | None,
) -> dict[str, Any]:
    """Turn the readings of a marking, and what a measurement says, into a document."""
    entries = [
        asdict(one)
        | {
            "series": list(series_of(one.value)),
            "neighbours": list(neighbours(one.value, series=nearest_series(one.value))),
        }
        for one in readings
    ]
    document: dict[str, Any] = {
        "schema": MARKING_SCHEMA,
        "marking": text,
        "kind": kind,
        "readings": entries,
        "measured": None,
        "verdict": None,
    }
    if odds is None or measured is None:
        return document
    for entry, share in zip(entries, odds.shares, strict=True):
        entry["share"] = share
    return document | {
        "measured": {
            "value": measured.value,
            "unit": readings[0].unit,
            "standard_uncertainty": measured.u,
        },
        "none_of_these": {"share": odds.none, "taken_beforehand": odds.none_share},
        "verdict": odds.verdict,
    }


def capacitors_document(choice: Choice) -> dict[str, Any]:
    """Turn a choice of capacitors for a range of inductance into a document."""
    return {
        "schema": CAPACITORS_SCHEMA,
        "inductance_h": {"lowest": choice.lowest_h, "highest": choice.highest_h},
        "assumed": asdict(choice.plan),
        "capacitors": [
            {
                "name": one.name,
                "usable": one.usable,
                "uses": [
                    asdict(use) | {"obstacles": list(use.obstacles)} for use in one.uses
                ],
            }
            for one in choice.outlooks
        ],
        "recommended": list(choice.recommended),
        "recommendation": choice.sentence,
    }
