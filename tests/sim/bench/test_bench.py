"""The bench: what is drawn, what a hand changes, what the truth says."""

import pytest

from halfpower.sim import load_scene


def test_the_truth_is_drawn_from_the_scene_and_the_seed():
    """The same seed, the same parts; another seed, others, within their spread."""
    scene = load_scene("kit-coil")
    truth = [scene.build(seed=s).truth for s in (1, 1, 2)]
    assert truth[0] == truth[1]
    assert truth[0]["coil.inductance_h"] != truth[2]["coil.inductance_h"]
    known = [scene.build(seed=s).truth["capacitor.capacitance_f"] for s in range(20)]
    assert all(abs(c - 150e-12) <= 1.5e-12 for c in known)


def test_the_truth_cannot_be_changed():
    """It is a view of what was drawn."""
    truth = load_scene("kit-coil").build().truth
    with pytest.raises(TypeError):
        truth["coil.inductance_h"] = 0.0


def test_a_bench_without_a_coil_does_not_ring():
    """Nothing resonates in kit-coil-open."""
    assert load_scene("kit-coil-open").build().modes == ()


def test_the_kit_coil_is_what_its_scene_says():
    """About 3.3 uH with Q near 180: the tank near 6.8 MHz, loaded a little lower."""
    (mode, *_) = load_scene("kit-coil").build(seed=1).modes
    assert 6.5e6 < mode.frequency_hz < 7.1e6
    assert 150.0 < mode.q < 180.0


@pytest.fixture
def lot():
    """Give the bench with the bag of chokes."""
    return load_scene("choke-lot").build(seed=1)


def test_a_part_is_the_same_whatever_came_before(lot):
    """Number 7 is number 7."""
    lot.insert_part(7)
    first = (dict(lot.truth), lot.defect, lot.modes)
    lot.insert_part(100)
    assert lot.modes != first[2]
    lot.insert_part(7)
    assert lot.modes == first[2]
    assert lot.defect == first[1]


def test_defects_come_as_often_as_their_probabilities_say(lot):
    """Seven in a hundred of 200: 14, give or take 3.6."""
    defects = []
    for number in range(1, lot.part_count + 1):
        lot.assembly.insert_part(number)
        defects.append(lot.defect)
    bad = [d for d in defects if d is not None]
    assert abs(len(bad) - 14) < 4 * 3.6
    assert set(bad) <= {"shorted-turn", "cracked-core", "wrong-value", "open"}


@pytest.mark.parametrize("number", [0, 201])
def test_a_part_that_is_not_in_the_bag_is_refused(lot, number):
    """Numbers run from 1 to the count."""
    with pytest.raises(ValueError, match="parts 1 to 200"):
        lot.insert_part(number)


def test_a_bench_without_a_lot_a_dial_or_a_sheet_says_so():
    """A LookupError for each."""
    bench = load_scene("kit-coil").build()
    for action in (
        lambda: bench.insert_part(1),
        lambda: bench.set_capacitor(1e-10),
        lambda: bench.set_sheet("in"),
        lambda: bench.disconnect("unknown"),
    ):
        with pytest.raises(LookupError):
            action()


def test_the_dial_sets_the_capacitance_with_its_error():
    """True value = setting (1 + error) + offset."""
    bench = load_scene("mica-capacitor").build(seed=2)
    bench.set_capacitor(300e-12)
    truth = bench.truth
    expected = 300e-12 * (1.0 + truth["capacitor.dial_error_relative"])
    expected += truth["capacitor.dial_offset_f"]
    assert truth["capacitor.capacitance_f"] == pytest.approx(
        expected, rel=1e-12, abs=0.0
    )
    assert abs(expected - 300e-12) <= 0.8e-12  # the scene's 0.2 % and 0.2 pF
    with pytest.raises(ValueError, match="dial goes from"):
        bench.set_capacitor(600e-12)


def test_less_capacitance_tunes_the_tank_back():
    """Parallel substitution: the dial goes down by the unknown's value."""
    bench = load_scene("mica-capacitor").build(seed=2)
    bench.disconnect("unknown")
    alone = bench.modes[0].frequency_hz
    bench.connect("unknown")
    bench.set_capacitor(250e-12 - bench.truth["unknown.capacitance_f"])
    # the lead's 6 nH make the unknown seem larger by omega^2 L C, 1e-4 of itself
    assert bench.modes[0].frequency_hz == pytest.approx(alone, rel=3e-4)


def test_a_sheet_lowers_the_resonance_more_than_air_does():
    """Out, air, in: each adds capacitance."""
    bench = load_scene("board-sheet").build()
    frequencies = []
    for state in ("out", "air", "in"):
        bench.set_sheet(state)
        frequencies.append(bench.modes[0].frequency_hz)
    assert frequencies == sorted(frequencies, reverse=True)
    with pytest.raises(ValueError, match="in, air or out"):
        bench.set_sheet("half")


def test_the_hand_does_over_scpi_what_the_bench_does(talk):
    """For clients in another process."""
    bench = load_scene("choke-lot").build(seed=1)
    hand = talk(bench, "hand")
    hand("*CLS")
    hand("PART 14")
    assert hand("PART?;:PART:COUN?") == "14;200"
    assert bench.defect == "open"  # of this scene with this seed
    hand("PART 999")
    assert hand.error() == -222
    hand("CAP 1E-10")
    assert hand.error() == -241
    hand("DISC CAPACITOR")
    assert hand.error() == 0
    assert not bench.assembly.is_connected("capacitor")


def test_the_hand_turns_the_dial_and_moves_the_sheet(talk):
    """CAPacitor and SHEet read back."""
    hand = talk(load_scene("mica-capacitor").build(), "hand")
    hand("CAP 123E-12")
    assert float(hand("CAP?")) == pytest.approx(123e-12, rel=1e-9, abs=0.0)
    hand = talk(load_scene("board-sheet").build(), "hand")
    hand("SHE AIR")
    assert hand("SHEET?") == "AIR"


def test_a_reading_taken_at_once_is_not_the_settled_one(talk):
    """A tank that has not rung up, a level that has not settled: read low."""
    bench = load_scene("kit-coil").build(seed=1)
    generator, scope = talk(bench, "generator"), talk(bench, "detector")
    scope("CHAN1:SCAL 1")
    generator(f"FREQ {bench.modes[0].frequency_hz};:VOLT 1;:OUTP 1")
    early = float(scope("MEAS:VRMS?"))
    bench.clock.sleep(0.1)
    assert early < 0.5 * float(scope("MEAS:VRMS?"))


def test_a_harmonic_rings_the_tank_at_half_its_frequency(talk):
    """The ghost: at f0/2 the second harmonic is at f0."""
    bench = load_scene("kit-coil").build(seed=1)
    generator, scope = talk(bench, "generator"), talk(bench, "detector")
    f0_hz = bench.modes[0].frequency_hz
    scope("CHAN1:SCAL 0.02")
    generator("VOLT 1;:OUTP 1")

    def read(hz):
        generator(f"FREQ {hz}")
        bench.clock.sleep(0.1)
        return float(scope("MEAS:VRMS?"))

    assert read(f0_hz / 2.0) > 1.5 * read(f0_hz / 2.0 * 1.03)


def test_the_truth_is_of_the_part_that_is_in(lot):
    """A defect's values go with the part that had it."""
    lot.insert_part(14)
    assert lot.truth["coil.is_open"] == 1.0  # this seed's open choke
    lot.insert_part(1)
    assert "coil.is_open" not in lot.truth
