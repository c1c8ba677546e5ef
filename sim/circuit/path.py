"""From the generator's settings to the voltage at the detector, in time.

The circuit is linear, so its answer to a new setting is known in closed form. After
a change the generator's level approaches its value as E + dE exp(-g t); each
natural mode m obeys dm/dt = p m + r e(t). With the phase counted in the frame of
the generator's new frequency, the envelope at the detector is

    V(t) = H(jw) E + H(jw - g) dE exp(-g t) + sum_k T_k exp((p_k - jw) t)

where the last sum carries every mode on from where it was (its amplitude is
continuous) while the part of the response that no mode holds jumps at once. A real
drive also turns the other way round, exp(-jwt); an envelope leaves that out, which
moves an early reading by up to 1/(4Q) of the resonant amplitude.
"""

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .modes import Mode, follow_mode
from .nodal import Circuit, Scale
from .operating import OperatingPoint

__all__ = ["Component", "Harmonic", "SignalPath"]

TWO_PI = 2.0 * math.pi
SETTLED = 1e-10  # of itself: below it a transient is over
UNMOVED = 1e-7  # relative change of a value that no ring-up shows
SMALL = 1e-8  # its square is below the last digit
SETTLED_TIMES = -math.log(SETTLED)


class Component(NamedTuple):
    """One sinusoid at the detector's input.

    Attributes
    ----------
    frequency_hz
        Its frequency.
    amplitude_v
        Its r.m.s. amplitude over the reading's window.
    """

    frequency_hz: float
    amplitude_v: float


@dataclass(frozen=True, slots=True)
class Harmonic:
    """A harmonic of the generator: its order and its share of the level."""

    order: int
    share: float


@dataclass(slots=True)
class _Line:
    """The state of one harmonic since the last change."""

    omega: float
    emf: float
    step: float  # dE: start less final
    before: tuple[float, float]  # omega and emf, settled, before the change
    transient: list[complex] | None = None  # of every mode; None until asked for


def _mean_square(terms: Sequence[tuple[complex, complex]], window_s: float) -> float:
    """Average |sum a exp(mu t)|^2 over 0..window."""
    total = 0.0
    for k, (a, mu) in enumerate(terms):
        total += abs(a) ** 2 * _mean(2.0 * mu.real * window_s).real
        for b, nu in terms[:k]:
            x = (mu + nu.conjugate()) * window_s
            total += 2.0 * (a * b.conjugate() * _mean(x)).real
    return max(total, 0.0)


def _mean(x: complex) -> complex:
    """Give the mean of exp over 0..x."""
    return 1.0 + 0.5 * x if abs(x) < SMALL else (cmath.exp(x) - 1.0) / x


