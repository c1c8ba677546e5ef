"""SCPI's own forms: numbers, special values, the error queue. No I/O.

Clauses are those of SCPI-99 (volume 1) and IEEE 488.2.
"""

import math
import re
from dataclasses import dataclass

from .errors import ReplyError

__all__ = ["QueuedError", "parse_number", "parse_queued_error"]

# SCPI-99, 7.2.1.4 and 7.2.1.5: infinities are +/-9.9E37, "not a number" is 9.91E37.
# Instruments spell them differently, so they are told by their size.
INFINITY_FROM = 9.899e37
NOT_A_NUMBER_FROM = 9.905e37

# NR1, NR2 or NR3 (IEEE 488.2, 8.7.2 to 8.7.4) and nothing behind it: a unit that
# nobody expected could carry a prefix.
_NUMBER = re.compile(r"\s*[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\s*")
_QUEUED = re.compile(r'\s*(?P<code>[+-]?\d+)\s*,\s*"(?P<text>.*)"\s*', re.DOTALL)


@dataclass(frozen=True, slots=True, kw_only=True)
class QueuedError:
    """One entry of an instrument's error queue; code 0 is "No error"."""

    code: int
    text: str


def parse_number(reply: str, *, command: str) -> float:
    """Read a numeric reply.

    Parameters
    ----------
    reply
        What the instrument answered, without its terminator.
    command
        What it was asked, for the error's sentence.

    Returns
    -------
    float
        The number; ``inf``, ``-inf`` and ``nan`` for SCPI's own (an overload, the
        logarithm of nothing, no reading).

    Raises
    ------
    ReplyError
        The reply is not one number.
    """
    if _NUMBER.fullmatch(reply) is None:
        raise ReplyError(
            f"{command!r} was answered by {reply[:60]!r}, which is not a number",
            command=command,
            reply=reply,
        )
    number = float(reply)
    if number >= NOT_A_NUMBER_FROM:
        return math.nan
    if abs(number) >= INFINITY_FROM:
        return math.copysign(math.inf, number)
    return number


def parse_queued_error(reply: str) -> QueuedError:
    """Read an answer to ``SYSTem:ERRor?`` (SCPI-99, volume 2, 21.8).

    Raises
    ------
    ReplyError
        The reply has not the form ``<number>,"<text>"``.
    """
    match = _QUEUED.fullmatch(reply)
    if match is None:
        raise ReplyError(
            f"the error queue was asked and answered {reply[:60]!r}, "
            'which is not <number>,"<text>"',
            command="SYSTem:ERRor?",
            reply=reply,
        )
    return QueuedError(code=int(match["code"]), text=match["text"])
