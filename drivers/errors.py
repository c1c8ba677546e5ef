"""The drivers' branch of the error tree (drawn in `halfpower.analysis.errors`)."""

from ..analysis.errors import HalfpowerError

__all__ = [
    "AnswerLostError",
    "DriverError",
    "GreetingError",
    "InstrumentError",
    "Interrupted",
    "LinkLostError",
    "LinkTimeoutError",
    "NoValueError",
    "OverloadError",
    "QuestionRefusedError",
    "ReplyError",
    "SettingError",
    "TooEarlyError",
    "TransportError",
]


class DriverError(HalfpowerError):
    """An instrument or its link failed."""

    exit_status = 3


class TransportError(DriverError):
    """The link cannot be opened, is silent or is lost."""


class LinkTimeoutError(TransportError):
    """No answer came in time."""


class LinkLostError(TransportError):
    """The link was closed while it was needed, and stays so."""


class AnswerLostError(TransportError):
    """An answer was lost that cannot be asked for again; the link is open."""


class InstrumentError(DriverError):
    """The instrument refused: its error queue says so."""


class QuestionRefusedError(InstrumentError):
    """It refused a question instead of answering it: the dialect is wrong."""


class TooEarlyError(DriverError):
    """It drops commands that come straight after others."""


class ReplyError(DriverError):
    """The instrument answered, but not with sense."""


class GreetingError(ReplyError):
    """It greets whoever connects, and its dialect does not say so."""


class SettingError(HalfpowerError):
    """A setting or a reading is out of the instrument's range."""

    exit_status = 4


class OverloadError(SettingError):
    """The detector is overloaded."""


class NoValueError(SettingError):
    """The detector has no value: too much, too little, or not set up to read."""


class Interrupted(KeyboardInterrupt):
    """SIGTERM arrived; unwinds like Ctrl-C so that every clean-up runs."""
