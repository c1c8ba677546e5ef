"""A lot file is checked whole before the first part, every mistake with its line."""

from pathlib import Path

import pytest

from halfpower.analysis import InputError
from halfpower.analysis.lots import Decision, Limits
from halfpower.sweeps.lots import load_lot_file, parse_lot_text
from halfpower.sweeps.lots.models import LotTable

TEXT = """\
[lot]
name = "chokes"
procedure = "coil"
size = 200
label = "L{number:03}"
[measure]
from = "1MHz"
to = "1.6MHz"
capacitor = "470pF +- 1%"
[limit.inductance]
nominal = "33uH"
tolerance = "-5% +10%"
[limit.unloaded_q]
lower = 30
[check]
every = 25
standard = "S1"
quantity = "inductance"
[bin.low]
quantity = "inductance"
upper = "33uH"
[matching.within]
inductance = "1%"
"""


def lot_table(**changes: object) -> LotTable:
    """Give a [lot] table."""
    given = {"name": "x", "procedure": "coil"} | changes
    return LotTable.model_validate(given)


def test_a_lot_file_is_read_whole() -> None:
    """Limits in SI, units by the quantity; the text is kept as it was."""
    lot = parse_lot_text(TEXT, "chokes.toml")
    limits = lot.limit["inductance"].limits
    assert limits.low == pytest.approx(33e-6 * 0.95, rel=1e-12)  # as it is written
    assert limits.high == pytest.approx(33e-6 * 1.10, rel=1e-12)
    assert lot.limit["unloaded_q"].limits == Limits(lower=30.0)
    assert lot.bin["low"].limits == Limits(upper=33e-6)
    assert lot.matching is not None
    assert lot.matching.within == {"inductance": 0.01}
    assert lot.text == TEXT


@pytest.mark.parametrize(
    ("tolerance", "low", "high"),
    [
        ("10%", 29.7e-6, 36.3e-6),  # 33 less and plus a tenth
        ("2uH", 31e-6, 35e-6),
        ("-20% + 80%", 26.4e-6, 59.4e-6),  # 33 * 0.8, 33 * 1.8
        ("- 1uH +3uH", 32e-6, 36e-6),
    ],
)
def test_a_tolerance_is_a_share_or_an_amount_even_or_lopsided(
    tolerance: str, low: float, high: float
) -> None:
    """Both sides, in the quantity's unit."""
    text = TEXT.replace("-5% +10%", tolerance)
    limits = parse_lot_text(text, "x").limit["inductance"].limits
    assert (limits.low, limits.high) == pytest.approx((low, high), rel=1e-12)


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('"33uH"\nt', '"33uF"\nt', "line 11: limit.inductance.nominal: '33uF' is not"),
        ("-5% +10%", "some", "line 10: limit.inductance: 'some' is not a number"),
        ("-5% +10%", "-5uF", "line 10: limit.inductance: '-5uF' is not in H"),
        ("-5% +10%", "-5%", "line 10: limit.inductance: a tolerance of '-5%' is below"),
        ("lower = 30", 'lower = "30uH"', "line 14: limit.unloaded_q.lower: '30uH'"),
        (
            "lower = 30",
            "lowr = 30",
            "line 14: unknown key 'limit.unloaded_q.lowr'",
        ),
        ("lower = 30", "", "line 13: limit.unloaded_q: give 'nominal' and"),
        ("[limit.unloaded_q]", "[limit.capacitance]", "line 14: limit.capacitance.low"),
        (
            "[limit.unloaded_q]",
            "[limit.volume]",
            "line 13: limit.volume.quantity",
        ),
        (
            '"coil"',
            '"capacitor"',
            "line 10: limit.inductance: a capacitor has no in",
        ),
        ("size = 200", "sample = 20", "line 1: lot: a sample of 20 cannot be drawn"),
        ("size = 200", "size = 9\nsample = 1\nevery = 2", "not by both"),
        ("L{number:03}", "L", "line 5: lot.label: 'L' is neither 'ask' nor a pattern"),
        ("L{number:03}", "{number.real}", "line 5: lot.label:"),
        ("L{number:03}", "a\\u0000{number}", "line 5: lot.label: it holds a control"),
        ('"1.6MHz"', '"0.6MHz"', "line 6: measure: 'from' is not below 'to'"),
        ("every = 25", "every = 0", "line 16: check.every:"),
        (
            "every = 25",
            'every = 25\nmean = "33uH"',
            "line 15: check: a known mean",
        ),
        (
            "[bin.low]",
            '[bin.a]\nquantity="loaded_q"\nlower=3\n[bin.low]',
            "bins are",
        ),
        ('"chokes"', '"chokes"\nspare = 1', "line 3: unknown key 'lot.spare'"),
        ("[lot]", "[lot", "is not TOML"),
    ],
)
def test_a_mistake_is_named_with_its_line(old: str, new: str, sentence: str) -> None:
    """One sentence that says where and what."""
    assert old in TEXT
    with pytest.raises(InputError) as caught:
        parse_lot_text(TEXT.replace(old, new, 1), "chokes.toml")
    assert "lot file chokes.toml" in str(caught.value)
    assert sentence in str(caught.value)


