"""A signal generator, told frequency, level and output in its dialect."""

import math

from ...analysis.errors import HalfpowerError
from ..dialects import (
    Frequency,
    GeneratorDialect,
    Level,
    level_from_emf,
    parse_reply,
)
from ..errors import (
    DriverError,
    InstrumentError,
    SettingError,
)
from ..link import Link, see_pace
from .instrument import Instrument
from .output_switch import OutputSwitch
from .roles import OutputState

__all__ = ["Generator"]

# A generator may round a frequency to its resolution, not change it: half a hertz
# is coarse for any generator that reads back, 1e-6 is below what f0 is known to.
ROUNDING_HZ, ROUNDING = 0.51, 1e-6
LEVEL_ROUNDING = 0.01  # a level is rounded too; a hundredth is a display digit
LEVEL_CHANGE = 1e-3  # and what it was rounded to stays, in its unit: V, or 10 dB
SET_ATTEMPTS = 2  # a command can get lost; what is refused is refused again
# Steps by which it is seen that a frequency set straight after another is taken, from
# where both are wide of any rounding.
PACE_STEPS, PACE_FROM_HZ = (1.001, 1.002), 1e3


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
    resource
        Where it is, for one that has no identity.
    """

    def __init__(
        self,
        link: Link,
        *,
        dialect: GeneratorDialect,
        source_ohm: float,
        resource: str = "",
    ) -> None:
        self._link = link
        self._dialect = dialect
        self._source_ohm = source_ohm
        self._instrument = Instrument(
            link, common=dialect.common, where=dialect.where, resource=resource
        )
        self._frequency_hz: float | None = None
        self._emf_v: float | None = None
        self._switch = OutputSwitch(link, self._instrument, dialect=dialect)
        self._has_shown_its_pace = False
        self._told: dict[str, float] = {}  # what it said that it was set to

    def introduce(self) -> None:
        """Ask who it is, and change nothing."""
        self._instrument.introduce()

    def start(self) -> None:
        """Identify it and bring it to the dialect's known state, output off.

        The first time it is also seen that it drops no commands.
        """
        self._instrument.start(self._dialect.start.commands)
        if not self._has_shown_its_pace:
            self._see_pace()
            self._has_shown_its_pace = True

    def _see_pace(self) -> None:
        table = self._dialect.frequency
        read = table.read
        if read is None:
            return
        now_hz = self._instrument.ask_number(read, form=table.form)
        if not PACE_FROM_HZ <= now_hz < math.inf:
            return
        first_hz, second_hz = (now_hz * step for step in PACE_STEPS)

        def is_second(answer: str) -> bool:
            actual_hz = parse_reply(answer, command=read, form=table.form)
            return abs(actual_hz - second_hz) < abs(actual_hz - first_hz)

        see_pace(
            self._link,
            settings=(table.command(first_hz), table.command(second_hz)),
            read=read,
            taken=is_second,
        )

    @property
    def identity(self) -> str:
        """What it answered to the question who it is."""
        return self._instrument.identity

    @property
    def output(self) -> OutputState:
        """What is known of its output: as it said, or as it was told."""
        return self._switch.state

    @property
    def emf_v(self) -> float | None:
        """The open-circuit voltage that it was last told, in V r.m.s."""
        return self._emf_v

    def set_frequency(self, frequency_hz: float) -> float:
        """Set the frequency and return what the generator then says it is, in Hz.

        Raises
        ------
        SettingError
            It is not what was asked for: out of its range.
        """
        for _ in range(SET_ATTEMPTS):
            self._frequency_hz = frequency_hz
            command, actual_hz = self._instrument.surely(
                lambda: self._send_frequency(frequency_hz)
            )
            off_by_hz = abs(actual_hz - frequency_hz)
            if off_by_hz <= max(ROUNDING_HZ, ROUNDING * frequency_hz):
                return actual_hz
        self._frequency_hz = None  # where it stands now nobody has asked for
        asked = f"{frequency_hz:.9g} Hz"
        raise self._refused(command, "frequency", asked=asked, got=actual_hz)

    def _send_frequency(self, frequency_hz: float) -> tuple[str, float]:
        table = self._dialect.frequency
        command = table.command(frequency_hz)
        actual_hz = self._send(command, table, frequency_hz)
        return command, actual_hz

    def _send(self, command: str, table: Frequency | Level, value: float) -> float:
        """Send a setting and return what it then is, in the dialect's unit."""
        self._told.pop(table.set, None)
        self._link.write(command)
        if table.read is None:
            self._instrument.check(doing=command)
            return value
        actual = self._instrument.ask_set_number(
            table.read, doing=command, form=table.form
        )
        self._told[table.set] = actual
        return actual

    def set_emf(self, emf_v: float) -> None:
        """Set the level so that the open-circuit voltage is ``emf_v`` V r.m.s.

        Raises
        ------
        SettingError
            The generator did not take the level.
        """
        unit = self._dialect.level.unit
        for _ in range(SET_ATTEMPTS):
            self._emf_v = emf_v
            command, wanted, actual = self._instrument.surely(
                lambda: self._send_emf(emf_v)
            )
            off_by = abs(actual - wanted) / (1.0 if unit == "dBm" else wanted)
            if off_by <= LEVEL_ROUNDING:
                return
        asked = f"{wanted:.4g} {unit}"
        raise self._refused(command, "level", asked=asked, got=actual)

    def _send_emf(self, emf_v: float) -> tuple[str, float, float]:
        level = self._dialect.level
        value = level_from_emf(
            emf_v, source_ohm=self._source_ohm, load_ohm=level.load_ohm, unit=level.unit
        )
        command = level.command(value)
        return command, value, self._send(command, level, value)

    def _refused(
        self, command: str, table: str, *, asked: str, got: float
    ) -> HalfpowerError:
        said = ""
        try:
            self._instrument.check(doing=command)
        except DriverError as error:
            said = f" ({error})"
            if any(entry.startswith("-1") for entry in error.values.get("queued", ())):
                # a command error (SCPI-99, volume 2, 21.8.9): no matter of its range
                return InstrumentError(
                    f"{error}; correct set under [{table}] in its dialect",
                    command=command,
                )
        return SettingError(
            f"the generator was asked for {asked} and set {got:.9g}{said}; "
            "stay within its range",
            command=command,
            actual=got,
        )

    def output_on(self) -> None:
        """Switch the output on, and see that nothing was refused so far.

        Raises
        ------
        InstrumentError
            It refused, or says that it is off.
        """
        self._switch.on()

    def output_off(self) -> None:
        """Switch the output off and make sure of it, on a confused link too.

        Raises
        ------
        DriverError
            It could not be made sure of; the output may still be on.
        """
        self._switch.off()

    def see_off(self) -> None:
        """Nothing: nobody switches it by hand."""

    # What happened to it -----------------------------------------------------------

    def disturbed(self) -> list[str]:
        """Tell what happened since the last call that puts readings in doubt.

        See `Instrument.disturbed`. Then output, frequency and level are read back (as
        far as it can say): another program or a hand may have set them.
        """
        if reasons := self._instrument.disturbed():
            return reasons
        dialect = self._dialect
        if self._switch.is_found_off:
            reasons.append(f"{self._link.name}: its output was switched off")
        reasons += self._changed(dialect.frequency, "Hz")
        return reasons + self._changed(dialect.level, dialect.level.unit)

    def _changed(self, table: Frequency | Level, unit: str) -> list[str]:
        """Hold what it says against what it said when it was set."""
        told = self._told.get(table.set)
        if told is None or table.read is None:
            return []
        actual = self._instrument.ask_number(table.read, form=table.form)
        within = LEVEL_CHANGE * (10.0 if unit == "dBm" else told)
        if unit == "Hz":
            within = max(ROUNDING_HZ, ROUNDING * told)
        if abs(actual - told) <= within:
            return []
        return [
            (
                f"another program or person changes the {self._link.name}: asked for "
                f"{told:.9g} {unit}, it says {actual:.9g} {unit}"
            )
        ]

    def restore(self) -> None:
        """Bring it back to what it was set to; on only if it was on.

        Raises
        ------
        DriverError, SettingError
            It does not come back.
        """
        was_on = self._switch.is_on
        self.start()
        if self._emf_v is not None:
            self.set_emf(self._emf_v)
        if self._frequency_hz is not None:
            self.set_frequency(self._frequency_hz)
        if was_on:
            self.output_on()

    def check(self) -> None:
        """See that its error queue is empty (raises `InstrumentError`)."""
        self._instrument.surely(lambda: self._instrument.check(doing="a setting"))

    def close(self) -> None:
        """Close the link."""
        self._instrument.close()
