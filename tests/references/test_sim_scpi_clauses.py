"""The simulated instruments against the clauses of IEEE 488.2 and SCPI-99.

Every row cites the clause that it obeys. Error numbers and texts, the registers'
bits and the infinities were read in public copies of SCPI-99 volume 2,
21.8 (an open parser's error table) and IEEE 488.2 section 11; the clause numbers
are from memory.
"""

import pytest

from halfpower.sim import load_scene
from halfpower.sim.instruments import Link


@pytest.fixture
def bench():
    """Give a bench."""
    return load_scene("kit-coil").build(seed=1)


@pytest.fixture
def generator(bench):
    """Give a link to its generator, the power-on event read."""
    link = Link(bench.instruments["generator"])
    talk(link, "*CLS")
    return link


def talk(link, message):
    """Send one message, as an instrument on a bus takes it; give its answer."""
    link.write(message.encode(), end=True)
    return link.take(10_000)[0].decode().rstrip("\n")


def errors(link):
    """Empty the error queue; give its numbers."""
    numbers = []
    while (number := int(talk(link, "SYST:ERR?").split(",")[0])) != 0:
        numbers.append(number)
    return numbers


ERROR_ROWS = [
    # message, error number, clause
    ("FREQ 1E6", None, "SCPI-99 v1 5: a command that is right leaves no error"),
    ("FREK 1E6", -113, "SCPI-99 v2 21.8.9: -113 Undefined header"),
    ("FREQUE 1E6", -113, "SCPI-99 v1 6.2.1: short or long form, nothing between"),
    ("OUTP", -109, "SCPI-99 v2 21.8.9: -109 Missing parameter"),
    ("FREQ 1E6,2E6", -108, "SCPI-99 v2 21.8.9: -108 Parameter not allowed"),
    ("*RST 1", -108, "IEEE 488.2 10.32: *RST takes no parameter"),
    ('FREQ "1E6"', -104, "SCPI-99 v2 21.8.9: -104 Data type error"),
    ("FREQ 1E6 VOLT", -131, "SCPI-99 v2 21.8.9: -131 Invalid suffix"),
    ("*ESE 1 HZ", -138, "SCPI-99 v2 21.8.9: -138 Suffix not allowed"),
    ("FREQ 1.2.3", -121, "SCPI-99 v2 21.8.9: -121 Invalid character in number"),
    ("FREQ 1E99999", -123, "IEEE 488.2 7.7.2.4.1: exponents beyond 32000"),
    ("FREQ FOO", -141, "SCPI-99 v2 21.8.9: -141 Invalid character data"),
    ("OUTP MAYBE", -224, "SCPI-99 v2 21.8.10: -224 Illegal parameter value"),
    ("VOLT:UNIT OHM", -224, "SCPI-99 v2 21.8.10: -224 Illegal parameter value"),
    ("FREQ 1E12", -222, "SCPI-99 v2 21.8.10: -222 Data out of range"),
    ("VOLT 1E3", -222, "SCPI-99 v2 21.8.10: -222 Data out of range"),
    ("*ESE 256", -222, "IEEE 488.2 10.10: the mask is 0 to 255"),
    ("SOUR2:FREQ 1E6", -114, "SCPI-99 v1 6.2.5.2: -114 Header suffix out of range"),
    ("OUTP:LOAD INF;:POW 0 DBM", -221, "SCPI-99 v2 21.8.10: -221 Settings conflict"),
    ("FREQ,1E6", -103, "SCPI-99 v2 21.8.9: -103 Invalid separator"),
    ("FREQ 1E6;;OUTP 1", -102, "SCPI-99 v2 21.8.9: -102 Syntax error"),
    ("FREQ \x7f1E6\xe9", -101, "SCPI-99 v2 21.8.9: -101 Invalid character"),
    ('FREQ "1', -151, "SCPI-99 v2 21.8.9: -151 Invalid string data"),
    ("ABCDEFGHIJKLMNOP 1", -112, "IEEE 488.2 7.6.1.4.1: twelve characters"),
    ("*IDN?;FREQ?", -440, "IEEE 488.2 6.5.7.5: a query after an endless answer"),
]


@pytest.mark.parametrize(("message", "number", "clause"), ERROR_ROWS)
def test_a_message_leaves_the_error_that_its_clause_names(
    generator, message, number, clause
):
    """The error queue holds exactly the standard's number."""
    generator.write(message.encode("latin-1"), end=True)
    generator.clear()
    assert errors(generator) == ([] if number is None else [number]), clause


