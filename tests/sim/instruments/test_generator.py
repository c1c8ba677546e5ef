"""The generator: levels, limits, steps, errors, and what a circuit gets of it."""

import math

import numpy as np
import pytest

from halfpower.sim import load_scene

EXACT = "level_step_db = 0.0\nsettling_s = 0.0\n"


@pytest.fixture
def bench(make_bench):
    """Give a bench whose generator has no steps and settles at once."""
    return make_bench(generator=EXACT)


@pytest.fixture
def generator(bench, talk):
    """Speak to the generator."""
    return talk(bench, "generator")


def fundamental(bench):
    """Give what arrives at the detector."""
    (first,) = bench.path.components(bench.clock.now_s + 1.0, 1e-3)
    return first


def emf_v(bench):
    """Work the e.m.f. back from what arrives."""
    first = fundamental(bench)
    return first.amplitude_v / abs(bench.circuit.transfer([first.frequency_hz])[0])


@pytest.mark.parametrize(
    ("message", "expected_v"),
    [
        # the level is across 50 ohm unless told otherwise: the e.m.f. is twice it
        ("VOLT 1 VPP", 2.0 / (2.0 * math.sqrt(2.0))),
        ("VOLT 1 VRMS", 2.0),
        ("VOLT:UNIT VRMS;:VOLT 1", 2.0),
        # 0 dBm in 50 ohm is 1 mW: 0.2236 V r.m.s.
        ("POW 0", 2.0 * math.sqrt(0.05)),
        ("VOLT 0 DBM", 2.0 * math.sqrt(0.05)),
        ("POW 1 MW", 2.0 * math.sqrt(0.05)),
        # with no load the level is the e.m.f.
        ("OUTP:LOAD INF;:VOLT 1 VRMS", 1.0),
        # 450 ohm: nine tenths of the e.m.f.
        ("OUTP:LOAD 450;:VOLT 0.9 VRMS", 1.0),
    ],
)
def test_a_level_is_an_emf_by_the_assumed_load(bench, generator, message, expected_v):
    """The e.m.f. is level (RL + 50) / RL."""
    generator(message)
    generator("OUTP 1")
    assert generator.error() == 0
    assert emf_v(bench) == pytest.approx(expected_v, rel=1e-9)


def test_the_level_that_appears_depends_on_the_circuit(make_bench, talk):
    """In a matched load it is the level set; the generator knows nothing of it."""
    rest = '[fixture]\ntable = "trap"\n[fixture.elements.line]\ncapacitance_f = 0.0\n'
    meter = (
        '[detector]\nkind = "power-meter"\ninput_capacitance_f = 0.0\n'
        'resource = "TCPIP0::192.0.2.12::inst0::INSTR"\n'
    )
    bench = make_bench(generator=EXACT, detector=meter, rest=rest)
    generator = talk(bench, "generator")
    generator("POW 0;:OUTP 1")
    assert fundamental(bench).amplitude_v == pytest.approx(math.sqrt(0.05), rel=1e-6)


def test_changing_the_assumed_load_changes_what_is_told_not_the_output(
    bench, generator
):
    """1 V p-p across 50 ohm is 2 V p-p across none."""
    generator("VOLT 1 VPP;:OUTP 1")
    before = emf_v(bench)
    generator("OUTP:LOAD INF")
    assert float(generator("VOLT?")) == pytest.approx(2.0)
    assert emf_v(bench) == pytest.approx(before)


def test_the_limits_follow_the_assumed_load(generator):
    """10 V p-p across 50 ohm is 20 V p-p across none, and not a step more."""
    assert float(generator("VOLT? MAX")) == pytest.approx(10.0)
    generator("OUTP:LOAD INF;:VOLT MAX")
    assert float(generator("VOLT?")) == pytest.approx(20.0)
    generator("VOLT 20.1")
    assert generator.error() == -222


def test_the_frequency_is_rounded_to_its_resolution(generator):
    """One hundredth of a hertz."""
    generator("FREQ 7000000.1249")
    assert float(generator("FREQ?")) == pytest.approx(7000000.12, abs=1e-6)


def test_the_reference_is_wrong_by_its_drawn_error(make_bench, talk):
    """The true frequency is the set one times 1 + error."""
    bench = make_bench(generator=EXACT + "reference_error_ppm = 3.0\n")
    talk(bench, "generator")("FREQ 7E6;:OUTP 1")
    assert fundamental(bench).frequency_hz == pytest.approx(7e6 * 1.000003, rel=1e-12)


def test_level_steps_and_level_error_are_in_decibels(make_bench, talk):
    """On steps of 3 dB, with 0.5 dB too much."""
    text = "level_step_db = 3.0\nlevel_error_db = 0.5\nsettling_s = 0.0\n"
    bench = make_bench(generator=text)
    talk(bench, "generator")("OUTP:LOAD INF;:VOLT 1.1 VRMS;:OUTP 1")
    assert emf_v(bench) == pytest.approx(10.0 ** (0.5 / 20.0), rel=1e-9)


def test_harmonics_are_there_by_their_share(make_bench, talk):
    """-40 dBc is a hundredth, at twice the frequency."""
    bench = make_bench(generator=EXACT + "harmonics_dbc = [-40.0]\n")
    talk(bench, "generator")("FREQ 2E6;:OUTP 1")
    first, second = bench.path.components(1.0, 1e-3)
    gain = np.abs(bench.circuit.transfer([2e6, 4e6]))
    assert second.frequency_hz == pytest.approx(4e6)
    ratio = (second.amplitude_v / gain[1]) / (first.amplitude_v / gain[0])
    assert ratio == pytest.approx(0.01)


def test_the_output_is_off_after_reset(bench, generator):
    """*RST is safe: no output, whatever was set."""
    generator("VOLT 5;:OUTP 1;*RST")
    assert generator("OUTP?") == "0"
    assert bench.path.components(1.0, 1e-3) == []


def test_an_error_changes_nothing(generator):
    """A refused level leaves the one before."""
    generator("VOLT 0.5")
    generator("VOLT 50")
    assert float(generator("VOLT?")) == pytest.approx(0.5)


def test_the_compact_dialect_knows_power_only(talk):
    """VOLTage is undefined, numbers are NR2, the empty queue says +0."""
    generator = talk(load_scene("kit-coil-diode").build(), "generator")
    generator("POW -10;FREQ 6.8E6")
    assert generator("POW?") == "-10.000"
    assert generator("FREQ?") == "6800000.00"
    assert generator("SYST:ERR?") == '+0,"No error"'
    generator("VOLT 1")
    assert generator("SYST:ERR?") == '-113,"Undefined header;VOLT"'


def test_the_level_dips_when_the_frequency_changes_and_comes_back(make_bench, talk):
    """By its share, with its time constant; switching on begins from nothing."""
    bench = make_bench(generator="settling_s = 1e-3\nfrequency_dip = 0.2\n")
    generator = talk(bench, "generator")

    def level_v():
        return bench.path.level_now_v(bench.clock.now_s)

    generator("OUTP 1")
    assert level_v() == 0.0
    bench.clock.sleep(1.0)
    full = level_v()
    generator("FREQ 2E6")
    assert level_v() == pytest.approx(0.8 * full)
    bench.clock.sleep(1e-3)
    assert level_v() == pytest.approx((1.0 - 0.2 * math.exp(-1.0)) * full)
    generator("OUTP 0")
    assert level_v() == 0.0
