"""The oscilloscope: an eight-bit record of what is really at its input.

Every reading quantises a record of 256 samples with noise in it, because what
quantisation does below one step (nothing at all, or a jump) is what a formula with
its mean square of step^2/12 leaves out, and what a search for a resonance meets.
The samples stand at even phases of the signal: those of a scope that samples an
r.f. sine asynchronously, put in order.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Unpack

import numpy as np

from ..circuit import Component, FloatArray
from .detector import HIGHEST_AVERAGE, DetectorContext, DetectorCore, low_pass
from .instrument import INFINITY
from .scpi import Command, ScpiError
from .scpi_parameters import VOLTAGE_UNITS, parse_choice, parse_number

__all__ = ["Scope", "ScopeTraits"]

SAMPLES = 256
DIVISIONS = 8
RESET_SCALE_V = 0.1
OFFSET_SCALES = 50.0  # how many divisions the trace can be moved


@dataclass(frozen=True, slots=True, kw_only=True)
class ScopeTraits:
    """What one scope can do, and by how much it is wrong.

    Attributes
    ----------
    scale_min_v, scale_max_v
        Smallest and largest volts per division, of a 1-2-5 series.
    bits
        Of its converter, over eight divisions.
    noise_v
        R.m.s. noise at the input, on every range.
    noise_divisions
        Further r.m.s. noise in divisions, which grows with the range.
    bandwidth_hz
        Half-power bandwidth of one pole.
    gain_error
        Relative error of the vertical gain.
    offset_v
        Input offset.
    """

    scale_min_v: float
    scale_max_v: float
    bits: int
    noise_v: float
    noise_divisions: float
    bandwidth_hz: float
    gain_error: float
    offset_v: float


def _series(low: float, high: float) -> tuple[float, ...]:
    """Give the 1-2-5 steps from low to high."""
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    steps = [float(f"{m}e{e}") for e in range(first, last + 1) for m in (1, 2, 5)]
    return tuple(s for s in steps if low * 0.999 <= s <= high * 1.001)


class Scope(DetectorCore):
    """A scope with one channel that answers r.m.s. measurements."""

    named_averages: Mapping[str, float] | None = MappingProxyType(
        {"MINimum": 1.0, "MAXimum": float(HIGHEST_AVERAGE), "DEFault": 1.0}
    )

    def __init__(self, traits: ScopeTraits, **context: Unpack[DetectorContext]) -> None:
        self.traits = traits
        self.scales = _series(traits.scale_min_v, traits.scale_max_v)
        self._known_waves: dict[int, FloatArray] = {}
        self._ones = np.ones(SAMPLES)
        super().__init__(**context)

    def reset(self) -> None:
        """Return to 0.1 V per division, no offset, AC coupling, no averaging."""
        self._scale_v = min(self.scales, key=lambda s: abs(s - RESET_SCALE_V))
        self._offset_v = 0.0
        self._coupling = "AC"
        self.averages = 1

    # The measurement ---------------------------------------------------------------

    def _record(self, components: Sequence[Component]) -> tuple[FloatArray, bool]:
        """Convert one record into codes; tell whether it was clipped."""
        t = self.traits
        step_v = self._step_v()
        # the harmonics keep their phase, the record starts anywhere
        angle = 2.0 * math.pi * self.rng.random()
        factor = math.sqrt(2.0) * (1.0 + t.gain_error) / step_v
        shift = (self._input_offset_v() - self._offset_v) / step_v
        weights: list[float] = []
        peak = abs(shift)
        for order, component in enumerate(components, start=1):
            amplitude = factor * component.amplitude_v
            amplitude *= low_pass(component.frequency_hz, t.bandwidth_hz)
            peak += amplitude
            weights.append(amplitude * math.cos(order * angle))
            weights.append(-amplitude * math.sin(order * angle))
        weights.append(shift)
        return self._convert(np.array(weights) @ self._waves(len(components)), peak)

    def _step_v(self) -> float:
        return DIVISIONS * self._scale_v / float(2**self.traits.bits)

    def _input_offset_v(self) -> float:
        return self.traits.offset_v if self._coupling == "DC" else 0.0

    def _waves(self, count: int) -> FloatArray:
        """Give cosine and sine of every harmonic over the record, and a constant."""
        waves = self._known_waves.get(count)
        if waves is None:
            phase = 2.0 * math.pi * np.arange(SAMPLES) / SAMPLES
            orders = range(1, count + 1)
            rows = [f(order * phase) for order in orders for f in (np.cos, np.sin)]
            waves = np.stack([*rows, np.ones(SAMPLES)])
            self._known_waves[count] = waves
        return waves

    def _convert(self, signal: FloatArray, peak: float) -> tuple[FloatArray, bool]:
        """Add noise, quantise, average; codes at either end mean a clipped trace.

        The signal, its peak and the answer are in steps of the converter.
        """
        t = self.traits
        noise = math.hypot(t.noise_v, t.noise_divisions * self._scale_v)
        noise /= self._step_v()
        averages = self.averages
        codes = self.rng.standard_normal(SAMPLES * averages)
        codes *= noise
        if averages > 1:
            codes = codes.reshape(averages, SAMPLES)
        codes += signal
        np.rint(codes, out=codes)
        limit = 2 ** (t.bits - 1)
        clipped = False
        # Ten deviations of the noise are never reached: then nothing need be looked at.
        if peak + 10.0 * noise >= limit - 1:
            clipped = bool(codes.max() >= limit - 1 or codes.min() <= -limit)
        if averages > 1:
            codes = codes.mean(axis=0)
        return codes, clipped

    def measure_v(self, *, remove_mean: bool) -> float:
        """Take one reading.

        Parameters
        ----------
        remove_mean
            Leave the record's mean out of the r.m.s. value.

        Returns
        -------
        float
            R.m.s. volts; infinity where the trace was clipped.
        """
        codes, clipped = self._record(self.observe(self.averages))
        if clipped:
            return INFINITY
        step_v = self._step_v()
        mean_v = float(codes @ self._ones) / SAMPLES * step_v
        variance = float(codes @ codes) / SAMPLES * step_v**2 - mean_v**2
        mean_square = (
            variance if remove_mean else variance + (mean_v + self._offset_v) ** 2
        )
        return math.sqrt(max(mean_square, 0.0))

    # Commands ----------------------------------------------------------------------

    def commands(self) -> Sequence[Command]:
        """Give CHANnel, ACQuire and MEASure; SENSe in the compact dialect."""
        ac = Command(
            pattern="MEASure:[SCALar]:[VOLTage]:AC",
            query=self._query_ac,
            query_parameters=(0, 3),
        )
        if self.dialect == "compact":
            return [ac, *self._sense_commands()]
        rms = Command(
            pattern="MEASure:VRMS", query=self._query_vrms, query_parameters=(0, 1)
        )
        return [ac, rms, *self._channel_commands()]

    def _channel_commands(self) -> list[Command]:
        return [
            Command(
                pattern="CHANnel#:SCALe",
                set=self._set_scale,
                query=self._query_scale,
                query_parameters=(0, 1),
            ),
            Command(
                pattern="CHANnel#:RANGe",
                set=lambda p: self._set_scale(p, DIVISIONS),
                query=lambda p: self._query_scale(p, DIVISIONS),
                query_parameters=(0, 1),
            ),
            Command(
                pattern="CHANnel#:OFFSet",
                set=self._set_offset,
                query=lambda _: self.number(self._offset_v),
            ),
            self._coupling_command("CHANnel#"),
            self.averages_command("ACQuire:AVERage:COUNt"),
        ]

    def _sense_commands(self) -> list[Command]:
        """Give what SCPI-99 volume 2, chapter 18, has for the same settings."""
        return [
            Command(
                pattern="[SENSe#]:VOLTage:[AC|DC]:RANGe:[UPPer]",
                set=lambda p: self._set_scale(p, DIVISIONS / 2),
                query=lambda p: self._query_scale(p, DIVISIONS / 2),
                query_parameters=(0, 1),
            ),
            self.averages_command(),
            self._coupling_command("INPut#"),
        ]

    def _coupling_command(self, where: str) -> Command:
        return Command(
            pattern=f"{where}:COUPling",
            set=self._set_coupling,
            query=lambda _: self._coupling,
        )

    def _scales(self, factor: float) -> dict[str, float]:
        return {
            "MINimum": self.scales[0] * factor,
            "MAXimum": self.scales[-1] * factor,
            "DEFault": RESET_SCALE_V * factor,
        }

    def _set_scale(self, parameters: Sequence[str], factor: float = 1.0) -> None:
        number = parse_number(parameters[0], VOLTAGE_UNITS, named=self._scales(factor))
        if number.unit:
            raise ScpiError(-131, number.unit)
        wanted = number.value / factor
        if not 0.0 < wanted <= self.scales[-1] * (1.0 + 1e-9):
            raise ScpiError(-222, parameters[0])
        # the next step up, so that what was asked for still fits
        before_v = self._scale_v
        self._scale_v = next(s for s in self.scales if s >= wanted * (1.0 - 1e-9))
        if self._scale_v != before_v:
            self.begin_anew()

    def _query_scale(self, parameters: Sequence[str], factor: float = 1.0) -> str:
        if parameters:
            return self.number(
                parse_number(parameters[0], {}, named=self._scales(factor)).value
            )
        return self.number(self._scale_v * factor)

    def _set_offset(self, parameters: Sequence[str]) -> None:
        value = parse_number(parameters[0], VOLTAGE_UNITS).value
        if abs(value) > OFFSET_SCALES * self._scale_v:
            raise ScpiError(-222, parameters[0])
        self._offset_v = value

    def _set_coupling(self, parameters: Sequence[str]) -> None:
        self._coupling = parse_choice(parameters[0], ("AC", "DC"))

    def _check_channel(self, parameters: Sequence[str]) -> None:
        for text in parameters:
            parse_choice(text, ("CHANnel1", "CHANnel", "DEFault"))

    def _query_vrms(self, parameters: Sequence[str]) -> str:
        self._check_channel(parameters)
        return self.number(self.measure_v(remove_mean=self._coupling == "AC"))

    def _query_ac(self, parameters: Sequence[str]) -> str:
        """Measure by SCPI-99 volume 2, chapter 3: value expected, resolution, where."""
        numbers = [p for p in parameters if not p.upper().startswith(("CHAN", "(@"))]
        if numbers and numbers[0].upper() not in ("DEF", "DEFAULT"):
            peak = (
                math.sqrt(2.0) * parse_number(numbers[0], VOLTAGE_UNITS, named={}).value
            )
            self._set_scale([repr(max(2.5 * peak / DIVISIONS, self.scales[0]))])
        return self.number(self.measure_v(remove_mean=True))
