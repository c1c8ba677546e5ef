"""The power meter: true power into fifty ohms, averaged by a slow sensor."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Unpack

from .detector import DetectorContext, DetectorCore, low_pass
from .instrument import INFINITY
from .scpi import Command, ScpiError
from .scpi_parameters import FREQUENCY, parse_choice, parse_number

__all__ = ["PowerMeter", "PowerMeterTraits"]

RESET_CALIBRATION_HZ = 50e6  # where the reference source of such meters stands


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerMeterTraits:
    """What one power meter can do, and by how much it is wrong.

    Attributes
    ----------
    input_resistance_ohm
        The sensor's load.
    power_max_w
        Above it the answer is the standard's infinity.
    noise_w
        Standard deviation of a single reading.
    offset_w
        Zero error left after zeroing.
    bandwidth_hz
        The sensor's; its calibration takes it out at the set frequency only.
    gain_error
        Relative error of the indicated power.
    frequency_min_hz, frequency_max_hz
        Range of the calibration table.
    """

    input_resistance_ohm: float
    power_max_w: float
    noise_w: float
    offset_w: float
    bandwidth_hz: float
    gain_error: float
    frequency_min_hz: float
    frequency_max_hz: float


def _reading(word: str, query: Callable[[Sequence[str]], str]) -> Command:
    pattern = f"{word}#:[SCALar]:[POWer]:[AC]"
    return Command(pattern=pattern, query=query, query_parameters=(0, 3))


class PowerMeter(DetectorCore):
    """A power meter that answers MEASure, READ? and FETCh?."""

    def __init__(
        self, traits: PowerMeterTraits, **context: Unpack[DetectorContext]
    ) -> None:
        self.traits = traits
        super().__init__(**context)

    def reset(self) -> None:
        """Return to dBm, no averaging, 50 MHz, nothing measured."""
        self._unit = "DBM"
        self.averages = 1
        self._calibration_hz = min(
            max(RESET_CALIBRATION_HZ, self.traits.frequency_min_hz),
            self.traits.frequency_max_hz,
        )
        self._power_w: float | None = None

    def _measure(self) -> None:
        t = self.traits
        power_w = t.offset_w
        calibration = low_pass(self._calibration_hz, t.bandwidth_hz) ** 2
        for component in self.observe(self.averages):
            shown = component.amplitude_v * low_pass(
                component.frequency_hz, t.bandwidth_hz
            )
            power_w += shown**2 / t.input_resistance_ohm / calibration
        power_w *= 1.0 + t.gain_error
        noise_w = t.noise_w / math.sqrt(self.averages)
        power_w += noise_w * float(self.rng.standard_normal())
        self._power_w = INFINITY if power_w > t.power_max_w else power_w

    def _answer(self) -> str:
        if self._power_w is None:
            raise ScpiError(-230, "nothing measured")
        if self._power_w == INFINITY or self._unit == "W":
            return self.number(self._power_w, fixed=3)
        if self._power_w <= 0.0:
            return self.number(-INFINITY)  # the logarithm of nothing: 7.2.1.4
        return self.number(10.0 * math.log10(self._power_w / 1e-3), fixed=3)

    # Commands ----------------------------------------------------------------------

    def commands(self) -> Sequence[Command]:
        """Give MEASure and its parts (SCPI-99 volume 2, chapter 3), SENSe, UNIT.

        The compact dialect has READ?, FETCh? and INITiate, and answers in dBm only.
        """
        common = [
            _reading("READ", self._query_measure),
            _reading("FETCh", lambda _: self._answer()),
            Command(
                pattern="INITiate#:[IMMediate]",
                set=lambda _: self._measure(),
                parameters=(0, 0),
            ),
            Command(
                pattern="[SENSe#]:FREQuency:[CW|FIXed]",
                set=self._set_frequency,
                query=self._query_frequency,
                query_parameters=(0, 1),
            ),
            self.averages_command(),
        ]
        if self.dialect == "compact":
            return common
        return [
            *common,
            _reading("MEASure", self._query_measure),
            Command(
                pattern="UNIT#:POWer", set=self._set_unit, query=lambda _: self._unit
            ),
        ]

    def _query_measure(self, _: Sequence[str]) -> str:
        self._measure()
        return self._answer()

    def _set_unit(self, parameters: Sequence[str]) -> None:
        self._unit = parse_choice(parameters[0], ("DBM", "W"))

    def _frequencies(self) -> dict[str, float]:
        t = self.traits
        return {
            "MINimum": t.frequency_min_hz,
            "MAXimum": t.frequency_max_hz,
            "DEFault": RESET_CALIBRATION_HZ,
        }

    def _set_frequency(self, parameters: Sequence[str]) -> None:
        t = self.traits
        value = parse_number(parameters[0], FREQUENCY, named=self._frequencies()).value
        if not t.frequency_min_hz <= value <= t.frequency_max_hz:
            raise ScpiError(-222, parameters[0])
        self._calibration_hz = value

    def _query_frequency(self, parameters: Sequence[str]) -> str:
        if parameters:
            named = self._frequencies()
            return self.number(
                parse_number(parameters[0], {}, named=named).value, decimals=11, fixed=2
            )
        return self.number(self._calibration_hz, decimals=11, fixed=2)
