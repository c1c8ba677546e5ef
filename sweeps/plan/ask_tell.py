"""What all plans have in common: asked for a setting, told the reading. No I/O."""

from abc import ABC, abstractmethod
from collections.abc import Generator

from ...analysis.reading import Reading, Setting
from ..errors import SweepError

__all__ = ["AskTell", "Steps"]

Steps = Generator[Setting, Reading, None]


class AskTell(ABC):
    """A plan that is written as a generator: it yields settings and gets readings.

    A subclass sets what its steps need before it calls this constructor, which runs
    them up to their first setting.

    Attributes
    ----------
    phase
        What the plan is about now; ``done`` at the end.
    readings
        Everything told so far, in order.
    """

    phase: str

    def __init__(self) -> None:
        self.readings: list[Reading] = []
        self._plan = self._steps()
        self._setting: Setting | None = next(self._plan)

    @abstractmethod
    def _steps(self) -> Steps:
        """Yield the settings, one after the other."""

    def ask(self) -> Setting | None:
        """Return the next setting, or None when the plan is done."""
        return self._setting

    def tell(self, reading: Reading) -> None:
        """Tell the reading that the last setting gave.

        Raises
        ------
        NoResonanceError
            Nothing stands out of the readings.
        EdgeError
            The response is highest at an end of what is looked at, or the peak lies
            too near it.
        SweepError
            The readings are spent and no peak is bracketed, or the plan is done.
        """
        if self._setting is None:
            raise SweepError("the plan is done and takes no more readings")
        self.readings.append(reading)
        try:
            self._setting = self._plan.send(reading)
        except StopIteration:
            self._end()

    @property
    def optional(self) -> bool:
        """Whether the plan can do without the setting that it asks for."""
        return False

    def skip(self) -> None:
        """Tell that the last setting, an optional one, cannot be had.

        Raises
        ------
        SweepError
            The plan cannot do without it.
        """
        if not self.optional:
            raise SweepError("the plan cannot do without this reading")
        self._plan.close()
        self._end()

    def _end(self) -> None:
        self._setting = None
        self.phase = "done"
