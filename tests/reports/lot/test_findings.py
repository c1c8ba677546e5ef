"""What became of a lot, as figures, tables, documents, CSV and JUnit XML."""

import csv
import io
import json
import runpy
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from xml.etree import ElementTree as ET

import pytest
from scipy import stats

from halfpower.analysis import InputError
from halfpower.analysis.lots import GuardBand, Limits, Verdict
from halfpower.records import open_base
from halfpower.reports.lot import (
    Held,
    HeldAgainst,
    LotResult,
    junit_xml,
    lot_csv,
    lot_document,
    lot_result,
    lot_tables,
    notes_of,
    yield_text,
)
from halfpower.reports.lot.findings import bin_of
from halfpower.reports.lot.tables import parts_table

invented = SimpleNamespace(
    **runpy.run_path(str(Path(__file__).parent / "invented_lot.py"))
)

MARKED = Limits.about(33e-6, tolerance_relative=0.1)
HELD = Held(
    limits=(
        HeldAgainst(
            name="inductance", quantity="inductance", limits=MARKED, nominal=33e-6
        ),
    ),
    guard_band=GuardBand(multiple=2.0),
    bins=(
        HeldAgainst(name="low", quantity="inductance", limits=Limits(upper=33e-6)),
        HeldAgainst(name="high", quantity="inductance", limits=Limits(lower=33e-6)),
    ),
)


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LotResult]:
    """The invented lot of 40: 38 accepted, 1 rejected, 1 unmeasured, 10 suspect."""
    with open_base(tmp_path_factory.mktemp("lot") / "records.sqlite3") as base:
        invented.fill(base)
        yield lot_result(
            base.lot("chokes"),
            parts=list(base.parts("chokes")),
            checks=base.checks("chokes"),
            held=HELD,
        )


def test_suspect_parts_do_not_count_as_sound(result: LotResult) -> None:
    """Positions 11 to 20 lie before the bad check: 28 of 40 are left."""
    assert [one.position for one in result.suspect] == list(range(11, 21))
    assert result.verdicts == {
        Verdict.ACCEPTED: 38,
        Verdict.REJECTED: 1,
        Verdict.UNMEASURED: 1,
    }
    assert (result.sound, result.all_accepted) == (28, False)


def test_yields_interval_is_clopper_and_pearsons(result: LotResult) -> None:
    """By the quantiles of the beta distribution (Clopper and Pearson 1934)."""
    assert result.yield_ is not None
    low, high = stats.beta.ppf(0.025, 28, 13), stats.beta.ppf(0.975, 29, 12)
    assert result.yield_.interval == pytest.approx((low, high), rel=1e-9)
    assert "28 of 40" in yield_text(result)


def test_all_accepted_is_all_accepted(result: LotResult) -> None:
    """Without the bad ones the lot is; a suspect one is enough that it is not."""
    good = [p for p in result.parts if p.verdict is Verdict.ACCEPTED and not p.suspect]
    assert lot_result(result.lot, parts=good, held=HELD).all_accepted
    one = [*good, replace(good[0], suspect=True)]
    assert not lot_result(result.lot, parts=one, held=HELD).all_accepted
    assert lot_result(result.lot, parts=[], held=HELD).yield_ is None


def test_skipped_and_undone_parts_are_in_no_figure(result: LotResult) -> None:
    """They are counted by verdict, and that is all."""
    out = [
        replace(result.parts[0], verdict=one)
        for one in (Verdict.SKIPPED, Verdict.UNDONE)
    ]
    again = lot_result(result.lot, parts=[*result.parts, *out], held=HELD)
    assert again.verdicts[Verdict.UNDONE] == 1
    assert again.figures[0].n == result.figures[0].n == 39
    assert again.sound == result.sound


def test_reasons_are_counted_by_verdict(result: LotResult) -> None:
    """One reason rejects, one leaves unmeasured."""
    found = {(one.verdict, one.code): one.count for one in result.reasons}
    assert found == {
        (Verdict.REJECTED, "inductance_low"): 1,
        (Verdict.UNMEASURED, "no_resonance"): 1,
    }


def test_bins_hold_the_accepted_parts(result: LotResult) -> None:
    """The first bin that fits, against counting by hand; a rejected part has none."""
    values = [
        q.value
        for part in result.parts
        if part.verdict is Verdict.ACCEPTED
        for q in part.quantities
        if q.name == "inductance"
    ]
    low = sum(value <= 33e-6 for value in values)
    assert [(one.name, one.count) for one in result.bins] == [
        ("low", low),
        ("high", 38 - low),
    ]
    assert bin_of(result.parts[4], HELD) == ""


