"""Documents of predictions, markings and choices: plain JSON types, SI."""

import json
import math

import pytest

from halfpower.analysis import Stated
from halfpower.analysis.markings import read_marking, weigh_readings
from halfpower.analysis.predict import predict_resonance
from halfpower.records.files import document_text, marking_document, prediction_document


def test_a_prediction_s_document_can_be_read_back() -> None:
    """Value, unit, uncertainty, interval and budget of every quantity."""
    made = predict_resonance(
        inductance_h=Stated.within(3.3e-6, half_width=0.165e-6),
        capacitance_f=Stated(value=150e-12),
    )
    document = json.loads(document_text(prediction_document(made)))
    assert document["schema"] == "halfpower.prediction/1"
    found = document["quantities"]["resonant_frequency"]
    low, high = found["coverage_interval_95"]
    assert low < found["value"] < high
    # (2 pi)^-1 (3.3e-6 150e-12)^-1/2, and half of 5 %/sqrt(3).
    assert found["value"] == pytest.approx(
        1.0 / (2.0 * math.pi * math.sqrt(3.3e-6 * 150e-12)), rel=1e-12
    )
    assert found["standard_uncertainty"] / found["value"] == pytest.approx(
        0.025 / math.sqrt(3.0), rel=1e-2
    )
    assert [one["source"] for one in found["budget"]] == ["inductance"]


def test_an_exact_prediction_has_no_interval() -> None:
    """Null."""
    made = predict_resonance(
        inductance_h=Stated(value=3.3e-6), frequency_hz=Stated(value=7e6)
    )
    document = prediction_document(made)
    assert document["quantities"]["capacitance"]["coverage_interval_95"] is None


def test_a_marking_s_document_has_the_rated_voltage() -> None:
    """100 V of 2A; null where none is printed."""
    for text, voltage_v in (("2A104J", 100.0), ("104J", None)):
        document = marking_document(
            read_marking(text, kind="capacitor"),
            text=text,
            kind="capacitor",
            measured=None,
            odds=None,
        )
        assert document["readings"][0]["rated_voltage_v"] == voltage_v
        assert document["verdict"] is None


def test_a_weighed_marking_s_document_has_its_shares() -> None:
    """They add up to 1 with that of none."""
    readings = read_marking("470K", kind="capacitor")
    measured = Stated(value=46e-12, u=2e-12)
    document = marking_document(
        readings,
        text="470K",
        kind="capacitor",
        measured=measured,
        odds=weigh_readings(readings, measured=measured),
    )
    shares = [one["share"] for one in document["readings"]]
    assert sum(shares) + document["none_of_these"]["share"] == pytest.approx(1.0)


def test_half_a_character_is_written_as_its_escape() -> None:
    """Bytes of an argument that are no UTF-8."""
    text = document_text({"marking": "104\udcff"})
    assert text.encode("utf-8")
    assert json.loads(text) == {"marking": "104\udcff"}
