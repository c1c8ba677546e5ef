"""Results worked out again stand beside the old and are what counts."""

import dataclasses
from collections.abc import Callable
from types import ModuleType

import numpy as np
import pytest

from halfpower.analysis.lots import Verdict
from halfpower.analysis.quantity import Caution
from halfpower.records import RecordBase, open_base
from halfpower.records.errors import EntryError

Filled = Callable[[str], str]


def test_newest_result_counts_and_the_old_is_kept(kind: str, filled: Filled) -> None:
    """Queries give the new result; the first one can still be asked for."""
    with open_base(filled(kind)) as base:
        newest = [one.quantities[0].value for one in base.parts("chokes")]
        first = [
            one.quantities[0].value for one in base.parts("chokes", as_measured=True)
        ]
    assert newest == [1.1e-6, 3.3e-6, 20e-6]  # as conftest.py stored them
    assert first == [1e-6, 3e-6, 20e-6]


def test_record_says_why_and_with_what(
    kind: str, filled: Filled, invented: ModuleType
) -> None:
    """One part's record has both results, the reason and both sets of constants."""
    with open_base(filled(kind)) as base:
        found = base.part("chokes", 1)
        untouched = base.part("chokes", 2)
    assert (found.first.result, found.newest.result) == (1, 7)
    assert found.rework_reason == "stray measured again"
    assert found.circumstances == invented.IN_FORCE
    assert found.rework_circumstances is not None
    assert "4.9e-12" in found.rework_circumstances.fixture
    assert (untouched.rework_reason, untouched.rework_circumstances) == (None, None)


def test_summary_goes_by_the_newest_results(kind: str, filled: Filled) -> None:
    """New and old results are counted together, each part once."""
    with open_base(filled(kind)) as base:
        found = {one.name: one for one in base.summary("chokes").quantities}
    inductance, loaded_q = found["inductance"], found["loaded_q"]
    assert inductance.n == 3
    assert inductance.mean == pytest.approx((1.1e-6 + 3.3e-6 + 20e-6) / 3, rel=1e-12)
    assert (inductance.least, inductance.greatest) == (1.1e-6, 20e-6)
    assert (loaded_q.n, loaded_q.mean) == (1, 120.0)  # the rework has none


def test_verdict_and_its_reasons_are_replaced(
    base: RecordBase, invented: ModuleType
) -> None:
    """A rework may judge anew; without verdicts it keeps those there were."""
    for number in (1, 2, 3):
        base.store(invented.invented_part(number))
    judged = dataclasses.replace(
        invented.invented_rework(
            [1, 2], [1e-6, 9e-6], verdicts=[Verdict.ACCEPTED, Verdict.REJECTED]
        ),
        reasons={2: (Caution(code="high", text="above its limit"),)},
    )
    base.rework(judged)
    base.rework(invented.invented_rework([3], [3e-6]))
    parts = list(base.parts("chokes"))
    assert [one.verdict.value for one in parts] == ["accepted", "rejected", "accepted"]
    assert parts[0].reasons == ()  # judged anew, and none was given
    assert parts[1].reasons == (Caution(code="high", text="above its limit"),)
    assert parts[2].reasons[0].code == "invented"  # as measured
    assert base.summary("chokes").verdicts == {Verdict.ACCEPTED: 2, Verdict.REJECTED: 1}


def test_second_rework_takes_over(base: RecordBase, invented: ModuleType) -> None:
    """Of several reworks the last is what counts, part by part."""
    for number in (1, 2):
        base.store(invented.invented_part(number))
    base.rework(invented.invented_rework([1, 2], [11e-6, 12e-6]))
    base.rework(invented.invented_rework([2], [22e-6]))
    values = [one.quantities[0].value for one in base.parts("chokes")]
    assert values == [11e-6, 22e-6]
    assert base.verify().finding is None


def test_rework_of_what_is_no_part_is_refused(
    base: RecordBase, invented: ModuleType
) -> None:
    """A check's sequence, or one that is not there, stores nothing at all."""
    base.store(invented.invented_part(1))
    base.store(invented.invented_check(in_control=True))
    with pytest.raises(EntryError, match="2 of the entries"):
        base.rework(invented.invented_rework([1, 2, 9], [1e-6] * 3))
    assert base.lot("chokes").entries == 2
    assert base.part("chokes", 1).newest.result == 1


def test_same_rework_is_stored_once(base: RecordBase, invented: ModuleType) -> None:
    """A rework that is repeated after a lost answer is the same entry."""
    base.store(invented.invented_part(1))
    rework = invented.invented_rework([1], [2e-6])
    assert base.rework(rework).already is False
    assert base.rework(rework).already is True
    assert base.lot("chokes").entries == 2


def test_readings_come_in_batches_of_equal_length(
    base: RecordBase, invented: ModuleType
) -> None:
    """Every stored trace comes once, as it was, with what was used of it."""
    lengths = [40, 31, 40, 40, 31]
    sweeps = [invented.invented_sweep(k, n=n) for k, n in enumerate(lengths)]
    for number, sweep in enumerate(sweeps):
        part = invented.invented_part(number)
        base.store(dataclasses.replace(part, sweeps=(sweep,)))
    batches = list(base.readings("chokes", batch=2))
    shapes = sorted(one.frequency_hz.shape for one in batches)
    assert shapes == [(1, 40), (2, 31), (2, 40)]
    for batch in batches:
        for row, sequence in enumerate(batch.sequences):
            given = sweeps[sequence - 1]
            np.testing.assert_array_equal(batch.frequency_hz[row], given.frequency_hz)
            np.testing.assert_array_equal(batch.amplitude_v[row], given.amplitude_v)
            np.testing.assert_array_equal(batch.range_v[row], given.range_v)
            np.testing.assert_array_equal(np.flatnonzero(batch.used[row]), given.used)


def test_sweeps_are_chosen_by_name(base: RecordBase, invented: ModuleType) -> None:
    """A part with several sweeps gives each under its name."""
    with_100p = dataclasses.replace(
        invented.invented_sweep(2), name="with 100 pF", range_v=None, used=None
    )
    part = invented.invented_part(1)
    base.store(dataclasses.replace(part, sweeps=(part.sweeps[0], with_100p)))
    (batch,) = base.readings("chokes", sweep="with 100 pF")
    np.testing.assert_array_equal(batch.amplitude_v[0], with_100p.amplitude_v)
    assert np.isnan(batch.range_v).all()
    assert batch.used.all()
    assert sum(one.sequences.size for one in base.readings("chokes")) == 2


def test_reasons_of_one_code_are_found_by_entry(
    base: RecordBase, invented: ModuleType
) -> None:
    """Those that parts were stored with, whatever a rework said since."""
    for number in (1, 2):
        base.store(invented.invented_part(number))
    base.rework(invented.invented_rework([1], [1e-6], verdicts=[Verdict.ACCEPTED]))
    found = base.reasons_with("chokes", "invented")
    assert {entry: one.text for entry, one in found.items()} == {
        1: "as the example says",
        2: "as the example says",
    }
    assert base.reasons_with("chokes", "invent") == {}  # not a part of a code
