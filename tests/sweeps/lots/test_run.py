"""A run through a lot: who is asked, what is kept, and where it goes on."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from halfpower.analysis import Caution, Evidence, Quantity, Result
from halfpower.analysis.lots import Verdict
from halfpower.drivers.errors import TransportError
from halfpower.sweeps import LotRun
from halfpower.sweeps.errors import NoResonanceError
from halfpower.sweeps.lots import (
    CheckBook,
    CheckOutcome,
    Contact,
    LotFile,
    Outcome,
    Part,
    Presented,
    Standing,
    Wish,
    parse_lot_text,
)
from halfpower.sweeps.lots.measure import Measured
from halfpower.sweeps.lots.outcome import decided

TEXT = """\
[lot]
name = "invented"
procedure = "coil"
size = 5
label = "L{number}"
[measure]
from = "1MHz"
to = "2MHz"
[limit.inductance]
lower = "30uH"
upper = "36uH"
[limit.unloaded_q]
lower = 40
[bin.small]
quantity = "inductance"
upper = "33uH"
"""
CHECK = """
[check]
every = 2
standard = "S1"
quantity = "inductance"
mean = "33uH"
sd = "0.1uH"
"""


def lot_with(more: str = "", **changes: str) -> LotFile:
    """Give the lot, with more tables or other lines."""
    text = TEXT + more
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    return parse_lot_text(text, "invented.toml")


def result_of(inductance_h: float, *, q: float = 50.0, u: float = 0.1e-6) -> Result:
    """Give a result with these values; Q to 0.5."""
    return Result(
        procedure="coil",
        label="",
        quantities=(
            Quantity(
                name="inductance", value=inductance_h, unit="H", standard_uncertainty=u
            ),
            Quantity(name="unloaded_q", value=q, unit="1", standard_uncertainty=0.5),
        ),
        warnings=(),
        evidence=Evidence(sweeps=(), settings=(), instruments=(), software=""),
    )


@dataclass
class ScriptedBench:
    """Measures what the script says: henries, or an error's code, or an error."""

    script: list[float | str | Exception]
    measured: list[str] = field(default_factory=list)
    references: int = 0

    def now(self) -> str:
        """Give a time."""
        return "2001-02-03T04:05:06Z"

    def take_reference(self) -> None:
        """Count it."""
        self.references += 1

    def measure(self, label: str, *, leading: bool = True) -> Measured:
        """Give the next of the script."""
        del leading
        self.measured.append(label)
        said = self.script.pop(0) if self.script else 33e-6
        if isinstance(said, Exception):
            raise said
        return Measured(
            begun=self.now(),
            result=None if isinstance(said, str) else result_of(said),
            failure=Caution(code=said, text="none") if isinstance(said, str) else None,
            readings={},
        )


@dataclass
class ScriptedDesk:
    """Wishes what the script says, then to measure."""

    wishes: list[Wish | str] = field(default_factory=list)
    contact: Contact = "go_on"
    doubts: int = 0
    asked: list[tuple[str, str]] = field(default_factory=list)

    def present(self, part: Part, *, last: Part | None, checked: str = "") -> Presented:
        """Give the next wish; what is none is a label."""
        before = f"after {checked}" if checked else last.label if last else ""
        self.asked.append((part.label, before))
        said = self.wishes.pop(0) if self.wishes else "measure"
        if said in {"measure", "again", "skip", "undo", "stop", "end"}:
            return Presented(wish=said)  # type: ignore[arg-type] # one of these
        return Presented(label=said)

    def present_check(self, standard: str) -> bool:
        """Have it there."""
        self.asked.append((standard, "check"))
        return True

    def contact_doubted(self, n: int) -> Contact:
        """Say what the script says, once."""
        self.doubts += 1
        said, self.contact = self.contact, "go_on"
        del n
        return said


