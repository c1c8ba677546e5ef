"""What a part's outcome says: the numbers, the side, the limit that is meant."""

from dataclasses import replace

import pytest

from halfpower.analysis import Evidence, Quantity, Result
from halfpower.analysis.lots import Decision, Verdict
from halfpower.analysis.quantity import Caution
from halfpower.sweeps.lots import parse_lot_text
from halfpower.sweeps.lots.outcome import decided, shown

LOT = parse_lot_text(
    """\
[lot]
name = "invented"
procedure = "coil"
size = 5
[measure]
from = "1MHz"
to = "2MHz"
[limit.inductance]
lower = "30uH"
upper = "36uH"
[limit.unloaded_q]
lower = 40
""",
    "invented.toml",
)
L = Quantity(name="inductance", value=33e-6, unit="H", standard_uncertainty=0.1e-6)
Q = Quantity(name="unloaded_q", value=50.0, unit="1", standard_uncertainty=0.5)


def result_of(*quantities: Quantity) -> Result:
    """Give a result with these."""
    return Result(
        procedure="coil",
        label="",
        quantities=quantities,
        warnings=(),
        evidence=Evidence(sweeps=(), settings=(), instruments=(), software=""),
    )


@pytest.mark.parametrize(
    ("inductance_h", "said"),
    [
        (29.79e-6, "L = 29.79 ± 0.20 µH is below the limit of 30 µH"),
        (30.19e-6, "L = 30.19 ± 0.20 µH is too close to the limit of 30 µH"),
        (35.81e-6, "L = 35.81 ± 0.20 µH is too close to the limit of 36 µH"),
        (36.21e-6, "L = 36.21 ± 0.20 µH is above the limit of 36 µH"),
    ],
)
def test_a_reason_names_value_side_and_the_nearer_limit(
    inductance_h: float, said: str
) -> None:
    """± is U = 2 u (GUM 6.2.1, k = 2): 0.20 uH of u = 0.1 uH, on either side."""
    _, (reason,), decisions = decided(result_of(replace(L, value=inductance_h), Q), LOT)
    assert reason.text == said
    assert [one.name for one in decisions] == ["inductance", "unloaded_q"]
    assert [one.reason for one in decisions] == [reason, None]


def test_one_sided_limits_name_the_one_there_is() -> None:
    """A pure number has no unit, and no blank where it would stand."""
    _, (reason,), _ = decided(result_of(L, replace(Q, value=38.9)), LOT)
    assert reason.text == "Q = 38.9 ± 1.0 is below the limit of 40"


def test_what_was_not_measured_is_undecided_and_said() -> None:
    """In words, the limit's name without its underline."""
    _, (reason,), decisions = decided(result_of(L), LOT)
    assert decisions[1].decision is Decision.UNDECIDED
    assert decisions[1].conformity is None
    assert reason.text.startswith("unloaded q was not measured")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("loaded_q", "loaded Q = 50.0 ± 1.0"),
        ("dissipation_factor", "D = 50.0 ± 1.0"),
        ("series_resistance", "series resistance = 50.0 ± 1.0 Ω"),
    ],
)
def test_quantities_have_the_names_of_the_bench(name: str, said: str) -> None:
    """A letter where the trade has one, else words."""
    unit = "ohm" if name == "series_resistance" else "1"
    assert shown(replace(Q, name=name, unit=unit)) == said


def test_what_was_read_too_early_is_not_accepted() -> None:
    """All limits accept, and the instruments had not settled: undecided, and why."""
    early = Caution(code="not_settled", text="every reading still held 7 %")
    sound = result_of(L, Q)
    assert decided(sound, LOT)[0] is Verdict.ACCEPTED
    verdict, reasons, _ = decided(replace(sound, warnings=(early,)), LOT)
    assert verdict is Verdict.UNDECIDED
    assert reasons == (early,)
