"""Results in words: digits that the uncertainty bears, and no more."""

from dataclasses import replace

import pytest

from halfpower.analysis import Contribution, Quantity, Result
from halfpower.reports import budget_rows, heading, quantity_rows
from halfpower.reports.result.summary import cross_check


def quantity(**changes: object) -> Quantity:
    """An invented inductance: 3.3 uH with 10 nH."""
    usual: dict[str, object] = {
        "name": "inductance",
        "value": 3.3e-6,
        "unit": "H",
        "standard_uncertainty": 1e-8,
    }
    return Quantity(**(usual | changes))  # type: ignore[arg-type] # as the test says


def test_limits_without_an_interval_are_twice_the_standard_uncertainty(
    result: Result,
) -> None:
    """K = 2 is 95 % of a normal distribution: 2 x 10 nH."""
    (row,) = quantity_rows(replace(result, quantities=(quantity(),)))
    assert (row.name, row.value, row.doubt, row.unit) == (
        "inductance",
        "3.300",
        "0.020",
        "µH",
    )


@pytest.mark.parametrize("interval", [(3.29e-6, 3.33e-6), (3.27e-6, 3.31e-6)])
def test_a_lopsided_interval_is_given_by_its_wider_side(
    result: Result, interval: tuple[float, float]
) -> None:
    """So that +/- covers what it says: 30 nH, whichever side."""
    (row,) = quantity_rows(replace(result, quantities=(quantity(interval=interval),)))
    assert row.doubt == "0.030"


def test_a_quantity_without_words_is_shown_by_its_name(result: Result) -> None:
    """A new quantity need not wait for its words."""
    odd = quantity(name="some_new_thing", unit="1")
    (row,) = quantity_rows(replace(result, quantities=(odd,)))
    assert row.name == "some new thing"


def test_shares_are_of_the_variance_and_small_ones_are_left_out() -> None:
    """0.6 and 0.8 of u are 36 % and 64 % of its square; 0.01 is a ten-thousandth."""
    budget = tuple(
        Contribution(source=name, u=share * 1e-8)
        for name, share in (("a", 0.8), ("b", 0.6), ("c", 0.01))
    )
    rows = budget_rows(quantity(budget=budget))
    assert [(row.source, round(row.share, 12)) for row in rows] == [
        ("a", 0.64),
        ("b", 0.36),
    ]
    assert (rows[0].u, rows[0].unit) == ("8.0", "nH")


def test_a_quantity_without_doubt_has_no_budget() -> None:
    """And nothing is divided by its zero."""
    assert budget_rows(quantity(standard_uncertainty=0.0)) == []


def test_the_heading_names_procedure_and_part(result: Result) -> None:
    """Without a label the procedure alone; an unknown one by its own name."""
    assert heading(result) == "Resonance in a readings file: L17"
    assert heading(replace(result, label="")) == "Resonance in a readings file"
    assert heading(replace(result, procedure="lot", label="")) == "lot"


def test_the_cross_check_compares_half_power_points_with_the_fit(
    result: Result,
) -> None:
    """f0/(f2 - f1) of the points it names is the Q it names; Q = 150 was put in."""
    (swept,) = result.evidence.sweeps
    sentence = cross_check(swept)
    direct = swept.found.half_power
    assert direct is not None
    assert f"Q = {direct.loaded_q:.4g}" in sentence
    assert direct.loaded_q == pytest.approx(150.0, rel=0.03)
    assert f"{direct.lower / 1e6:.4f}" in sentence


def test_missing_half_power_points_say_why(result: Result) -> None:
    """The reason stands in the sentence."""
    (swept,) = result.evidence.sweeps
    found = replace(
        swept.found, half_power=None, half_power_missing="too short a sweep"
    )
    sentence = cross_check(replace(swept, found=found))
    assert sentence == "No half-power points to check against: too short a sweep."
