"""SCPI's own forms: numbers, special values, the error queue. No I/O.

Clauses are those of SCPI-99 (volume 1) and IEEE 488.2.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from ..errors import ReplyError

__all__ = [
    "PLAIN",
    "QueuedError",
    "ReplyForm",
    "parse_event_status",
    "parse_number",
    "parse_numbered_error",
    "parse_queued_error",
    "parse_reply",
]

# SCPI-99, 7.2.1.4 and 7.2.1.5: infinities are +/-9.9E37, "not a number" is 9.91E37.
# Instruments spell them differently, so they are told by their size.
INFINITY_FROM = 9.899e37
NOT_A_NUMBER_FROM = 9.905e37

# NR1, NR2 or NR3 (IEEE 488.2, 8.7.2 to 8.7.4), and what stands behind it: nothing,
# or a unit that the dialect declares, for one that nobody expected could carry a
# prefix.
_NUMBER = re.compile(
    r"\s*(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(?P<unit>.*)",
    re.DOTALL | re.ASCII,
)
SAME_VALUE = 1e-6  # an instrument's own overload value is met to its last digits
# The standard event status register's bits that report a refusal (IEEE 488.2,
# 11.5.1): command, execution, device-dependent and query error.
REFUSALS = {
    5: "command error",
    4: "execution error",
    3: "device-dependent error",
    2: "query error",
}
EVENT_BITS = 8
_CODE = re.compile(r"\s*(?P<code>[+-]?\d+)\s*", re.ASCII)
_QUEUED = re.compile(r'\s*(?P<code>[+-]?\d+)\s*,\s*"(?P<text>.*)"\s*', re.DOTALL)


@dataclass(frozen=True, slots=True, kw_only=True)
class QueuedError:
    """One entry of an instrument's error queue; code 0 is "No error"."""

    code: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplyForm:
    """How an instrument writes a number.

    Attributes
    ----------
    header
        What stands before the number and must be there (``CH1:``).
    suffixes
        What may stand behind it, and the factor that it means (``{"mV": 1e-3}``);
        empty: nothing may. ``""`` among them allows a bare number too.
    overload
        The instrument's own answers to an overload, as numbers or words.
    nothing
        Its own answers where there is too little to measure, as numbers or words.
    place
        Which of several numbers in one reply it is, from 1; None: the reply is one.
    separator
        What stands between them.
    """

    header: str = ""
    suffixes: Mapping[str, float] = field(default_factory=dict)
    overload: tuple[float | str, ...] = ()
    nothing: tuple[float | str, ...] = ()
    place: int | None = None
    separator: str = ","


PLAIN = ReplyForm()


def parse_number(reply: str, *, command: str) -> float:
    """Read a reply that is one bare number (see `parse_reply`)."""
    return parse_reply(reply, command=command, form=PLAIN)


def parse_reply(reply: str, *, command: str, form: ReplyForm) -> float:
    """Read a numeric reply.

    Parameters
    ----------
    reply
        What the instrument answered, without its terminator.
    command
        What it was asked, for the error's sentence.
    form
        How the instrument writes numbers.

    Returns
    -------
    float
        The number, its suffix's factor taken in; ``inf``, ``-inf`` and ``nan`` for
        SCPI's own (infinity, the logarithm of nothing, no number); ``inf`` and
        ``-inf`` for the overloads and the nothings that the form declares.

    Raises
    ------
    ReplyError
        The reply is not one number in this form.
    """
    text = _placed(reply, command, form)
    if not text.startswith(form.header):
        raise _senseless(reply, command, f"does not begin with {form.header!r}")
    text = text[len(form.header) :].strip()
    match = _NUMBER.fullmatch(text)
    number = math.nan if match is None else float(match["number"])
    for declared, meaning in ((form.overload, math.inf), (form.nothing, -math.inf)):
        if text in declared or _is_among(number, declared):
            return meaning
    if match is None:
        raise _senseless(reply, command, "is not a number")
    if abs(number) >= INFINITY_FROM:
        return _special(number)
    unit = match["unit"].rstrip()
    if not form.suffixes and not unit:
        return number
    if unit not in form.suffixes:
        raise _senseless(reply, command, _undeclared(unit, form))
    return number * form.suffixes[unit]


