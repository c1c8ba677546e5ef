"""Result documents: strict JSON that says what the result says."""

import json
import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from halfpower.analysis import (
    Caution,
    Judged,
    Judgement,
    Quantity,
    Reading,
    Result,
    Stated,
)
from halfpower.analysis.result import Condition
from halfpower.records import result_document, to_json


def strictly(text: str) -> Any:
    """Read JSON, refusing what the standard (RFC 8259) does not have."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is not JSON")

    return json.loads(text, parse_constant=refuse)


def leaves(node: Any) -> Iterator[Any]:
    """Everything in a document that is not a container."""
    if isinstance(node, dict):
        for one in node.values():
            yield from leaves(one)
    elif isinstance(node, list):
        for one in node:
            yield from leaves(one)
    else:
        yield node


def test_a_document_comes_back_from_its_text(result: Result) -> None:
    """Every number to the last bit."""
    assert strictly(to_json(result)) == result_document(result)


def test_a_document_holds_plain_types_only(result: Result) -> None:
    """No numpy number, which another reader of the dict would stumble on."""
    kinds = {type(leaf) for leaf in leaves(result_document(result))}
    assert kinds <= {str, int, float, bool, type(None)}


def test_the_stable_keys_are_there(result: Result) -> None:
    """What programs read: schema, procedure, part, quantities, verdict, evidence."""
    document = strictly(to_json(result))
    assert document["schema"] == "halfpower.result/2"
    assert document["procedure"] == "fit"
    assert document["part"] == {"label": "L17"}
    assert (document["verdict"], document["judged"]) == (None, [])
    for name in ("resonant_frequency", "bandwidth", "loaded_q"):
        quantity = document["quantities"][name]
        assert quantity["value"] == result[name].value
        assert quantity["unit"] == result[name].unit
        assert quantity["standard_uncertainty"] == result[name].standard_uncertainty
        low, high = quantity["coverage_interval_95"]
        assert low < quantity["value"] < high


def test_every_reading_is_evidence(result: Result) -> None:
    """As many as were taken, in their order, with the ones that the fit used."""
    evidence = strictly(to_json(result))["evidence"]
    (swept,) = evidence["sweeps"]
    kept = [reading["frequency_hz"] for reading in swept["readings"]]
    assert kept == [reading.frequency_hz for reading in result.evidence.readings]
    assert swept["used"] == list(range(41))
    assert evidence["software"].startswith("halfpower ")


def test_settings_are_numbers_with_units_or_words(result: Result) -> None:
    """Limits come back from u and the distribution; the words stand beside."""
    settings = (
        Condition(name="stray", value=Stated.within(5e-12, half_width=3e-13), unit="F"),
        Condition(name="level", value=Stated(value=0.5), unit="V"),
        Condition(name="loss", value=Stated(value=1e-4, u=5e-5)),
        Condition(name="fixture", value="coupled-tank"),
    )
    evidence = replace(result.evidence, settings=settings)
    kept = strictly(to_json(replace(result, evidence=evidence)))["evidence"]["settings"]
    stray = kept["stray"]
    half_width = math.sqrt(3.0) * stray["standard_uncertainty"]  # JCGM 100, 4.3.7
    assert half_width == pytest.approx(3e-13, rel=1e-15)
    assert (stray["value"], stray["unit"]) == (5e-12, "F")
    assert stray["distribution"] == "rectangular"
    assert stray["text"] == "5 pF +- 300 fF"
    assert kept["level"] == {
        "value": 0.5,
        "unit": "V",
        "standard_uncertainty": 0.0,
        "text": "500 mV",
    }
    assert kept["loss"]["unit"] == "1"
    assert kept["loss"]["distribution"] == "normal"
    assert kept["fixture"] == {"value": "coupled-tank", "text": "coupled-tank"}


def test_the_fit_stands_with_its_own_f0_and_q(result: Result) -> None:
    """As fitted, with u; their squares are the covariance's diagonal; k as a number."""
    (swept,) = result.evidence.sweeps
    fit = strictly(to_json(result))["evidence"]["sweeps"][0]["fit"]
    for n, name in enumerate(("resonant_frequency", "loaded_q")):
        assert fit[name]["value"] == getattr(
            swept.found, ("resonant_frequency_hz", "loaded_q")[n]
        )
        u = fit[name]["standard_uncertainty"]
        assert fit["covariance"][n][n] == pytest.approx(u**2, rel=1e-12)
    assert fit["resonant_frequency"]["unit"] == "Hz"
    # B = f0/Q: the fit's three agree among themselves to rounding.
    assert fit["bandwidth"]["value"] == pytest.approx(
        fit["resonant_frequency"]["value"] / fit["loaded_q"]["value"], rel=1e-12
    )
    assert fit["exponent"] == 1.0


