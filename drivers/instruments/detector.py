"""A detector that answers with one amplitude; a scope's range is followed."""

import math
import time
from collections.abc import Callable

from ..dialects import (
    Averaging,
    DetectorDialect,
    Range,
    ReadingTable,
    parse_reply,
    volts_from_reading,
)
from ..errors import (
    AnswerLostError,
    InstrumentError,
    NoValueError,
    OverloadError,
    ReplyError,
    SettingError,
)
from ..link import Link, see_pace
from .instrument import Instrument
from .roles import Amplitude

__all__ = ["Detector"]

FILL = 0.8  # share of full scale that a reading is given when a range is chosen
TOO_SMALL = 0.18  # below this share a finer range is worth its time
UP = 4.0  # how far a clipped range is opened at once
MOST_RANGES = 32
ATTEMPTS = 3  # at what an instrument refuses
SPAN_OF_PACE = 100.0  # steps of ranges tell from each other in no narrower span
TUNING = 1e-6  # relative; a receiver may round, not go elsewhere
# A scope that waits for its trigger, or a meter that is at its first reading, has one
# a little later: common practice, no published source.
SECOND_LOOK_S = 0.3


class Detector:
    """A scope (with a range to follow) or a power meter (without).

    Parameters
    ----------
    link
        An open link.
    dialect
        How it is spoken to.
    averages
        How many make one reading; None: as many as the dialect says.
    resource
        Where it is, for one that has no identity.
    sleep
        How to wait before it is asked again for a value that it had not yet.
    settle_s
        How long it needs after a change, its own of its range included, in s.
    """

    def __init__(
        self,
        link: Link,
        *,
        dialect: DetectorDialect,
        averages: int | None = None,
        resource: str = "",
        sleep: Callable[[float], None] = time.sleep,  # noqa: TID251 - the one default
        settle_s: float = 0.0,
    ) -> None:
        self._averages = averages
        self._settle_s = settle_s
        self._link = link
        self._dialect = dialect
        self._instrument = Instrument(
            link, common=dialect.common, where=dialect.where, resource=resource
        )
        self._sleep = sleep
        self._full_scale_v: float | None = None

    def introduce(self) -> None:
        """Ask who it is, and change nothing."""
        self._instrument.introduce()

    def start(self) -> None:
        """Identify it and bring it to the dialect's known state."""
        self._instrument.start(self._dialect.start.commands)
        if self._dialect.averaging is not None:
            self._average(self._dialect.averaging)
        if self._dialect.range is not None:
            self._see_pace(self._dialect.range)
            self._set_range(self._dialect.range, rms_v=0.0)

    def _see_pace(self, vertical: Range) -> None:
        """See, the first time, that it drops no commands."""
        low, high = vertical.lowest, vertical.highest
        if self._full_scale_v is not None or high < SPAN_OF_PACE * low:
            return
        now = self._instrument.ask_number(vertical.read, form=vertical.form)
        first = math.sqrt(low * high)
        second = low if now > first else high  # across the middle from where it is

        def is_second(answer: str) -> bool:
            actual = parse_reply(answer, command=vertical.read, form=vertical.form)
            return (actual > math.sqrt(first * second)) == (second > first)

        see_pace(
            self._link,
            settings=(
                vertical.set.format(volts_per_division=first),
                vertical.set.format(volts_per_division=second),
            ),
            read=vertical.read,
            taken=is_second,
        )

    def _average(self, averaging: Averaging) -> None:
        count = self._averages or averaging.count
        command = averaging.set.format(count=count)
        # What the instrument refuses it refuses every time; a stray error it does not.
        for attempts_left in reversed(range(ATTEMPTS)):
            self._link.write(command)
            try:
                self._instrument.check(doing=command)
                break
            except (InstrumentError, AnswerLostError):
                if not attempts_left:
                    raise
        if averaging.read is None:
            return
        actual = self._instrument.ask_set_number(
            averaging.read, doing=command, form=averaging.form
        )
        if actual != count:
            raise SettingError(
                f"the detector was asked to average {count} and averages {actual:g}; "
                "give another number"
            )

    @property
    def identity(self) -> str:
        """What it answered to the question who it is."""
        return self._instrument.identity

    def tune(self, frequency_hz: float) -> None:
        """Tune it, if its dialect has a table for that.

        Raises
        ------
        SettingError
            It reads back another frequency.
        """
        table = self._dialect.tuning
        if table is None:
            return
        command = table.command(frequency_hz)
        self._link.write(command)
        if table.read is None:
            self._instrument.check(doing=command)
            return
        actual_hz = self._instrument.ask_set_number(
            table.read, doing=command, form=table.form
        )
        off_by_hz = abs(actual_hz - frequency_hz)
        if off_by_hz > max(table.tolerance_hz, TUNING * frequency_hz):
            raise SettingError(
                f"the detector was tuned to {frequency_hz:.9g} Hz and stands at "
                f"{actual_hz:.9g} Hz; stay within its range, or give `tolerance_hz` "
                "under [tuning] of its dialect",
                frequency_hz=frequency_hz,
            )

    def read(self) -> Amplitude:
        """Read one amplitude, on a range that it neither clips nor gets lost in.

        Raises
        ------
        OverloadError
            Its own word for an overload.
        NoValueError
            No value on any range, a little later neither.
        SettingError
            No steady value.
        TransportError, ReplyError
            No answer, or no sense in it.
        """
        vertical = self._dialect.range
        if vertical is not None:
            amplitude = self._follow(vertical)
        else:
            number = self._ask()
            if self._is_no_value(number):
                number = self._ask_later()
            amplitude = Amplitude(amplitude_v=self._volts(number))
        return self._with_reference(amplitude)

    def _with_reference(self, amplitude: Amplitude) -> Amplitude:
        table = self._dialect.reference
        if table is None:
            return amplitude
        number = self._instrument.ask_number(table.read, form=table.form)
        reference_v = self._in_volts(number, table) if math.isfinite(number) else 0.0
        return Amplitude(
            amplitude_v=amplitude.amplitude_v,
            range_v=amplitude.range_v,
            reference_v=reference_v,
        )

    def _ask(self) -> float:
        table = self._dialect.reading
        return self._instrument.ask_number(table.read, form=table.form)

    def _ask_later(self) -> float:
        self._sleep(SECOND_LOOK_S)
        return self._ask()

    def _is_no_value(self, number: float) -> bool:
        """Tell an answer that is neither a value nor an instrument's own nothing."""
        table = self._dialect.reading
        is_nothing = table.unit == "dBm" or table.nothing
        return not math.isfinite(number) and not (number == -math.inf and is_nothing)

    def _follow(self, vertical: Range) -> Amplitude:
        finest_v = _full_scale_v(vertical.lowest, vertical)
        clipped_v = 0.0  # a range that clipped is not chosen again for this reading
        lowest_v = math.inf  # of the ranges without a value
        for _ in range(MOST_RANGES):
            full_v = self._full_scale_v or finest_v
            number = self._ask()
            if self._is_no_value(number):
                lowest_v = min(full_v, lowest_v)
                if self._opens(vertical, full_v=full_v):
                    clipped_v = full_v
                    continue
                number = self._ask_later()
                if self._dives(vertical, number, lowest_v=lowest_v):
                    clipped_v = 0.0
                    continue
            amplitude_v = self._volts(number, coarsest_v=full_v)
            wanted_v = max(amplitude_v / FILL, finest_v, clipped_v * 1.01)
            too_small = amplitude_v < TOO_SMALL * full_v and wanted_v < 0.5 * full_v
            if too_small and (
                self._set_range(vertical, rms_v=wanted_v * FILL) < full_v
            ):
                continue  # else it has no finer one, and this reading stands
            return Amplitude(amplitude_v=amplitude_v, range_v=full_v)
        raise SettingError(
            f"the detector finds no range for its reading in {MOST_RANGES} attempts; "
            "the signal is not steady"
        )

    def _opens(self, vertical: Range, *, full_v: float) -> bool:
        """Take a coarser range; False where dialect or instrument has none."""
        if full_v >= _full_scale_v(vertical.highest, vertical) * 0.999:
            return False
        return self._set_range(vertical, rms_v=full_v * UP * FILL) > full_v

    def _dives(self, vertical: Range, number: float, *, lowest_v: float) -> bool:
        """Take the finest range, if a signal may be far below those tried so far."""
        is_overload = number == math.inf and bool(self._dialect.reading.overload)
        if not self._is_no_value(number) or is_overload:
            return False
        return self._set_range(vertical, rms_v=0.0) < lowest_v * 0.999

    def _set_range(self, vertical: Range, *, rms_v: float) -> float:
        wanted = rms_v / FILL * 2.0 * math.sqrt(2.0) / vertical.divisions
        scale = min(max(wanted, vertical.lowest), vertical.highest)
        command = vertical.set.format(volts_per_division=scale)
        self._link.write(command)
        # The instrument takes the nearest step it has; its word is what counts.
        actual = self._instrument.ask_set_number(
            vertical.read, doing=command, form=vertical.form
        )
        if actual <= 0.0:
            raise ReplyError(
                f"{self._link.name} answered {vertical.read!r} with {actual:g}, which "
                "is no range",
                command=vertical.read,
            )
        full_v = _full_scale_v(actual, vertical)
        if full_v != self._full_scale_v:
            self._sleep(self._settle_s)
        self._full_scale_v = full_v
        return full_v

    def _volts(self, number: float, *, coarsest_v: float | None = None) -> float:
        """Give volts, or refuse what is no value; on which coarsest range, if any."""
        table = self._dialect.reading
        on = "" if coarsest_v is None else f" on any range up to {coarsest_v:.3g} V"
        if number == math.inf and table.overload:
            raise OverloadError(
                f"the detector is overloaded{on}: lower the generator's level",
                coarsest_v=coarsest_v,
            )
        if self._is_no_value(number):
            raise NoValueError(
                f"the detector answers {table.read!r} by no value{on}, asked again "
                f"after {SECOND_LOOK_S:g} s too: too much or too little for it, or it "
                "waits for a trigger; look at its display",
                coarsest_v=coarsest_v,
                finest_v=None if coarsest_v is None else self._full_scale_v,
            )
        if not math.isfinite(number):
            return 0.0  # its own nothing, or the logarithm of no power
        return self._in_volts(number, table)

    def _in_volts(self, number: float, table: ReadingTable) -> float:
        if number < 0.0 and table.unit in {"Vrms", "Vpp"}:
            raise ReplyError(
                f"{self._link.name} answered {table.read!r} with {number:g} "
                f"{table.unit}, and none can be below zero",
                command=table.read,
            )
        return volts_from_reading(number, unit=table.unit, load_ohm=table.load_ohm)

    def disturbed(self) -> list[str]:
        """Tell what happened to it since the last call (see `Instrument`)."""
        return self._instrument.disturbed()

    def restore(self) -> None:
        """Bring it back to the dialect's known state."""
        self.start()

    def check(self) -> None:
        """See that its error queue is empty (raises `InstrumentError`)."""
        self._instrument.surely(
            lambda: self._instrument.check(doing="a setting or query")
        )

    def close(self) -> None:
        """Close the link."""
        self._instrument.close()


def _full_scale_v(volts_per_division: float, vertical: Range) -> float:
    """R.m.s. value of the sine that just fills the screen."""
    return volts_per_division * vertical.divisions / (2.0 * math.sqrt(2.0))
