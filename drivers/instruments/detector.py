"""A detector that answers with one amplitude; a scope's range is followed."""

import math
from collections.abc import Callable

from ..dialects import (
    Averaging,
    DetectorDialect,
    Range,
    parse_reply,
    volts_from_reading,
)
from ..errors import (
    AnswerLostError,
    InstrumentError,
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
MOST_RANGES = 12
ATTEMPTS = 3  # at what an instrument refuses
SPAN_OF_PACE = 100.0  # steps of ranges tell from each other in no narrower span


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
    settle
        Waits as long as it needs after a change, its own of its range included.
    """

    def __init__(
        self,
        link: Link,
        *,
        dialect: DetectorDialect,
        averages: int | None = None,
        settle: Callable[[], None] = lambda: None,
    ) -> None:
        self._averages = averages
        self._settle = settle
        self._link = link
        self._dialect = dialect
        self._instrument = Instrument(link, common=dialect.common, where=dialect.where)
        self._full_scale_v: float | None = None

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

    def read(self) -> Amplitude:
        """Read one amplitude, on a range that it neither clips nor gets lost in.

        Raises
        ------
        SettingError
            Clipped on the coarsest range, or no reading at all.
        TransportError, ReplyError
            No answer, or no sense in it.
        """
        vertical = self._dialect.range
        if vertical is None:
            number = self._ask()
            return Amplitude(amplitude_v=self._volts(number))
        return self._follow(vertical)

    def _ask(self) -> float:
        table = self._dialect.reading
        return self._instrument.ask_number(table.read, form=table.form)

    def _follow(self, vertical: Range) -> Amplitude:
        coarsest_v = _full_scale_v(vertical.highest, vertical)
        finest_v = _full_scale_v(vertical.lowest, vertical)
        clipped_v = 0.0  # a range that clipped is not chosen again for this reading
        for _ in range(MOST_RANGES):
            full_v = self._full_scale_v or finest_v
            number = self._ask()
            if number == math.inf and full_v < coarsest_v * 0.999:
                clipped_v = full_v
                if self._set_range(vertical, rms_v=full_v * UP * FILL) > full_v:
                    continue  # else the instrument has no coarser one: overloaded
            amplitude_v = self._volts(number)
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
            self._settle()
        self._full_scale_v = full_v
        return full_v

    def _volts(self, number: float) -> float:
        table = self._dialect.reading
        if number == -math.inf and table.unit == "dBm":
            return 0.0  # the logarithm of no power: below the meter's floor
        if not math.isfinite(number):
            what = "has no reading" if math.isnan(number) else "is overloaded"
            raise OverloadError(
                f"the detector {what} (it answered {table.read!r} so); "
                "change the generator's level"
            )
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