SETTING_ROWS = [
    # message, query, answer, clause
    ("freq 2e6", "FREQ?", 2e6, "SCPI-99 v1 6.2.1: case does not matter"),
    ("SOURCE1:FREQUENCY:CW 2E6", "FREQ?", 2e6, "SCPI-99 v1 6.2.1: long forms"),
    ("FREQ 2 MHZ", "FREQ?", 2e6, "IEEE 488.2 7.7.3: MHZ is mega, M else milli"),
    ("FREQ 2MHZ", "FREQ?", 2e6, "IEEE 488.2 7.7.3.2: white space is optional"),
    ("FREQ 2000 KHZ", "FREQ?", 2e6, "IEEE 488.2 7.7.3: K"),
    ("FREQ #H1E8480", "FREQ?", 2e6, "IEEE 488.2 7.7.4: non-decimal numbers"),
    ("FREQ +.2E+7", "FREQ?", 2e6, "IEEE 488.2 7.7.2: forms of a number"),
    ("VOLT 200 MVPP", "VOLT?", 0.2, "IEEE 488.2 7.7.3: MV is milli"),
    ("FREQ MAX", "FREQ?", 60e6, "SCPI-99 v1 7.2.1.2: MINimum, MAXimum"),
    ("OUTP ON", "OUTP?", 1, "SCPI-99 v1 7.3: a boolean is answered 1 or 0"),
    ("OUTP 2", "OUTP?", 1, "SCPI-99 v1 7.3: any number but 0 is ON"),
    ("OUTP 0.4", "OUTP?", 0, "SCPI-99 v1 7.3: rounded to an integer first"),
    ("OUTP:LOAD INF", "OUTP:LOAD?", 9.9e37, "SCPI-99 v1 7.2.1.4: infinity"),
    ("FREQ:CW 1E6;FIX 2E6", "FREQ?", 2e6, "SCPI-99 v1 6.2.4: the path stays"),
    ("SOUR:VOLT 1;FREQ 2E6", "FREQ?", 2e6, "SCPI-99 v1 6.2.4: the path stays"),
    ("SOUR:FREQ:CW 1E6;*CLS;FIX 2E6", "FREQ?", 2e6, "6.2.4: nor does *CLS move it"),
    ("VOLT:UNIT VPP;:FREQ 2E6", "FREQ?", 2e6, "SCPI-99 v1 6.2.4: a colon resets it"),
]


@pytest.mark.parametrize(("message", "query", "answer", "clause"), SETTING_ROWS)
def test_a_setting_is_understood_as_its_clause_says(
    generator, message, query, answer, clause
):
    """The setting reads back, and no error is left."""
    talk(generator, message)
    assert float(talk(generator, query)) == pytest.approx(answer, rel=1e-9), clause
    assert errors(generator) == [], clause


def test_a_path_is_lost_when_the_header_goes_deeper(generator):
    """SCPI-99 v1 6.2.4: after VOLT:UNIT the next header is under VOLT."""
    talk(generator, "VOLT:UNIT VPP;FREQ 2E6")
    assert errors(generator) == [-113]


def test_answers_to_one_message_are_joined_by_semicolons(generator):
    """IEEE 488.2 8.4.1: response message units are separated by a semicolon."""
    talk(generator, "FREQ 2E6")
    assert talk(generator, "FREQ?;:OUTP?") == "+2.00000000000E+06;0"


def test_a_command_error_ends_the_message_and_an_execution_error_does_not(generator):
    """IEEE 488.2 6.1.6.1.1 and 11.5.1.1: only the first loses the place."""
    talk(generator, "FREQ 1E99;:OUTP 1")
    assert talk(generator, "OUTP?") == "1"
    talk(generator, "OUTP 0;:FREK 1;:OUTP 1")
    assert talk(generator, "OUTP?") == "0"


REGISTER_ROWS = [
    # message, bit of the standard event register, clause
    ("FREK 1", 32, "IEEE 488.2 11.5.1.1.4: CME"),
    ("FREQ 1E12", 16, "IEEE 488.2 11.5.1.1.5: EXE"),
    ("*IDN?;FREQ?", 4, "IEEE 488.2 11.5.1.1.7: QYE"),
    ("*OPC", 1, "IEEE 488.2 11.5.1.1.8: OPC, once nothing is pending"),
]


