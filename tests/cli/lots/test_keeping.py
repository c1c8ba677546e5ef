"""What the base has of a lot: attempts, check standards, suspect parts."""

from uuid import uuid4

from halfpower.analysis import Evidence, Quantity, Result
from halfpower.analysis.lots import Verdict
from halfpower.cli.lots.keeping import BaseKeeper, resumed
from halfpower.records import RecordBase, open_base
from halfpower.records.base import Circumstances
from halfpower.sweeps.lots import (
    CheckOutcome,
    LotFile,
    Outcome,
    Part,
    parse_lot_text,
)

TEXT = """\
[lot]
name = "invented"
procedure = "coil"
size = 9
label = 'L{number}'
[measure]
from = "700kHz"
to = "2.2MHz"
capacitor = "470pF +- 1%"
[limit.inductance]
nominal = "33uH"
tolerance = "10%"
"""


def keeper_of(base: RecordBase, file: LotFile) -> BaseKeeper:
    """Give the keeper of a lot that was opened."""
    return BaseKeeper(
        base,
        file,
        station="here",
        circumstances=Circumstances(),
        uuid=lambda: str(uuid4()),
        take=lambda positions: next(iter(positions)),
    )


def outcome_of(part: Part, verdict: str, *, again: bool = False) -> Outcome:
    """Give a part that was not measured."""
    return Outcome(
        part=part,
        again=again,
        begun="2001-02-03T04:05:06Z",
        verdict=Verdict(verdict),
        readings={},
    )


def check_of(inductance_h: float, *, good: bool) -> CheckOutcome:
    """Give a reading of the check standard."""
    value = Quantity(
        name="inductance", value=inductance_h, unit="H", standard_uncertainty=1e-9
    )
    nothing = Evidence(sweeps=(), settings=(), instruments=(), software="")
    return CheckOutcome(
        standard="S",
        begun="2001-02-03T04:05:06Z",
        in_control=good,
        value=value,
        reasons=(),
        result=Result(
            procedure="coil",
            label="",
            quantities=(value,),
            warnings=(),
            evidence=nothing,
        ),
        readings={},
    )


def test_only_a_check_out_of_control_makes_parts_suspect() -> None:
    """The count that is shown: none of two, then the two since the good reading."""
    file = parse_lot_text(TEXT, "x")
    with open_base("base") as base:
        resumed(base, file, station="here", begun="2001-02-03T04:05:06Z")
        keeper = keeper_of(base, file)
        counts = []
        for numbers, good in (((1, 2), True), ((3, 4), False)):
            for number in numbers:
                part = Part(position=number, number=number, label=f"L{number}")
                keeper.keep(outcome_of(part, "unmeasured"))
            counts.append(keeper.keep_check(check_of(33e-6, good=good)))
    assert counts == [0, 2]


def test_only_good_readings_of_other_lots_say_what_the_standard_reads() -> None:
    """Three good ones at 33.00 uH to 0.01 uH, three bad at 40 uH: 33.5 uH is out.

    With the bad ones the deviation would be 3.8 uH, and nothing would be out.
    """
    check = '[check]\nevery = 5\nstandard = "S"\nquantity = "inductance"\n'
    first, second = (
        parse_lot_text(TEXT.replace("invented", name) + check, "x")
        for name in ("first", "second")
    )
    with open_base("base") as base:
        resumed(base, first, station="here", begun="2001-02-03T04:05:06Z")
        keeper = keeper_of(base, first)
        for value, good in (
            (32.99e-6, True),
            (33e-6, True),
            (33.01e-6, True),
            (40e-6, False),
            (40.1e-6, False),
            (39.9e-6, False),
        ):
            keeper.keep_check(check_of(value, good=good))
        kept = resumed(base, second, station="here", begun="2001-02-03T04:05:07Z")
    assert kept.checks is not None
    new = check_of(33.5e-6, good=True)
    judged = kept.checks.judged(new.result, begun=new.begun, readings={})
    assert not judged.in_control


def test_a_part_measured_again_keeps_both_attempts() -> None:
    """The base gives the newer one, and has the older one still."""
    file = parse_lot_text(TEXT, "x")
    part = Part(position=1, number=1, label="L1")
    with open_base("base") as base:
        resumed(base, file, station="here", begun="2001-02-03T04:05:06Z")
        keeper = keeper_of(base, file)
        for again, verdict in ((False, "unmeasured"), (True, "undone")):
            assert keeper.keep(outcome_of(part, verdict, again=again)) == 1
        assert [one.verdict.value for one in base.parts("invented")] == ["undone"]
        assert len(list(base.parts("invented", all_attempts=True))) == 2
        standing = resumed(
            base, file, station="here", begun="2001-02-03T04:05:07Z"
        ).standing
    assert (standing.done, next(standing.open_positions())) == (0, 1)
