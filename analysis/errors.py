"""The root of every error that halfpower raises on purpose.

The tree, with the exit status a class brings to the command line; each folder
adds its own branch in its own ``errors.py``::

    HalfpowerError
    |-- InputError            2   arguments or a file that cannot be used
    |-- AnalysisError         4   the readings do not bear the conclusion
    |   `-- FitError              no resonance can be fitted to them
    |-- DriverError           3   (drivers) an instrument or its link failed
    |   |-- TransportError        the link: cannot be opened, silent, lost
    |   |   |-- LinkTimeoutError
    |   |   |-- LinkLostError
    |   |   `-- AnswerLostError
    |   |-- InstrumentError       the instrument refused a command
    |   |   `-- QuestionRefusedError
    |   |-- TooEarlyError         it needs a rest between two commands
    |   `-- ReplyError            it answered, but not with sense
    |       `-- GreetingError
    |-- PresenterError        3   (cli) the command that presents parts failed
    |-- SettingError          4   (drivers) asked for what is out of range
    |   |-- OverloadError         the detector is overloaded
    |   `-- NoValueError          it has no value: too much, too little, not set up
    |-- SweepError            4   (sweeps) nothing measurable was found
    |   |-- NoResonanceError
    |   |-- EdgeError
    |   `-- GuardError            the tank voltage would pass its limit
    `-- RecordError           2   (records) a record cannot be kept or read
        `-- BaseError               the record base cannot be opened, read, written
            |-- BaseBusyError
            |-- BaseLinkError  3      its server cannot be reached, or was lost
            |-- BaseVersionError
            `-- EntryError

An error says what, where and what to do in one sentence; the values it speaks of
are attributes too, so that a program need not read the sentence.
"""

from typing import Any, ClassVar

__all__ = ["AnalysisError", "FitError", "HalfpowerError", "InputError"]


class HalfpowerError(Exception):
    """Say in one sentence what went wrong, where, and what to do.

    Parameters
    ----------
    message
        The sentence, without a final full stop.
    **values
        What the sentence speaks of, by name with units in it (``frequency_hz=...``).
    """

    exit_status: ClassVar[int] = 70  # of none of the branches: a fault

    def __init__(self, message: str, **values: Any) -> None:
        super().__init__(message)
        self.values = values


class InputError(HalfpowerError):
    """Arguments or a file that cannot be used."""

    exit_status = 2


class AnalysisError(HalfpowerError):
    """The readings do not bear the conclusion asked of them."""

    exit_status = 4


class FitError(AnalysisError):
    """No resonance can be fitted to these readings."""