@pytest.mark.parametrize(("message", "bit", "clause"), REGISTER_ROWS)
def test_an_event_sets_its_bit_and_reading_clears_it(
    bench, generator, message, bit, clause
):
    """*ESR? gives the bit once."""
    talk(generator, message)
    generator.clear()
    bench.clock.sleep(1.0)
    assert talk(generator, "*ESR?") == str(bit), clause
    assert talk(generator, "*ESR?") == "0", clause


def test_power_on_sets_its_bit():
    """IEEE 488.2 11.5.1.1.2: PON is bit 7."""
    link = Link(load_scene("kit-coil").build().instruments["generator"])
    assert talk(link, "*ESR?") == "128"


def test_operation_complete_waits_for_the_level(bench, generator):
    """IEEE 488.2 10.18: OPC is not set while an operation is pending."""
    talk(generator, "OUTP 1;*OPC")
    assert talk(generator, "*ESR?") == "0"
    bench.clock.sleep(0.1)
    assert talk(generator, "*ESR?") == "1"
    talk(generator, "FREQ 3E6")
    start = bench.clock.now_s
    assert talk(generator, "*OPC?") == "1"  # 10.19: answered when complete
    assert bench.clock.now_s > start


def test_the_summary_bits_follow_the_masks(generator):
    """IEEE 488.2 11.2: ESB is bit 5, MSS bit 6, MAV bit 4; SCPI-99: EAV is bit 2."""
    talk(generator, "*ESE 32;*SRE 32")
    assert talk(generator, "*STB?") == "0"
    talk(generator, "FREK 1")
    assert talk(generator, "*STB?") == str(4 + 32 + 64)
    talk(generator, "*CLS")
    assert talk(generator, "OUTP?;*STB?") == "0;16"
    assert talk(generator, "*ESE?;*SRE?") == "32;32"  # 10.3: *CLS leaves the masks


def test_the_queue_is_first_in_first_out_and_overflows_with_350(generator):
    """SCPI-99 v2 21.8.1: the last entry becomes -350, the oldest stay."""
    talk(generator, "FREQ 1E12")
    for _ in range(40):
        talk(generator, "FREK 1")
    numbers = errors(generator)
    assert numbers[0] == -222
    assert numbers[-1] == -350
    assert set(numbers[1:-1]) == {-113}


def test_an_empty_queue_says_no_error(generator):
    """SCPI-99 v2 21.8.2: 0,"No error"."""
    assert talk(generator, "SYSTem:ERRor:NEXT?") == '0,"No error"'


def test_a_message_before_the_answer_is_read_interrupts_the_query(generator):
    """IEEE 488.2 6.3.2.3: -410, and the old answer is gone."""
    generator.write(b"FREQ?\n")
    generator.write(b"OUTP?\n")
    assert generator.take(100) == (b"0\n", True)
    assert errors(generator) == [-410]


def test_a_read_without_a_query_is_unterminated(generator):
    """IEEE 488.2 6.3.2.2: -420."""
    generator.unterminated()
    assert errors(generator) == [-420]


def test_identity_has_four_fields_and_names_no_maker(bench):
    """IEEE 488.2 10.14.3: maker, model, serial number, firmware."""
    for core in bench.instruments.values():
        fields = talk(Link(core), "*IDN?").split(",")
        assert len(fields) == 4
        assert fields[0] == "HALFPOWER SIM"


MANDATORY = [
    "*CLS",
    "*ESE",
    "*ESE?",
    "*ESR?",
    "*IDN?",
    "*OPC",
    "*OPC?",
    "*RST",
    "*SRE",
    "*SRE?",
    "*STB?",
    "*TST?",
    "*WAI",
]


@pytest.mark.parametrize("scene", ["kit-coil", "kit-coil-power", "kit-coil-diode"])
@pytest.mark.parametrize("header", MANDATORY)
def test_every_mandatory_common_command_is_there(scene, header):
    """IEEE 488.2 section 10: the thirteen that every instrument has."""
    for core in load_scene(scene).build().instruments.values():
        link = Link(core)
        talk(link, "*CLS")
        answer = talk(link, header + " 0" if header in ("*ESE", "*SRE") else header)
        assert bool(answer) == header.endswith("?")
        assert errors(link) == []


def test_reset_leaves_masks_and_queue_alone(generator):
    """IEEE 488.2 10.32.2: *RST does not touch the registers, the masks, the queue."""
    talk(generator, "*ESE 60")
    talk(generator, "FREK 1")
    talk(generator, "OUTP 1;*RST")
    assert talk(generator, "OUTP?;*ESE?") == "0;60"
    assert errors(generator) == [-113]
