"""Two voltmeters: one that answers r.m.s. values, and a diode probe's d.c.

The diode probe obeys the exponential diode: with no current drawn from its
capacitor, the mean diode current vanishes where I0(V / nVt) = exp(U / nVt), I0 the
modified Bessel function, V the peak of the sine and U the voltage shown. Low down
U = V^2 / (4 nVt), high up U = V - (nVt / 2) ln(2 pi V / nVt).

References
----------
C. G. Montgomery (ed.), "Technique of Microwave Measurements" (1947), on detectors
with an exponential characteristic (from memory; the limits are checked in tests).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Unpack

import numpy as np

from .detector import DetectorContext, DetectorCore, low_pass
from .instrument import INFINITY
from .scpi import Command, ScpiError
from .scpi_parameters import VOLTAGE_UNITS, parse_boolean, parse_number

__all__ = [
    "DiodeProbe",
    "DiodeProbeTraits",
    "Voltmeter",
    "VoltmeterTraits",
    "diode_voltage",
]

SMALL = 1e-3  # below it the first term of ln I0 is all there is
LARGE = 50.0  # beyond it ln I0(x) is its asymptote to 1e-5 of itself and better
DECADE = 10.0
FLUCTUATION = 0.1  # of the noise in a reading: it averages a hundred samples of it


def diode_voltage(peak_v: float, emission_voltage_v: float) -> float:
    """Give the d.c. voltage of an unloaded diode detector under a sine.

    Parameters
    ----------
    peak_v
        Peak of the sine, >= 0.
    emission_voltage_v
        n k T / e of the diode.
    """
    x = peak_v / emission_voltage_v
    if x < SMALL:
        return emission_voltage_v * x * x / 4.0  # ln I0 = x^2/4 - x^4/64 + ...
    if x < LARGE:
        return emission_voltage_v * math.log(float(np.i0(x)))
    series = 1.0 + 1.0 / (8.0 * x) + 9.0 / (128.0 * x * x)
    log_i0 = x - 0.5 * math.log(2.0 * math.pi * x) + math.log(series)
    return emission_voltage_v * log_i0


@dataclass(frozen=True, slots=True, kw_only=True)
class VoltmeterTraits:
    """What one r.f. voltmeter can do, and by how much it is wrong.

    Attributes
    ----------
    range_min_v, range_max_v
        Smallest and largest range, in decades; a range ends at 1.2 times its name.
    counts
        Steps of the display to the range's name.
    noise_v
        R.m.s. noise, which adds to the signal in quadrature.
    bandwidth_hz
        Half-power bandwidth of one pole.
    gain_error
        Relative.
    """

    range_min_v: float
    range_max_v: float
    counts: int
    noise_v: float
    bandwidth_hz: float
    gain_error: float


class Voltmeter(DetectorCore):
    """A true-r.m.s. voltmeter with ranges."""

    OVER_RANGE = 1.2

    def __init__(
        self, traits: VoltmeterTraits, **context: Unpack[DetectorContext]
    ) -> None:
        self.traits = traits
        count = round(math.log10(traits.range_max_v / traits.range_min_v))
        self.ranges = tuple(traits.range_min_v * DECADE**k for k in range(count + 1))
        super().__init__(**context)

    def reset(self) -> None:
        """Return to automatic ranges and no averaging."""
        self._range_v, self._is_automatic, self.averages = self.ranges[-1], True, 1

    def _true_rms_v(self) -> float:
        t = self.traits
        square = t.noise_v**2 / self.averages
        for component in self.observe(self.averages):
            gain = low_pass(component.frequency_hz, t.bandwidth_hz)
            square += (component.amplitude_v * gain) ** 2
        noise_v = t.noise_v / math.sqrt(self.averages)
        value = math.sqrt(square) * (1.0 + t.gain_error)
        return abs(value + FLUCTUATION * noise_v * float(self.rng.standard_normal()))

    def _measure(self, _: Sequence[str]) -> str:
        value = self._true_rms_v()
        if self._is_automatic:
            fitting = [r for r in self.ranges if value <= self.OVER_RANGE * r]
            self._range_v = fitting[0] if fitting else self.ranges[-1]
        if value > self.OVER_RANGE * self._range_v:
            return self.number(INFINITY)
        step_v = self._range_v / self.traits.counts
        return self.number(round(value / step_v) * step_v)

    def commands(self) -> Sequence[Command]:
        """Give MEASure or READ?, and SENSe."""
        measure = "MEASure:[SCALar]:[VOLTage]:AC"
        pattern = "READ" if self.dialect == "compact" else measure
        return [
            Command(pattern=pattern, query=self._measure, query_parameters=(0, 3)),
            Command(
                pattern="[SENSe#]:VOLTage:AC:RANGe:[UPPer]",
                set=self._set_range,
                query=lambda _: self.number(self._range_v),
            ),
            Command(
                pattern="[SENSe#]:VOLTage:AC:RANGe:AUTO",
                set=self._set_automatic,
                query=lambda _: str(int(self._is_automatic)),
            ),
            self.averages_command(),
        ]

    def _set_range(self, parameters: Sequence[str]) -> None:
        named = {"MINimum": self.ranges[0], "MAXimum": self.ranges[-1]}
        wanted = parse_number(parameters[0], VOLTAGE_UNITS, named=named).value
        if not 0.0 < wanted <= self.ranges[-1] * self.OVER_RANGE:
            raise ScpiError(-222, parameters[0])
        self._range_v = next(r for r in self.ranges if wanted <= self.OVER_RANGE * r)
        self._is_automatic = False

    def _set_automatic(self, parameters: Sequence[str]) -> None:
        self._is_automatic = parse_boolean(parameters[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class DiodeProbeTraits:
    """What one diode probe can do, and by how much it is wrong.

    Attributes
    ----------
    emission_voltage_v
        n k T / e: the knee between square law and linear.
    breakdown_v
        Peak voltage that it stands; above it the answer is infinity.
    resolution_v, noise_v, offset_v
        Of the d.c. voltmeter behind it.
    bandwidth_hz
        Of the probe.
    gain_error
        Of the d.c. voltmeter, relative.
    """

    emission_voltage_v: float
    breakdown_v: float
    resolution_v: float
    noise_v: float
    offset_v: float
    bandwidth_hz: float
    gain_error: float


class DiodeProbe(DetectorCore):
    """A diode probe: what it answers is the d.c. voltage, not the r.f."""

    def __init__(
        self, traits: DiodeProbeTraits, **context: Unpack[DetectorContext]
    ) -> None:
        self.traits = traits
        super().__init__(**context)

    def _measure(self, _: Sequence[str]) -> str:
        t = self.traits
        square = 0.0
        for component in self.observe():
            gain = low_pass(component.frequency_hz, t.bandwidth_hz)
            square += (component.amplitude_v * gain) ** 2
        peak_v = math.sqrt(2.0 * square)
        if peak_v > t.breakdown_v:
            return self.number(INFINITY)
        value = diode_voltage(peak_v, t.emission_voltage_v) * (1.0 + t.gain_error)
        value += t.offset_v + t.noise_v * float(self.rng.standard_normal())
        return self.number(round(value / t.resolution_v) * t.resolution_v)

    def commands(self) -> Sequence[Command]:
        """Give MEASure:VOLTage:DC or READ?."""
        measure = "MEASure:[SCALar]:[VOLTage]:[DC]"
        pattern = "READ" if self.dialect == "compact" else measure
        return [Command(pattern=pattern, query=self._measure, query_parameters=(0, 3))]