def test_infinite_degrees_of_freedom_are_null(result: Result) -> None:
    """JSON has no infinity, and a known noise has infinitely many."""
    (swept,) = result.evidence.sweeps
    swept = replace(swept, found=replace(swept.found, degrees_of_freedom=math.inf))
    one = replace(result, evidence=replace(result.evidence, sweeps=(swept,)))
    (kept,) = strictly(to_json(one))["evidence"]["sweeps"]
    assert kept["fit"]["degrees_of_freedom"] is None


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_value_that_is_no_number_is_not_written(result: Result, value: float) -> None:
    """Rather no document than one that is not JSON."""
    wrong = Quantity(name="loaded_q", value=value, unit="1", standard_uncertainty=1.0)
    with pytest.raises(ValueError, match="JSON"):
        to_json(replace(result, quantities=(wrong,)))


@pytest.mark.parametrize(
    "label",
    [
        "",
        '"',
        "\\",
        "\n\r\t",
        "\x00\x1b",
        "漢字 µ Ω",
        "</script>",
        "=1+1",
        "\U0001f4a1",
    ],
)
def test_any_label_comes_back_as_it_was(result: Result, label: str) -> None:
    """Quotes, controls, other scripts, markup, formulas."""
    text = to_json(replace(result, label=label))
    assert strictly(text)["part"]["label"] == label


def test_a_label_that_is_no_text_can_still_be_written(result: Result) -> None:
    """Bytes that a terminal passed on undecoded survive as JSON's own escape."""
    text = to_json(replace(result, label="L\udcff"))
    assert strictly(text.encode("utf-8").decode())["part"]["label"] == "L\udcff"


def test_the_same_result_gives_the_same_bytes(result: Result) -> None:
    """So that two documents can be compared as files; one line feed at the end."""
    assert to_json(result) == to_json(replace(result))
    assert to_json(result).endswith("}\n")


def test_warnings_and_empty_parts_keep_their_form(result: Result) -> None:
    """A code for programs and a text for people; no budget where there is none."""
    bare = Quantity(name="loaded_q", value=1.0, unit="1", standard_uncertainty=0.0)
    one = replace(
        result, warnings=(Caution(code="c", text="t [red]"),), quantities=(bare,)
    )
    document = strictly(to_json(one))
    assert document["warnings"] == [{"code": "c", "text": "t [red]"}]
    assert set(document["quantities"]["loaded_q"]) == {
        "value",
        "unit",
        "standard_uncertainty",
    }


def test_a_reading_without_a_range_says_null(result: Result) -> None:
    """A power meter has none."""
    reading = Reading(frequency_hz=1e6, amplitude_v=0.0, time_s=1 / 3)
    (swept,) = result.evidence.sweeps
    evidence = replace(result.evidence, sweeps=(replace(swept, readings=(reading,)),))
    document = strictly(to_json(replace(result, evidence=evidence)))
    assert document["evidence"]["sweeps"][0]["readings"] == [
        {"frequency_hz": 1e6, "amplitude_v": 0.0, "range_v": None, "time_s": 0.333333}
    ]


def test_the_verdict_is_the_worst_of_what_was_judged(result: Result) -> None:
    """And each stands beside it with its sentence."""
    fits, open_, wrong = (
        Judgement(about=outcome.name, outcome=outcome, text=f"{outcome}.")
        for outcome in (Judged.FITS, Judged.UNDECIDED, Judged.DOES_NOT_FIT)
    )
    for judged, verdict in (
        ((fits,), "fits"),
        ((fits, open_), "undecided"),
        ((wrong, open_, fits), "does not fit"),
    ):
        document = strictly(to_json(replace(result, judged=judged)))
        assert document["verdict"] == verdict
        assert [one["text"] for one in document["judged"]] == [x.text for x in judged]
