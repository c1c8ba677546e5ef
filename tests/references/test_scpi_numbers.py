"""SCPI-99's special numbers and error queue, IEEE 488.2's numeric forms.

Sources: the values +9.9E37 (infinity), -9.9E37 (negative infinity) and 9.91E37 (not a
number) and the error numbers with their texts are those of SCPI-99 (volume 1, 7.2.1;
volume 2, 21.8), read in open copies: the error table in the header of an
openly licensed SCPI parser (BSD-2-Clause, "SCPI v1999.0"). NR1, NR2, NR3 are IEEE
488.2's numeric response data (clauses from memory).
"""

import math

import pytest

from halfpower.drivers.dialects.scpi import (
    parse_event_status,
    parse_number,
    parse_queued_error,
)
from halfpower.drivers.errors import ReplyError

# Number and text as SCPI-99 has them; every class of error is there.
STANDARD_ERRORS = {
    -100: "Command error",
    -102: "Syntax error",
    -109: "Missing parameter",
    -113: "Undefined header",
    -131: "Invalid suffix",
    -200: "Execution error",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -240: "Hardware error",
    -300: "Device specific error",
    -310: "System error",
    -350: "Queue overflow",
    -365: "Time out error",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -440: "Query UNTERMINATED after indefinite response",
    -500: "Power on",
    -800: "Operation complete",
}


@pytest.mark.parametrize(
    "spelling",
    ["9.9E37", "+9.9E+37", "9.90000000E+37", "9.9e37", "99E36", "9.900E+037"],
)
def test_infinity_is_told_by_its_value_and_not_by_its_spelling(spelling: str) -> None:
    """9.9E37 is SCPI's infinity: an overload."""
    assert parse_number(spelling, command="MEAS?") == math.inf
    assert parse_number(f"-{spelling.lstrip('+')}", command="MEAS?") == -math.inf


@pytest.mark.parametrize("spelling", ["9.91E37", "+9.91E+37", "9.91000000E+37"])
def test_not_a_number_is_told_from_infinity(spelling: str) -> None:
    """9.91E37 is SCPI's "not a number": no reading."""
    assert math.isnan(parse_number(spelling, command="MEAS?"))


@pytest.mark.parametrize(
    ("reply", "value"),
    [
        ("42", 42.0),  # NR1: an integer
        ("-7", -7.0),
        ("+6700000", 6.7e6),
        ("0.5", 0.5),  # NR2: a fixed point
        ("-12.25", -12.25),
        ("6.7E6", 6.7e6),  # NR3: an exponent
        ("+6.70000000000E+06", 6.7e6),
        ("-3.6E-03", -3.6e-3),
    ],
)
def test_every_numeric_response_form_is_read(reply: str, value: float) -> None:
    """NR1, NR2 and NR3 of IEEE 488.2."""
    assert parse_number(reply, command="X?") == value


@pytest.mark.parametrize(("code", "text"), STANDARD_ERRORS.items())
def test_a_standard_error_is_read_with_its_text(code: int, text: str) -> None:
    """SYSTem:ERRor? answers <NR1>,"<text>"; a device may add ;<its own words>."""
    entry = parse_queued_error(f'{code},"{text}"')
    assert (entry.code, entry.text) == (code, text)
    longer = parse_queued_error(f'{code},"{text};CHAN1, at 3 V"')
    assert (longer.code, longer.text) == (code, f"{text};CHAN1, at 3 V")


@pytest.mark.parametrize("reply", ['0,"No error"', '+0,"No error"'])
def test_an_empty_queue_answers_zero(reply: str) -> None:
    """0,"No error" is the standard's; some devices put a sign before it."""
    assert parse_queued_error(reply).code == 0


# IEEE 488.2, 11.5.1.1, read in open copies: operation complete 1, request
# control 2, query error 4, device-dependent error 8, execution error 16, command error
# 32, user request 64, power on 128.
@pytest.mark.parametrize("value", [0, 1, 2, 64, 128, 128 + 64 + 2 + 1])
def test_events_that_are_no_refusal_are_no_error(value: int) -> None:
    """Power on and operation complete among them."""
    assert parse_event_status(f"+{value}").code == 0


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (4, "query error"),
        (8, "device-dependent error"),
        (16, "execution error"),
        (32, "command error"),
        (32 + 16 + 128, "command error, execution error"),
    ],
)
def test_refusals_in_the_event_register_are_errors(value: int, text: str) -> None:
    """Each by its bit."""
    entry = parse_event_status(str(value))
    assert entry.code == value
    assert entry.text.startswith(text)


@pytest.mark.parametrize("reply", ["256", "-1", "1.0", "", '0,"No error"', "32 16"])
def test_what_is_no_register_of_eight_bits_is_refused(reply: str) -> None:
    """It has eight."""
    with pytest.raises(ReplyError):
        parse_event_status(reply)