@dataclass
class Kept:
    """Keeper and display in one."""

    parts: list[Outcome] = field(default_factory=list)
    checks: list[CheckOutcome] = field(default_factory=list)
    shown: list[str] = field(default_factory=list)

    def claim(self, standing: Standing) -> int:
        """Give the next; nobody else is there."""
        return next(standing.open_positions())

    def keep(self, outcome: Outcome) -> int:
        """Keep it."""
        self.parts.append(outcome)
        return outcome.part.position

    def keep_check(self, outcome: CheckOutcome) -> int:
        """Keep it; two parts are suspect when it is out."""
        self.checks.append(outcome)
        return 0 if outcome.in_control else 2

    def part(self, outcome: Outcome, *, done: int, total: int | None) -> None:
        """Show it."""
        assert self.parts[-1].part == outcome.part  # kept before it is shown
        self.shown.append(f"{done}/{total} {outcome.part.label} {outcome.verdict}")

    def note(self, text: str) -> None:
        """Say it."""
        self.shown.append(text)

    def check(self, outcome: CheckOutcome, *, suspect: int) -> None:
        """Show it."""
        self.shown.append(f"check {outcome.in_control} {suspect}")


def run(
    lot: LotFile,
    script: Sequence[float | str | Exception] = (),
    *,
    desk: ScriptedDesk | None = None,
    **more: Any,
) -> tuple[Kept, ScriptedBench, LotRun]:
    """Run a lot from a script."""
    kept, bench = Kept(), ScriptedBench(list(script))
    if lot.check is not None:
        more.setdefault("checks", CheckBook(lot.check))
    lot_run = LotRun(
        lot,
        on_bench=bench,  # type: ignore[arg-type] # what it needs of it
        desk=desk or ScriptedDesk(),
        keeper=kept,
        display=kept,
        **more,
    )
    lot_run.run()
    return kept, bench, lot_run


@pytest.mark.parametrize(
    ("inductance_h", "q", "verdict", "codes"),
    [
        # Within by 2 u on each side (JCGM 106, 8.3.2: the guard band is U = 2 u).
        (33e-6, 50.0, "accepted", ()),
        (35.81e-6, 50.0, "undecided", ("inductance_too_close",)),
        (36.19e-6, 50.0, "undecided", ("inductance_too_close",)),
        (36.21e-6, 50.0, "rejected", ("inductance_above",)),
        (29.79e-6, 50.0, "rejected", ("inductance_below",)),
        (33e-6, 38.9, "rejected", ("unloaded_q_below",)),
        (36.1e-6, 38.9, "rejected", ("inductance_too_close", "unloaded_q_below")),
    ],
)
def test_a_part_is_accepted_only_if_all_limits_accept(
    inductance_h: float, q: float, verdict: str, codes: tuple[str, ...]
) -> None:
    """Rejected if any rejects; else undecided; each doubt with its code and numbers."""
    found, reasons, _ = decided(result_of(inductance_h, q=q), lot_with())
    assert found.value == verdict
    assert tuple(one.code for one in reasons) == codes
    assert all("±" in one.text for one in reasons)


def test_a_limit_on_what_was_not_measured_leaves_the_part_undecided() -> None:
    """Nothing doubtful passes."""
    result = replace(result_of(33e-6), quantities=result_of(33e-6).quantities[:1])
    verdict, reasons, _ = decided(result, lot_with())
    assert verdict is Verdict.UNDECIDED
    assert reasons[0].code == "unloaded_q_not_measured"


def test_every_part_is_kept_before_the_next_is_asked_for() -> None:
    """Five parts, five kept, in order, with bins for the accepted ones."""
    kept, bench, lot_run = run(lot_with(), [32e-6, 34e-6, 28e-6])
    assert bench.measured == ["L1", "L2", "L3", "L4", "L5"]
    assert [one.bin for one in kept.parts] == ["small", "", "", "small", "small"]
    assert kept.shown[2] == "3/5 L3 rejected"
    assert lot_run.stopped == ""


def test_a_part_without_a_resonance_is_unmeasured_with_its_reason() -> None:
    """No crash, no verdict, and the next is measured."""
    kept, _, _ = run(lot_with(), ["no_resonance"])
    assert kept.parts[0].verdict is Verdict.UNMEASURED
    assert kept.parts[0].reasons[0].code == "no_resonance"
    assert len(kept.parts) == 5


def test_again_measures_the_last_part_at_its_position() -> None:
    """The earlier attempt is kept too."""
    kept, _, _ = run(lot_with(), desk=ScriptedDesk(["measure", "again"]))
    positions = [(one.part.position, one.again) for one in kept.parts[:3]]
    assert positions == [(1, False), (1, True), (2, False)]


