"""Matched sets and gauge studies of kept lots."""

import csv
import io
import math
import runpy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from halfpower.analysis.lots import Limits, Verdict
from halfpower.records.base import PartRow, StoredQuantity
from halfpower.reports.errors import ReportError
from halfpower.reports.lot import (
    gauge_document,
    gauge_of,
    gauge_tables,
    match_parts,
    matching_csv,
    matching_document,
    matching_tables,
)

invented = SimpleNamespace(
    **runpy.run_path(str(Path(__file__).parent / "invented_lot.py"))
)


def part(position: int, value: float | None, **more: object) -> PartRow:
    """An accepted part of an inductance."""
    given = {
        "lot": "chokes",
        "label": f"L{position}",
        "attempt": 1,
        "station": "north",
        "verdict": Verdict.ACCEPTED,
        "suspect": False,
        **more,
    }
    quantities = ()
    if value is not None:
        quantities = (
            StoredQuantity(
                name="inductance", value=value, unit="H", standard_uncertainty=1e-8
            ),
        )
    return PartRow(
        sequence=position,
        position=position,
        procedure="coil",
        at=invented.at(position),
        reasons=(),
        quantities=quantities,
        result=position,
        current=True,
        **given,
    )


BAG = [part(n, v) for n, v in enumerate([33.0e-6, 34.0e-6, 33.1e-6, 34.1e-6, 40e-6], 1)]


def test_pairs_are_the_close_ones() -> None:
    """33.0 with 33.1 and 34.0 with 34.1 within 1 %, by hand; 40 is left."""
    found = match_parts(BAG, within={"inductance": 0.01})
    pairs = [{one.label for one in found.members(n)} for n in range(2)]
    assert pairs == [{"L2", "L4"}, {"L1", "L3"}]
    assert [found.parts[i].label for i in found.matching.left] == ["L5"]


def test_only_sound_parts_are_matched() -> None:
    """A rejected and a suspect one are not offered."""
    bag = [
        replace(BAG[0], verdict=Verdict.REJECTED),
        replace(BAG[1], suspect=True),
        *BAG[2:],
    ]
    found = match_parts(bag, within={"inductance": 0.05})
    assert [one.label for one in found.parts] == ["L3", "L4", "L5"]


def test_no_accepted_part_is_one_sentence() -> None:
    """Nor is a quantity that none has."""
    with pytest.raises(ReportError, match="no accepted part is there"):
        match_parts([], within={"inductance": 0.01})
    with pytest.raises(ReportError, match="no accepted part has unloaded Q"):
        match_parts(BAG, within={"unloaded_q": 0.01})


def test_surely_alike_pairs_are_closer() -> None:
    """With k u(difference) added, a pair at the limit falls away."""
    within = {"inductance": 0.00305}  # 33.0 and 33.1 differ by 0.00303
    assert len(match_parts(BAG, within=within).matching.sets) == 2
    sure = match_parts(BAG, within=within, coverage_factor=2.0)
    assert len(sure.matching.sets) == 0


def test_sets_as_csv_and_document() -> None:
    """A row a part, those left over without a set; the hostile label as text."""
    bag = [replace(BAG[0], label=invented.HOSTILE), *BAG[1:]]
    found = match_parts(bag, within={"inductance": 0.01})
    rows = list(csv.DictReader(io.StringIO(matching_csv(found))))
    assert [row["set"] for row in rows] == ["1", "1", "2", "2", ""]
    assert f"'{invented.HOSTILE}" in [row["label"] for row in rows]
    document = matching_document(found)
    assert document["sets"][0]["spread"]["inductance"] == pytest.approx(0.1 / 34.0)
    assert document["left"] == [{"position": 5, "label": "L5"}]
    assert [len(table.rows) for table in matching_tables(found)] == [2, 1]


def crossed(values: np.ndarray) -> list[PartRow]:
    """Attempts at parts by stations, from (parts, stations, repeats) in uH."""
    return [
        part(
            p + 1, 1e-6 * values[p, s, r], station=("north", "south")[s], attempt=r + 1
        )
        for p, s, r in np.ndindex(values.shape)
    ]


def test_components_are_those_of_a_study_by_hand() -> None:
    """Two parts, two stations, two repeats.

    By the mean squares of a two-way layout, worked out by hand: cells 10 11 | 12 13
    and 20 21 | 22 23 have no interaction; repeats differ
    by 1 throughout, so that repeatability is 1/sqrt(2). Pooled over 5 degrees of
    freedom its square is 4 x 0.5/5 = 0.4; stations: mean square 8, (8 - 0.4)/4 = 1.9;
    parts: mean square 200, (200 - 0.4)/4 = 49.9.
    """
    values = np.array([[[10.0, 11.0], [12.0, 13.0]], [[20.0, 21.0], [22.0, 23.0]]])
    found = gauge_of(crossed(values), quantity="inductance")
    sd = {one.source: one.sd * 1e6 for one in found.study.components}
    assert sd["repeatability"] == pytest.approx(math.sqrt(0.4))
    assert sd["operators"] == pytest.approx(math.sqrt(1.9))
    assert sd["parts"] == pytest.approx(math.sqrt(49.9))
    assert (found.operators, found.repeats) == (("north", "south"), 2)


def test_tolerance_is_that_of_the_limits() -> None:
    """Six standard deviations of the limits' width."""
    rng = np.random.default_rng(8)
    values = 33.0 + rng.standard_normal((5, 2, 3))
    limits = Limits(lower=29.7e-6, upper=36.3e-6)
    found = gauge_of(crossed(values), quantity="inductance", limits=limits)
    gauge = found.study["gauge"]
    assert gauge.percent_of_tolerance == pytest.approx(600.0 * gauge.sd / 6.6e-6)
    assert gauge_document(found)["schema"] == "halfpower.gauge/1"
    assert len(gauge_tables(found)[0].rows) == 7  # four sources and three sums


def test_unbalanced_study_is_refused_by_name() -> None:
    """Which part, by which station, how often."""
    attempts = crossed(33.0 + np.arange(12.0).reshape(3, 2, 2))[:-1]
    with pytest.raises(ReportError, match="most have 2, but L3 by south: 1"):
        gauge_of(attempts, quantity="inductance")


def test_an_unmeasured_attempt_unbalances_it() -> None:
    """No value is not a reading; an undone one is as if it had not been."""
    attempts = crossed(33.0 + np.arange(12.0).reshape(3, 2, 2))
    undone = replace(attempts[0], verdict=Verdict.UNDONE)
    gauge_of([*attempts, undone], quantity="inductance")
    nothing = replace(attempts[3], quantities=())
    with pytest.raises(ReportError, match="L1 by south: 1"):
        gauge_of([*attempts[:3], nothing, *attempts[4:]], quantity="inductance")


def test_one_station_is_no_study() -> None:
    """Nor is one reading each."""
    one = crossed(33.0 + np.arange(6.0).reshape(3, 1, 2))
    with pytest.raises(ReportError, match="here are 3 and 1"):
        gauge_of(one, quantity="inductance")
    single = crossed(33.0 + np.arange(6.0).reshape(3, 2, 1))
    with pytest.raises(ReportError, match="two or more"):
        gauge_of(single, quantity="inductance")


def test_lots_may_be_the_operators() -> None:
    """The same labels in two lots, two attempts each."""
    values = 33.0 + np.random.default_rng(9).standard_normal((3, 2, 2))
    attempts = [
        replace(one, lot={"north": "monday", "south": "tuesday"}[one.station])
        for one in crossed(values)
    ]
    found = gauge_of(attempts, quantity="inductance", by="lot")
    assert found.operators == ("monday", "tuesday")