def _special(number: float) -> float:
    """Tell infinity from not a number by its size."""
    if number >= NOT_A_NUMBER_FROM:
        return math.nan
    return math.copysign(math.inf, number)


def _placed(reply: str, command: str, form: ReplyForm) -> str:
    """Return the part of the reply that the number is in."""
    if form.place is None:
        return reply.strip()
    parts = reply.split(form.separator)
    if len(parts) < form.place:
        why = (
            f"has {len(parts)} of the fields that {form.separator!r} parts, and the "
            f"dialect takes number {form.place}: correct `field` or `separator`"
        )
        raise _senseless(reply, command, why)
    return parts[form.place - 1].strip()


def _is_among(number: float, declared: tuple[float | str, ...]) -> bool:
    return any(
        isinstance(value, float) and abs(number - value) <= SAME_VALUE * abs(value)
        for value in declared
    )


def _undeclared(unit: str, form: ReplyForm) -> str:
    declared = ", ".join(repr(suffix) for suffix in form.suffixes) or "none"
    if not unit:
        return f"has no unit, where the dialect declares one (suffixes: {declared})"
    return (
        f"is not a number alone: it ends in {unit[:20]!r}, which the dialect does not "
        f"declare (suffixes: {declared})"
    )


def _senseless(reply: str, command: str, why: str) -> ReplyError:
    return ReplyError(
        f"{command!r} was answered by {reply[:60]!r}, which {why}",
        command=command,
        reply=reply,
    )


def parse_queued_error(reply: str) -> QueuedError:
    """Read an answer to ``SYSTem:ERRor?`` (SCPI-99, volume 2, 21.8).

    Raises
    ------
    ReplyError
        The reply has not the form ``<number>,"<text>"``.
    """
    match = _QUEUED.fullmatch(reply)
    if match is None:
        remedy = (
            '; where that is all that it answers, write error_form = "number" under '
            "[common] of its dialect"
        )
        raise ReplyError(
            f"the error queue was asked and answered {reply[:60]!r}, "
            f'which is not <number>,"<text>"{remedy * bool(_CODE.fullmatch(reply))}',
            command="SYSTem:ERRor?",
            reply=reply,
        )
    return QueuedError(code=int(match["code"]), text=match["text"])


def parse_numbered_error(reply: str) -> QueuedError:
    """Read an answer of an error queue that has numbers without texts (``-113``).

    Raises
    ------
    ReplyError
        The reply is not one whole number.
    """
    match = _CODE.fullmatch(reply)
    if match is None:
        raise ReplyError(
            f"the error queue was asked and answered {reply[:60]!r}, which is not one "
            "whole number",
            command="SYSTem:ERRor?",
            reply=reply,
        )
    return QueuedError(code=int(match["code"]), text="(it has no text)")


def parse_event_status(reply: str) -> QueuedError:
    """Read an answer to ``*ESR?`` as one entry of an error queue.

    The register says that something was refused, not what; reading clears it
    (IEEE 488.2, 10.12 and 11.5.1).

    Raises
    ------
    ReplyError
        The reply is not a register of eight bits.
    """
    text = reply.strip()
    value = int(text) if re.fullmatch(r"\+?\d{1,3}", text, re.ASCII) else -1
    if not 0 <= value < 1 << EVENT_BITS:
        raise _senseless(reply, "*ESR?", "is not a register of eight bits")
    refusals = [text for bit, text in REFUSALS.items() if value >> bit & 1]
    if not refusals:
        return QueuedError(code=0, text="")
    return QueuedError(code=value, text=f"{', '.join(refusals)} (*ESR? = {value})")