def test_defects_carry_the_parts_label(result: LotResult) -> None:
    """The shorted turn is part L5, position 5, and its sentence says so."""
    found = {one.position: one for one in result.defects}
    assert found[5].text.startswith("L5: inductance 7")
    assert found[5].likely.cause.value == "shorted_turn"
    assert found[3].likely.cause.value == "no_resonance"


def test_another_value_has_its_unit(result: LotResult) -> None:
    """A part of 47 uH among those of 33 uH is called one of 47 uH."""
    parts = [
        replace(
            part,
            quantities=tuple(
                replace(q, value=47e-6) if q.name == "inductance" else q
                for q in part.quantities
            ),
        )
        if part.position == 9
        else part
        for part in result.parts
    ]
    again = lot_result(result.lot, parts=parts, held=HELD)
    found = next(one for one in again.defects if one.position == 9)
    assert found.text.endswith("a part of another value (47 µH)")


def test_a_level_of_two_is_refused(result: LotResult) -> None:
    """A confidence is a share."""
    with pytest.raises(InputError, match="between 0 and 1"):
        lot_result(result.lot, parts=result.parts, held=HELD, level=2.0)


def test_tables_name_what_stands_apart(result: LotResult) -> None:
    """Verdicts, spread, limits, bins, defects, suspects and checks, all text."""
    tables = {one.title: one for one in lot_tables(result)}
    assert ("21", "") not in tables["Suspect parts"].rows
    assert tables["Suspect parts"].rows == (("11 to 20", "10"),)
    assert tables["Outliers"].rows[0][:2] == ("5", "L5")
    assert tables["Check standard"].rows[1][3] == "OUT OF CONTROL"
    assert "10 parts are suspect" in notes_of(result)[0]
    every = [*tables.values(), parts_table(result)]
    for table in every:
        assert all(len(row) == len(table.heads) for row in table.rows)


def test_document_is_json_with_a_row_a_part(result: LotResult) -> None:
    """No NaN in it, the hostile label as it is, and null where nothing is known."""
    document = json.loads(json.dumps(lot_document(result), allow_nan=False))
    assert document["schema"] == "halfpower.lot/1"
    assert document["parts"][1]["label"] == invented.HOSTILE
    assert document["yield"]["conforming"] == 28
    assert document["quantities"]["inductance"]["outliers"] == [5]
    assert document["parts"][2]["quantities"] == {}


def test_csv_has_text_where_a_spreadsheet_sees_a_formula(result: LotResult) -> None:
    """The hostile label has an apostrophe before it, and nothing else is changed."""
    rows = list(csv.DictReader(io.StringIO(lot_csv(result))))
    assert rows[1]["label"] == f"'{invented.HOSTILE}"
    assert float(rows[0]["inductance_H"]) == result.parts[0].quantities[-1].value
    assert rows[2]["inductance_H"] == ""
    assert rows[4]["verdict"] == "rejected"


def test_junit_has_a_case_a_part(result: LotResult) -> None:
    """Read by another parser: failures, errors, and the hostile label as it is."""
    root = ET.fromstring(junit_xml(result.parts, name="lot <1>"))  # noqa: S314 - our own
    suite = root[0]
    assert suite.get("name") == "lot <1>"
    assert [suite.get(k) for k in ("tests", "failures", "errors")] == ["40", "11", "1"]
    cases = suite.findall("testcase")
    assert cases[1].get("name") == invented.HOSTILE
    failure = cases[4].find("failure")
    assert failure is not None
    assert failure.get("type") == "rejected"
    assert cases[0].find("failure") is None
    suspect = cases[12].find("failure")
    assert suspect is not None
    assert suspect.get("type") == "suspect"


def test_junit_escapes_what_xml_cannot_hold(result: LotResult) -> None:
    """A NUL, an escape and half a surrogate pair are written as their escapes."""
    part = replace(result.parts[0], label="a\x00b\x1b\ud800c")
    root = ET.fromstring(junit_xml([part]))  # noqa: S314 - our own
    assert root[0][0].get("name") == r"a\x00b\x1b\ud800c"


def test_junit_skips_what_was_skipped(result: LotResult) -> None:
    """A skipped part is no failure; one without a label is named by its place."""
    part = replace(result.parts[0], verdict=Verdict.SKIPPED, label="")
    case = ET.fromstring(junit_xml([part]))[0][0]  # noqa: S314 - our own
    assert case.find("skipped") is not None
    assert case.get("name") == "position 1"
