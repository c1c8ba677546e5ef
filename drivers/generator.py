"""A signal generator, told frequency, level and output in its dialect."""

from ..analysis.errors import HalfpowerError
from .dialect import GeneratorDialect
from .errors import DriverError, SettingError
from .instrument import Instrument
from .levels import level_from_emf
from .visa import Link

__all__ = ["Generator"]

# A generator may round a frequency to its resolution, not change it: half a hertz
# is coarse for any generator that reads back, 1e-6 is below what f0 is known to.
ROUNDING_HZ, ROUNDING = 0.51, 1e-6
LEVEL_ROUNDING = 0.01  # a level is rounded too; a hundredth is a display digit
OFF_ATTEMPTS = 4


class Generator:
    """A generator that reads back what it was set to.

    Parameters
    ----------
    link
        An open link.
    dialect
        How it is spoken to.
    source_ohm
        Its source resistance in ohm.
    """

    def __init__(
        self, link: Link, *, dialect: GeneratorDialect, source_ohm: float
    ) -> None:
        self._link = link
        self._dialect = dialect
        self._source_ohm = source_ohm
        self._instrument = Instrument(link, common=dialect.common)

    def start(self) -> None:
        """Identify it and bring it to the dialect's known state, output off."""
        self._instrument.start(self._dialect.start.commands)

    @property
    def identity(self) -> str:
        """What it answered to the question who it is."""
        return self._instrument.identity

    def set_frequency(self, frequency_hz: float) -> float:
        """Set the frequency and return what the generator then says it is, in Hz.

        Raises
        ------
        SettingError
            It is not what was asked for: out of its range.
        """
        command = self._dialect.frequency.set.format(frequency_hz=frequency_hz)
        self._link.write(command)
        actual_hz = self._instrument.ask_set_number(
            self._dialect.frequency.read, doing=command
        )
        if abs(actual_hz - frequency_hz) > max(ROUNDING_HZ, ROUNDING * frequency_hz):
            raise self._refused(command, asked=f"{frequency_hz:.9g} Hz", got=actual_hz)
        return actual_hz

    def set_emf(self, emf_v: float) -> None:
        """Set the level so that the open-circuit voltage is ``emf_v`` V r.m.s.

        Raises
        ------
        SettingError
            The generator did not take the level.
        """
        level = self._dialect.level
        value = level_from_emf(
            emf_v, source_ohm=self._source_ohm, load_ohm=level.load_ohm, unit=level.unit
        )
        command = level.set.format(level=value)
        self._link.write(command)
        actual = self._instrument.ask_set_number(level.read, doing=command)
        off_by = abs(actual - value) / (1.0 if level.unit == "dBm" else value)
        if off_by > LEVEL_ROUNDING:
            raise self._refused(command, asked=f"{value:.4g} {level.unit}", got=actual)

    def _refused(self, command: str, *, asked: str, got: float) -> HalfpowerError:
        said = ""
        try:
            self._instrument.check(doing=command)
        except DriverError as error:
            said = f" ({error})"
        return SettingError(
            f"the generator was asked for {asked} and set {got:.9g}{said}; "
            "stay within its range",
            command=command,
            actual=got,
        )

    def output_on(self) -> None:
        """Switch the output on, and see that nothing was refused so far."""
        self._link.write(self._dialect.output.on)
        self._instrument.check(doing=self._dialect.output.on)

    def output_off(self) -> None:
        """Switch the output off and make sure of it, on a confused link too.

        Raises
        ------
        DriverError
            It could not be made sure of; the output may still be on.
        """
        # An interrupt may have left half a command or an unread answer behind:
        # a stale answer is no "0", so the question is put again.
        failure: DriverError | None = None
        for _ in range(OFF_ATTEMPTS):
            try:
                self._link.write(self._dialect.output.off)
                answer = self._link.query(self._dialect.output.read)
            except DriverError as error:
                failure = error
                continue
            if answer.upper() in {"0", "+0", "OFF"}:
                return
        raise DriverError(
            "the generator's output could not be made sure to be off: "
            f"SWITCH IT OFF BY HAND ({failure or 'it answers that it is on'})"
        )

    def check(self) -> None:
        """See that its error queue is empty (raises `InstrumentError`)."""
        self._instrument.check(doing="a setting")

    def close(self) -> None:
        """Close the link."""
        self._instrument.close()