def test_all_mistakes_are_named_at_once() -> None:
    """Nobody mends a file one mistake a run."""
    text = TEXT.replace("size", "sise").replace("every = 25", "every = 0")
    with pytest.raises(InputError, match=r"line 4: .*line 16: "):
        parse_lot_text(text, "x")


def test_a_missing_file_is_one_sentence(tmp_path: Path) -> None:
    """The path is in it."""
    with pytest.raises(InputError, match="cannot read lot file"):
        load_lot_file(tmp_path / "none.toml")


def test_a_random_sample_is_drawn_without_repeats_and_again_the_same() -> None:
    """The seed decides: a lot that goes on must go on with the same parts."""
    drawn = [list(lot_table(size=200, sample=20).numbers()) for _ in range(2)]
    assert drawn[0] == drawn[1] == sorted(set(drawn[0]))
    assert len(drawn[0]) == 20
    assert 1 <= drawn[0][0] <= drawn[0][-1] <= 200
    other = list(lot_table(size=200, sample=20, sample_seed=1).numbers())
    assert other != drawn[0]


def test_a_random_sample_favours_no_part() -> None:
    """Over 400 seeds each of 10 parts is among 5 about half the time.

    200 +- 10 of 400 (binomial, sd 10); 5 sd are allowed.
    """
    seen = [0] * 10
    for seed in range(400):
        for number in lot_table(size=10, sample=5, sample_seed=seed).numbers():
            seen[number - 1] += 1
    assert all(150 < one < 250 for one in seen)


def test_every_so_manieth_part_is_taken() -> None:
    """Every fourth of ten: 4 and 8."""
    table = lot_table(size=10, every=4)
    assert list(table.numbers()) == [4, 8]
    assert table.count == 2


def test_an_open_lot_has_no_last_part() -> None:
    """Numbers go on for as long as parts come."""
    table = lot_table()
    numbers = table.numbers()
    assert [next(numbers) for _ in range(3)] == [1, 2, 3]
    assert table.count is None


def test_the_guard_band_is_in_expanded_uncertainties() -> None:
    """1.0 is U = 2u: 2.1 u inside a limit is accepted, 1.9 u is not (JCGM 106, 8.3)."""
    from halfpower.analysis.lots import decide

    lot = parse_lot_text(TEXT, "x")
    rule, limits = lot.decision.rule, lot.limit["unloaded_q"].limits
    near = decide(31.9, u=1.0, limits=limits, guard_band=rule).decision
    far = decide(32.1, u=1.0, limits=limits, guard_band=rule).decision
    assert (near, far) == (Decision.UNDECIDED, Decision.ACCEPTED)


def test_bundled_lot_files_can_be_read() -> None:
    """Each of them, and each says that it is invented."""
    folder = Path(__file__).parents[3] / "cli" / "lots"
    paths = sorted(folder.glob("*.toml"))
    assert paths
    for path in paths:
        load_lot_file(path)
        assert "invented" in path.read_text("utf-8")