def test_undo_takes_the_last_result_back_and_asks_for_the_part_again() -> None:
    """Undone, then presented once more under the same label."""
    desk = ScriptedDesk(["measure", "measure", "undo"])
    kept, _, _ = run(lot_with(), desk=desk)
    seen = [(one.part.label, one.verdict.value) for one in kept.parts[:4]]
    assert seen == [
        ("L1", "accepted"),
        ("L2", "accepted"),
        ("L2", "undone"),
        ("L2", "accepted"),
    ]
    assert [one.again for one in kept.parts[:4]] == [False, False, True, True]


def test_a_skipped_part_is_kept_as_skipped() -> None:
    """It takes its position, so that labels and parts stay in step."""
    kept, bench, _ = run(lot_with(), desk=ScriptedDesk(["skip"]))
    assert kept.parts[0].verdict is Verdict.SKIPPED
    assert bench.measured == ["L2", "L3", "L4", "L5"]


def test_stop_ends_and_says_so() -> None:
    """What was measured is kept."""
    kept, _, lot_run = run(lot_with(), desk=ScriptedDesk(["measure", "stop"]))
    assert len(kept.parts) == 1
    assert "stopped" in lot_run.stopped


@pytest.mark.parametrize(("size", "said"), [("size = 5", "no more parts"), ("", "")])
def test_no_more_parts_ends_an_open_lot_and_cuts_a_sized_one_short(
    size: str, said: str
) -> None:
    """A lot of five that ends at two is not finished."""
    desk = ScriptedDesk(["measure", "measure", "end"])
    kept, _, lot_run = run(lot_with(**{"size = 5": size}), desk=desk)
    assert len(kept.parts) == 2
    assert said in lot_run.stopped
    assert bool(said) == bool(lot_run.stopped)


def test_a_run_goes_on_where_the_last_one_stood() -> None:
    """Positions known are not measured again; one that was undone is."""
    ok, undone = Verdict.ACCEPTED, Verdict.UNDONE
    standing = Standing(
        known={1: ok, 2: undone, 3: ok}, labels={1: "L1", 2: "L2", 3: "L3"}
    )
    kept, bench, _ = run(lot_with(), standing=standing)
    assert bench.measured == ["L2", "L4", "L5"]
    assert [one.again for one in kept.parts] == [True, False, False]


def test_a_finished_lot_asks_for_nothing() -> None:
    """Not even for a reference sweep."""
    known = dict.fromkeys(range(1, 6), Verdict.ACCEPTED)
    kept, bench, _ = run(lot_with(), standing=Standing(known=known))
    assert (kept.parts, bench.measured, bench.references) == ([], [], 0)


def test_labels_that_are_scanned_take_the_place_of_the_pattern() -> None:
    """As they were scanned."""
    lot = lot_with(**{'"L{number}"': '"ask"'})
    desk = ScriptedDesk(["=cmd()", "../x"])
    kept, _, _ = run(lot, desk=desk)
    assert [one.part.label for one in kept.parts[:2]] == ["=cmd()", "../x"]


def test_a_label_scanned_twice_is_the_same_part_again() -> None:
    """No part is counted twice: the second result takes the first one's place."""
    lot = lot_with(**{'"L{number}"': '"ask"'})
    kept, _, _ = run(lot, desk=ScriptedDesk(["A", "B", "A", "C", "stop"]))
    seen = [(one.part.label, one.part.position, one.again) for one in kept.parts]
    assert seen == [("A", 1, False), ("B", 2, False), ("A", 1, True), ("C", 3, False)]
    assert any("A was measured before, at position 1" in one for one in kept.shown)


def run_shared(theirs: Sequence[int], *, in_hand: Sequence[int] = ()) -> LotRun:
    """Run a lot of five of which another bench has stored some and holds some."""

    class Shared(Kept):
        def claim(self, standing: Standing) -> int:
            standing.known |= dict.fromkeys(theirs, Verdict.ACCEPTED)
            free = (one for one in standing.open_positions() if one not in in_hand)
            return next(free)

    kept = Shared()
    run = LotRun(
        lot_with(),
        on_bench=ScriptedBench([]),  # type: ignore[arg-type] # what it needs of it
        desk=ScriptedDesk(),
        keeper=kept,
        display=kept,
    )
    run.run()
    assert [one.part.label for one in kept.parts] == [
        f"L{n}" for n in range(1, 6) if n not in {*theirs, *in_hand}
    ]
    return run


def test_what_another_bench_has_stored_is_left() -> None:
    """Positions 2 and 3 are done: this bench measures 1, 4 and 5, and it is whole."""
    done = run_shared([2, 3])
    assert (done.stopped, done.elsewhere) == ("", 0)