class SignalPath:
    """The circuit's state between generator and detector.

    Parameters
    ----------
    circuit, modes
        The circuit and how it rings.
    harmonics
        What the generator adds to its fundamental.
    settling_s
        The time constant with which its level approaches a new value; 0 for none.
    operating
        What moves the circuit's values; None where nothing does.
    """

    def __init__(
        self,
        circuit: Circuit,
        modes: Sequence[Mode],
        *,
        harmonics: Sequence[Harmonic],
        settling_s: float,
        operating: OperatingPoint | None = None,
    ) -> None:
        self.circuit = circuit
        self._set_operating(operating)
        self._set_modes(modes)
        self._orders = (Harmonic(1, 1.0), *harmonics)
        self._rate = 0.0 if settling_s <= 0.0 else 1.0 / settling_s
        self._settling_s = SETTLED_TIMES / self._slowest()
        self._modes_at_s = 0.0
        self._since_s = -math.inf
        self._over_s = -math.inf
        self._lines = [_Line(TWO_PI, 0.0, 0.0, (TWO_PI, 0.0)) for _ in self._orders]

    def _set_modes(self, modes: Sequence[Mode]) -> None:
        self._natural = tuple(modes)
        self.modes = tuple((m.pole_rad_per_s, m.residue_per_s) for m in modes)

    def _set_operating(self, operating: OperatingPoint | None) -> None:
        moves = operating is not None and not operating.is_fixed
        self._operating = operating if moves else None

    def replace_circuit(
        self,
        now_s: float,
        circuit: Circuit,
        modes: Sequence[Mode],
        operating: OperatingPoint | None = None,
    ) -> None:
        """Put another circuit in, settled, under the same drive (a part is changed)."""
        self.circuit = circuit
        self._set_operating(operating)
        self._set_modes(modes)
        self._modes_at_s = now_s
        self._settling_s = SETTLED_TIMES / self._slowest()
        self._over_s = -math.inf
        for line in self._lines:
            line.step, line.transient = 0.0, None

    def level_now_v(self, now_s: float) -> float:
        """Give the fundamental's e.m.f. as it stands while it settles."""
        line = self._lines[0]
        if now_s >= self._over_s or not line.step:
            return line.emf
        return line.emf + line.step * math.exp(-self._rate * (now_s - self._since_s))

    def drive(
        self, now_s: float, *, frequency_hz: float, emf_v: float, start_emf_v: float
    ) -> None:
        """Change what the generator puts out.

        Parameters
        ----------
        now_s
            The clock.
        frequency_hz
            The true frequency.
        emf_v
            R.m.s. e.m.f. of the fundamental, once settled.
        start_emf_v
            What the level settles from.
        """
        ringing = now_s < self._over_s
        step = (start_emf_v - emf_v) if self._rate else 0.0
        for harmonic, line in zip(self._orders, self._lines, strict=True):
            amplitudes = self._amplitudes(line, now_s) if ringing else None
            line.before = (line.omega, line.emf)
            line.omega = TWO_PI * frequency_hz * harmonic.order
            line.emf = emf_v * harmonic.share
            line.step = step * harmonic.share
            line.transient = amplitudes and self._free(line, amplitudes)
        self._since_s = now_s
        self._over_s = now_s + self._settling_s

    def _free(self, line: _Line, amplitudes: Sequence[complex]) -> list[complex]:
        """Give what the modes carry on, from their amplitudes at the change."""
        return [
            m - self._forced(line, pole, residue)
            for m, (pole, residue) in zip(amplitudes, self.modes, strict=True)
        ]

    def _transient(self, line: _Line) -> list[complex]:
        """Give the free amplitudes right after the change, worked out when needed."""
        if line.transient is None:
            self._follow_modes()
            omega, emf = line.before
            settled = [r * emf / (1j * omega - pole) for pole, r in self.modes]
            line.transient = self._free(line, settled)
        return line.transient

    def _follow_modes(self) -> None:
        """Let the modes go where the drift has taken them by the last change."""
        if self._operating is None:
            return
        moved = self._operating.fastest_per_s * (self._since_s - self._modes_at_s)
        if abs(moved) < UNMOVED:
            return
        self._modes_at_s = self._since_s
        scale = self._operating.drifted(self._since_s)
        self._set_modes([follow_mode(self.circuit, m, scale) for m in self._natural])

    def _scale(self, now_s: float) -> Scale | None:
        if self._operating is None:
            return None
        line = self._lines[0]
        return self._operating.scale(now_s, omega=line.omega, emf_v=line.emf)

    def _slowest(self) -> float:
        """Give the rate of the slowest transient."""
        rates = [-pole.real for pole, _ in self.modes]
        if self._rate:
            rates.append(self._rate)
        return min(rates, default=math.inf)

    def _forced(self, line: _Line, pole: complex, residue: complex) -> complex:
        """Give a mode's forced amplitude right after a change."""
        m = residue * line.emf / (1j * line.omega - pole)
        if line.step:
            m += residue * line.step / (1j * line.omega - self._rate - pole)
        return m

    def _amplitudes(self, line: _Line, now_s: float) -> list[complex]:
        """Give every mode's amplitude, forced and free."""
        s, age_s = 1j * line.omega, now_s - self._since_s
        fade = math.exp(-self._rate * age_s)
        return [
            residue * line.emf / (s - pole)
            + residue * line.step * fade / (s - self._rate - pole)
            + free * cmath.exp((pole - s) * age_s)
            for (pole, residue), free in zip(
                self.modes, self._transient(line), strict=True
            )
        ]

    def components(self, now_s: float, window_s: float) -> list[Component]:
        """Give the sinusoids at the detector: the fundamental, then its harmonics.

        Parameters
        ----------
        now_s
            The clock when the window opens.
        window_s
            How long the detector looks, > 0.
        """
        if self._lines[0].emf == 0.0 and now_s >= self._over_s:
            return []
        scale = self._scale(now_s)
        lines = self._lines
        if now_s < self._over_s:
            return self._settling(now_s, window_s, scale)
        s = np.array([1j * line.omega for line in lines])
        response = np.abs(self.circuit.response(s, scale)).tolist()
        return [
            Component(line.omega / TWO_PI, gain * line.emf)
            for line, gain in zip(lines, response, strict=True)
        ]

    def _settling(
        self, now_s: float, window_s: float, scale: Scale | None
    ) -> list[Component]:
        """Give the sinusoids while level and modes are still on their way."""
        age_s, lines = now_s - self._since_s, self._lines
        points = [1j * line.omega for line in lines]
        points += [1j * line.omega - self._rate for line in lines]
        gains = self.circuit.response(np.array(points), scale).tolist()
        fade = math.exp(-self._rate * age_s)
        found = []
        for k, line in enumerate(lines):
            terms = [(gains[k] * line.emf, 0j)]
            if line.step:
                faded = gains[k + len(lines)] * line.step * fade
                terms.append((faded, complex(-self._rate)))
            terms += self._ringing(line, age_s)
            amplitude_v = math.sqrt(_mean_square(terms, window_s))
            found.append(Component(line.omega / TWO_PI, amplitude_v))
        return found

    def _ringing(self, line: _Line, age_s: float) -> list[tuple[complex, complex]]:
        """Give what is left of the modes: amplitude now, and rate from now on."""
        s = 1j * line.omega
        left: list[tuple[complex, complex]] = []
        if not any(pole.real * age_s > -SETTLED_TIMES for pole, _ in self.modes):
            return left
        for (pole, _), free in zip(self.modes, self._transient(line), strict=True):
            if pole.real * age_s > -SETTLED_TIMES:
                rate = pole - s
                left.append((free * cmath.exp(rate * age_s), rate))
        return left
