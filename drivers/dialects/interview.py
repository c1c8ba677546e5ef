"""Ask an instrument which forms it knows, with queries that change nothing.

A query asks and does nothing else, with one exception that is not used here:
``MEASure?`` sets the instrument up anew (SCPI-99, volume 2, chapter 3; a scope's alone
is asked, which measures the trace that it shows). ``READ?`` takes a reading, and the
error queue is read empty. Outputs and settings stay as they are, unless whoever asks
allows a meter to be set up, where it has no reading as it stands.
"""

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from ..errors import DriverError, ReplyError
from ..link import Link
from .dialect import Common, ErrorForm
from .scpi import parse_event_status

__all__ = ["Asked", "Findings", "interview"]

MOST_QUEUED = 32

# What is asked for one thing, best first: SCPI-99's full form (volume 2), then what it
# lets be left out. The first that is known is taken.
GENERATOR_FORMS: dict[str, tuple[str, ...]] = {
    "frequency": ("SOURce:FREQuency:CW?", "SOURce:FREQuency?", "FREQuency?"),
    "voltage": (
        "SOURce:VOLTage:LEVel:IMMediate:AMPLitude?",
        "SOURce:VOLTage?",
        "VOLTage?",
    ),
    "voltage unit": ("SOURce:VOLTage:UNIT?", "VOLTage:UNIT?"),
    "power": (
        "SOURce:POWer:LEVel:IMMediate:AMPLitude?",
        "SOURce:POWer?",
        "POWer?",
    ),
    "load": ("OUTPut:LOAD?", "OUTPut:IMPedance?", "OUTPut1:LOAD?"),
}
OUTPUT_FORMS = ("OUTPut:STATe?", "OUTPut1:STATe?", "OUTPut?")
DETECTOR_FORMS: dict[str, tuple[str, ...]] = {
    "scale": ("CHANnel1:SCALe?",),
    "marker": ("CALCulate:MARKer1:Y?", "CALCulate1:MARKer1:Y?"),
    "power unit": ("UNIT:POWer?", "UNIT1:POWer?"),
    "function": ("CONFigure?", "SENSe:FUNCtion?"),
    "a.c. range": ("SENSe:VOLTage:AC:RANGe:UPPer?",),
    "averages": ("SENSe:AVERage:COUNt?", "ACQuire:AVERage:COUNt?"),
    "reading": ("READ?", "FETCh?"),
}
# Of a scope alone, whose measurements are of the trace that it shows.
SCOPE_FORMS: dict[str, tuple[str, ...]] = {
    "scope reading": ("MEASure:VRMS? CHANnel1", "MEASure:VOLTage:AC? CHANnel1"),
    "finest scale": ("CHANnel1:SCALe? MINimum",),
    "coarsest scale": ("CHANnel1:SCALe? MAXimum",),
}
# What sets a meter up to read a sine, and what then asks for a reading: SCPI-99's own
# forms (volume 2, chapter 3 and 18), best first.
SET_UPS = (
    "CONFigure:VOLTage:AC",
    'SENSe:FUNCtion "VOLTage:AC"',
    "CONFigure:POWer:AC",
)
SET_UP_READS = ("READ?", "FETCh?", "INITiate:IMMediate;*WAI;:FETCh?")
SET_UP_S = 1.0  # a meter's relays and its first reading: common practice, no source
READINGS = {"reading", "marker", "scope reading"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One query and what came of it.

    Attributes
    ----------
    query
        The query.
    answer
        The line that it answered; None: none.
    refusal
        What its error queue said afterwards; empty: nothing.
    """

    query: str
    answer: str | None
    refusal: str = ""

    @property
    def is_known(self) -> bool:
        """Whether the instrument knows the form."""
        return self.answer is not None and not self.refusal

    @property
    def command(self) -> str:
        """The query's header, to set the same thing."""
        return self.query.partition("?")[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """What an instrument answered.

    Attributes
    ----------
    identity
        Who it says it is.
    kind
        ``generator`` if it has an output to switch.
    error_form
        How it says what it refused; None: it does not.
    set_up
        The command that it was set up by; empty: nothing was changed.
    known
        The form that it knows, by what it is for.
    asked
        Every query, in order.
    """

    identity: str
    kind: Literal["generator", "detector"]
    error_form: ErrorForm | None
    set_up: str = ""
    known: dict[str, Asked]
    asked: tuple[Asked, ...]


def interview(
    link: Link, *, identity: str, set_up: Callable[[float], None] | None = None
) -> Findings:
    """Ask an instrument what it knows.

    Parameters
    ----------
    link
        An open link with a short time limit: what is not known is not answered.
    identity
        What it answered to ``*IDN?``.
    set_up
        How to wait, where a meter that has no reading as it stands may be set up to
        have one; None: it may not.

    Raises
    ------
    TransportError
        The link is lost.
    ReplyError
        It knows none of the forms.
    """
    asking = _Asking(link)
    output = asking.first_known("output", OUTPUT_FORMS)
    forms = GENERATOR_FORMS if output else DETECTOR_FORMS
    for what, queries in forms.items():
        asking.first_known(what, queries)
    if "scale" in asking.known:
        for what, queries in SCOPE_FORMS.items():
            asking.first_known(what, queries)
    set_up_by = ""
    if set_up is not None and not output and not READINGS & asking.known.keys():
        set_up_by = asking.set_up(set_up)
    if not asking.known:
        raise ReplyError(
            f"{link.name} says that it is {identity!r} and knows none of the forms it "
            "was asked: write its dialect by its manual, beginning with a bundled one",
            identity=identity,
        )
    return Findings(
        identity=identity,
        kind="generator" if output else "detector",
        error_form=asking.error_form,
        set_up=set_up_by,
        known=asking.known,
        asked=tuple(asking.asked),
    )


class _Asking:
    """Puts one query after the other and keeps what came of each."""

    def __init__(self, link: Link) -> None:
        self._link = link
        self.known: dict[str, Asked] = {}
        self.asked: list[Asked] = []
        self._has_register = False
        self.error_form = self._find_error_form()
        if self.error_form in {"queue", "number"}:
            # some have both, and a queue that never fills
            with contextlib.suppress(ReplyError):
                parse_event_status(self._answer("*ESR?") or "")
                self._has_register = True
            self._refusal()

    def first_known(self, what: str, queries: Sequence[str]) -> Asked | None:
        """Ask until one is known."""
        for query in queries:
            asked = self._ask(query)
            if asked.is_known:
                self.known[what] = asked
                return asked
        return None

    def set_up(self, sleep: Callable[[float], None]) -> str:
        """Set it up for a reading; return the command that did, or nothing."""
        for command in SET_UPS:
            with contextlib.suppress(DriverError):
                self._link.write(command)
            refusal = self._refusal()
            self.asked.append(Asked(query=command, answer="", refusal=refusal))
            if refusal:
                continue
            sleep(SET_UP_S)
            if self.first_known("reading", SET_UP_READS):
                return command
        return ""

    def _ask(self, query: str) -> Asked:
        answer = self._answer(query)
        asked = Asked(query=query, answer=answer, refusal=self._refusal())
        self.asked.append(asked)
        return asked

    def _answer(self, query: str) -> str | None:
        with contextlib.suppress(DriverError):
            return self._link.query(query, repeatable=False) or None
        return None

    def _find_error_form(self) -> ErrorForm | None:
        forms: tuple[tuple[str, ErrorForm], ...] = (
            ("SYSTem:ERRor?", "queue"),
            ("SYSTem:ERRor?", "number"),
            ("*ESR?", "register"),
        )
        for query, form in forms:
            self.error_form = form
            answer = self._answer(query)
            with contextlib.suppress(ReplyError):
                if answer is not None:
                    Common(error_form=form).queued(answer)
                    self._refusal()
                    self.asked.append(Asked(query=query, answer=answer))
                    return form
            self.asked.append(Asked(query=query, answer=answer, refusal="?"))
        return None

    def _refusal(self) -> str:
        """Read the error queue empty, and the register where it has both."""
        if self.error_form is None:
            return ""
        if self.error_form == "register":
            return self._said("*ESR?", form="register")
        said = self._said("SYSTem:ERRor?", form=self.error_form)
        events = self._said("*ESR?", form="register") if self._has_register else ""
        return said or events

    def _said(self, query: str, *, form: ErrorForm) -> str:
        said: list[str] = []
        while len(said) < MOST_QUEUED:
            answer = self._answer(query)
            if answer is None:
                break
            try:
                entry = Common(error_form=form).queued(answer)
            except ReplyError:
                break
            if entry.code == 0:
                break
            said.append(f"{entry.code} {entry.text}")
        return "; ".join(said)