def test_what_another_bench_has_in_hand_is_left_and_said() -> None:
    """Position 3 is in another's hands: the lot is not whole when this bench is."""
    done = run_shared([2], in_hand=[3])
    assert done.elsewhere == 1
    assert done.stopped == "another bench has 1 of its parts in hand"


def test_only_what_this_bench_stored_is_taken_back() -> None:
    """Two without a resonance, with another bench's part between: 1 and 3 again."""

    class Shared(Kept):
        def claim(self, standing: Standing) -> int:
            standing.known[2] = Verdict.ACCEPTED
            return next(standing.open_positions())

    kept = Shared()
    bench = ScriptedBench(["no_resonance", "no_resonance"])
    LotRun(
        lot_with("[contact]\nafter = 2\n"),
        on_bench=bench,  # type: ignore[arg-type] # what it needs of it
        desk=ScriptedDesk(contact="again"),
        keeper=kept,
        display=kept,
    ).run()
    assert bench.measured == ["L1", "L3", "L1", "L3", "L4", "L5"]


WHOLE = {
    n: Verdict.SKIPPED if n == 4 else Verdict.ACCEPTED for n in range(1, 6)
}  # all five


def test_parts_of_a_finished_lot_are_measured_again_by_position() -> None:
    """The standard first, the parts asked for alone, the standard last."""
    labels = {n: f"L{n}" for n in WHOLE}
    kept, bench, done = run(
        lot_with(CHECK),
        standing=Standing(known=dict(WHOLE), labels=labels, since_check=0),
        again=(4, 2),
    )
    assert bench.measured == ["S1", "L4", "L2", "S1"]
    seen = [(one.part.label, one.part.position, one.again) for one in kept.parts]
    assert seen == [("L4", 4, True), ("L2", 2, True)]
    assert done.stopped == ""


@pytest.mark.parametrize("label", ['"L{number}"', '"ask"'])
def test_a_part_to_be_measured_again_stays_as_it_was_where_it_is_skipped(
    label: str,
) -> None:
    """A skip would take the place of its result; however the labels are made."""
    kept, bench, done = run(
        lot_with(**{'"L{number}"': label}),
        desk=ScriptedDesk(["skip"]),
        standing=Standing(known=dict(WHOLE), labels={2: "B"}),
        again=(2,),
    )
    assert (bench.measured, kept.parts, done.stopped) == ([], [], "")
    assert kept.shown == ["B stays as it was"]


def test_another_label_than_the_one_to_be_measured_again_is_refused() -> None:
    """Scanned C where B was to come: nothing is driven until B is there."""
    kept, bench, _ = run(
        lot_with(**{'"L{number}"': '"ask"'}),
        desk=ScriptedDesk(["C", "B"]),
        standing=Standing(known=dict(WHOLE), labels={2: "B", 3: "C"}),
        again=(2,),
    )
    assert bench.measured == ["B"]
    assert "C is not B" in kept.shown[0]
    assert [one.part.position for one in kept.parts] == [2]


def test_a_link_that_fails_stops_the_lot_with_all_before_it_kept() -> None:
    """The error goes up; the part in hand is not kept."""
    kept = Kept()
    bench = ScriptedBench([33e-6, TransportError("gone")])
    with pytest.raises(TransportError):
        LotRun(
            lot_with(),
            on_bench=bench,  # type: ignore[arg-type] # what it needs of it
            desk=ScriptedDesk(),
            keeper=kept,
            display=kept,
        ).run()
    assert [one.part.label for one in kept.parts] == ["L1"]


def test_three_parts_without_a_resonance_raise_the_question_of_the_contact() -> None:
    """Once for three in a row; two and a good one do not."""
    none = "no_resonance"
    desk = ScriptedDesk()
    run(lot_with(), [none, none, 33e-6, none, none], desk=desk)
    assert desk.doubts == 0
    desk = ScriptedDesk()
    run(lot_with(), [none, none, none], desk=desk)
    assert desk.doubts == 1


def test_a_bad_contact_has_its_parts_measured_again() -> None:
    """All three are taken back and presented anew."""
    none = "no_resonance"
    desk = ScriptedDesk(contact="again")
    kept, bench, _ = run(lot_with(), [33e-6, none, none, none], desk=desk)
    assert bench.measured == ["L1", "L2", "L3", "L4", "L2", "L3", "L4", "L5"]
    undone = [one.part.label for one in kept.parts if one.verdict == "undone"]
    assert undone == ["L2", "L3", "L4"]


def test_a_bad_contact_can_stop_the_lot() -> None:
    """With a sentence that says where to look."""
    with pytest.raises(NoResonanceError, match="contacts"):
        run(lot_with(), ["no_resonance"] * 3, desk=ScriptedDesk(contact="stop"))


def test_the_check_standard_is_read_first_then_after_every_n_and_at_the_end() -> None:
    """Every 2 of 5: before 1, after 2, after 4, after 5; the reference with each."""
    kept, bench, _ = run(lot_with(CHECK))
    assert bench.measured == ["S1", "L1", "L2", "S1", "L3", "L4", "S1", "L5", "S1"]
    assert all(one.in_control for one in kept.checks)
    assert bench.references == 5


def test_again_after_a_check_repeats_the_check_and_stores_no_part() -> None:
    """The standard is on the fixture then; its second reading is kept beside it."""
    desk = ScriptedDesk(["again", "measure", "again"])
    kept, bench, _ = run(lot_with(CHECK), desk=desk)
    assert bench.measured[:6] == ["S1", "S1", "L1", "L1", "S1", "L2"]
    assert [one.part.label for one in kept.parts[:3]] == ["L1", "L1", "L2"]
    assert len(kept.checks) == bench.measured.count("S1")
    said = [before for label, before in desk.asked if label != "S1"]
    assert said[:4] == ["after S1", "after S1", "L1", "after S1"]


def test_a_check_standard_that_is_out_is_said_with_what_it_casts_doubt_on() -> None:
    """33.4 uH where 33.0 +- 0.1 is known: four deviations, beyond three."""
    script = [33e-6, 33e-6, 33e-6, 33.4e-6]
    kept, _, lot_run = run(lot_with(CHECK), script)
    assert "check False 2" in kept.shown
    out = next(one for one in kept.checks if not one.in_control)
    assert out.reasons[0].code == "check_beyond_limits"
    assert lot_run.stopped == ""


def test_a_check_standard_that_is_out_can_stop_the_lot() -> None:
    """Where the lot file says so."""
    kept, _, lot_run = run(lot_with(CHECK + 'when_out = "stop"\n'), [40e-6])
    assert kept.parts == []
    assert "out of control" in lot_run.stopped


def test_a_check_that_is_due_is_remembered_over_a_restart() -> None:
    """Two parts since the last: it is read before the third."""
    ok = Verdict.ACCEPTED
    standing = Standing(known={1: ok, 2: ok}, labels={}, since_check=2)
    _, bench, _ = run(lot_with(CHECK), standing=standing)
    assert bench.measured[:2] == ["S1", "L3"]


def test_a_check_standard_without_a_resonance_is_out_of_control() -> None:
    """A bench that cannot measure its standard is not to be believed."""
    kept, _, _ = run(lot_with(CHECK), ["no_resonance"])
    assert not kept.checks[0].in_control


def test_without_a_mean_the_history_says_what_is_right() -> None:
    """Readings of other lots, 33.00 +- 0.01 uH: 33.2 is out; 33.01 is not."""
    lot = lot_with(CHECK.replace('mean = "33uH"\nsd = "0.1uH"\n', ""))
    assert lot.check is not None
    history = [33.00e-6, 33.01e-6, 32.99e-6, 33.00e-6, 33.01e-6, 32.99e-6]
    verdicts = []
    for value in (33.2e-6, 33.01e-6):
        book = CheckBook(lot.check, history=history)
        verdicts.append(book.judged(result_of(value), begun="", readings={}).in_control)
    assert verdicts == [False, True]


def test_a_standard_that_is_new_is_taken_for_good_and_that_is_said() -> None:
    """Three readings make a chart; before them nothing can be out."""
    lot = lot_with(CHECK.replace('mean = "33uH"\nsd = "0.1uH"\n', ""))
    assert lot.check is not None
    book = CheckBook(lot.check)
    first = [
        book.judged(result_of(value), begun="", readings={})
        for value in (33.00e-6, 33.01e-6, 32.99e-6)
    ]
    assert all(one.in_control for one in first)
    assert {one.reasons[0].code for one in first} == {"check_without_history"}
    later = book.judged(result_of(34e-6), begun="", readings={})
    assert not later.in_control
