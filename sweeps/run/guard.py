"""Keep the tank's voltage below its limit: predict it first, then watch it.

A tank multiplies: with Q = 300, one volt in series becomes 300 V. Touching it burns,
and an unshielded resonant coil radiates. The program compares with the bench file's
limit; local rules and a licensed person come first.

Guarded is the tank's top, where couplings, capacitor and probe meet: of a coil behind
leads the coil itself stands lower, by their share of the loop. With a capacitor in
series with the coil, the place between the two is guarded as well: it may stand higher.
"""

import math
from dataclasses import replace
from decimal import ROUND_DOWN, Context

import numpy as np
from scipy.optimize import minimize_scalar

from ...analysis.errors import InputError
from ...analysis.reading import Reading
from ...analysis.tank import Tank, tank_shunt
from ...analysis.uncertainty import values_of
from ..errors import GuardError

__all__ = ["TankGuard"]

PREDICTED_Q = 400.0  # a good air-cored coil; common practice, no published source
LOOKS = 60  # over a span; between the best one's neighbours it is sought closer
NEAR_OWN = 0.9  # of the square of the coil's own resonance, above which it is no coil
SAFE = Context(prec=2, rounding=ROUND_DOWN)  # what is called safe must be so


class TankGuard:
    """Compares the tank's predicted and observed voltage with a limit.

    Parameters
    ----------
    tank
        The circuit about the coil.
    emf_v
        The generator's open-circuit voltage in V r.m.s.
    limit_v
        Highest tank voltage allowed in V r.m.s.
    without_hz
        Where the tank resonates without what is in series with its coil, in Hz; None:
        nothing is.
    """

    def __init__(
        self,
        tank: Tank,
        *,
        emf_v: float,
        limit_v: float,
        without_hz: float | None = None,
    ) -> None:
        self._tank = tank
        self._emf_v = emf_v
        self._limit_v = limit_v
        self._without_hz = without_hz
        self.highest_v = 0.0

    def predicted_v(self, frequency_hz: float) -> float:
        """Highest voltage in V r.m.s. at this frequency, whatever the inductance.

        I/|Y| of a coil of Q = 400 behind the leads: I = E wCc/|1 + jwCcRs| comes
        through the coupling capacitor, Y = G + jB + 1/(R + jX) has what lies across
        the tank in G and B, the coil and the leads in R and X. |Y| is least at B X^2 -
        (1 + 2RG) X - B R^2 = 0 (derived: d|Y|/dX = 0), which is X = 1/B for a small R.
        """
        omega = 2.0 * math.pi * frequency_hz
        tank = values_of(self._tank)
        if self._without_hz is not None:  # then it is not across the tank
            tank = replace(tank, self_capacitance_f=0.0)
        shunt = tank_shunt(tank, omega=omega)
        across_s = complex(shunt.conductance_s, omega * shunt.capacitance_f)
        feed_s = omega * tank.coupling_f
        drive_a = self._emf_v * feed_s / math.hypot(1.0, feed_s * tank.source_ohm)
        lead_ohm = omega * tank.lead_h
        reactance_ohm = 1.0 / across_s.imag
        for _ in range(2):  # R follows X, a four-hundredth of it
            coil_ohm = max(reactance_ohm * self._rise(frequency_hz) - lead_ohm, 0.0)
            ohm = coil_ohm / PREDICTED_Q + tank.lead_ohm
            half = 0.5 + ohm * across_s.real
            best = half + math.hypot(half, across_s.imag * ohm)
            reactance_ohm = max(best / across_s.imag, lead_ohm)
        total_s = across_s + 1.0 / complex(ohm, reactance_ohm)
        return float(drive_a / abs(total_s)) * self._between(frequency_hz)

    def worst(self, lowest_hz: float, highest_hz: float) -> tuple[float, float]:
        """Highest prediction over a span in V r.m.s., and its frequency in Hz.

        It rises with frequency at first and falls where the source resistance, or a
        low one behind an output coupling, takes more than the coil.

        Raises
        ------
        InputError
            The span does not begin above zero.
        """
        if not lowest_hz > 0.0:
            raise InputError(f"a frequency of {lowest_hz:g} Hz cannot be driven")
        grid = np.geomspace(lowest_hz, highest_hz, LOOKS)
        best = int(np.argmax([self.predicted_v(float(hz)) for hz in grid]))
        beside = grid[max(best - 1, 0)], grid[min(best + 1, LOOKS - 1)]
        found_hz = float(grid[best])
        if beside[0] < beside[1]:
            closer = minimize_scalar(
                lambda hz: -self.predicted_v(hz), bounds=beside, method="bounded"
            )
            found_hz = max(found_hz, float(closer.x), key=self.predicted_v)
        return self.predicted_v(found_hz), found_hz

    def check_before(self, lowest_hz: float, highest_hz: float) -> None:
        """Refuse to drive when the prediction over a span is above the limit.

        Raises
        ------
        GuardError
            It is; the sentence gives a level that is safe.
        """
        predicted_v, at_hz = self.worst(lowest_hz, highest_hz)
        if predicted_v > self._limit_v:
            safe_v = SAFE.create_decimal(self._emf_v * self._limit_v / predicted_v)
            raise GuardError(
                f"at {self._emf_v:.3g} V the tank could reach {predicted_v:.3g} V "
                f"r.m.s. (at {at_hz:.3g} Hz), above the limit of {self._limit_v:.3g} "
                f"V: set the generator's level to {float(safe_v):g} V or less; contact "
                "with a resonating part burns, so keep hands off while it is driven",
                predicted_v=predicted_v,
            )

    def tank_v(self, reading: Reading) -> float:
        """Tank voltage in V r.m.s. that a reading shows."""
        return reading.amplitude_v * self._ratio(reading.frequency_hz)

    def watch(self, reading: Reading) -> None:
        """Stop when a reading shows the tank above the limit.

        Raises
        ------
        GuardError
            It does.
        """
        tank_v = self.tank_v(reading)
        self.highest_v = max(self.highest_v, tank_v)
        if tank_v > self._limit_v:
            raise GuardError(
                f"the tank stands at {tank_v:.3g} V r.m.s. at "
                f"{reading.frequency_hz:.6g} Hz, above the limit of "
                f"{self._limit_v:.3g} V: the sweep was stopped; lower the level, and "
                "keep hands off, for contact with a resonating part burns",
                tank_v=tank_v,
            )

    def _ratio(self, frequency_hz: float) -> float:
        """Highest voltage over the detector's: 1 + (G + jwCp)/(jwC) behind C."""
        tank, between = self._tank, self._between(frequency_hz)
        if tank.output_coupling_f is None:
            return between
        output_f = tank.output_coupling_f.value
        susceptance_s = 2.0 * math.pi * frequency_hz * output_f
        return between * math.hypot(
            1.0 + tank.probe_f.value / output_f,
            1.0 / (susceptance_s * tank.probe_ohm.value),
        )

    def _rise(self, frequency_hz: float) -> float:
        """Give the coil's reactance over its own less that of the part in series.

        At a resonance with a part in series, f, and one without it, f1, it is
        (1 - s) r/(1 - s r), r = (f/f1)^2: the coil's own capacitance, a share s of all
        at f1, raises its reactance (derived: w'L' - 1/w'Cx = 1/w'T with L' the raised
        one, w^2 L (T + Cs) = 1).
        """
        if self._without_hz is None:
            return 1.0
        tank, omega = values_of(self._tank), 2.0 * math.pi * self._without_hz
        share = tank.self_capacitance_f / tank_shunt(tank, omega=omega).capacitance_f
        up = (frequency_hz / self._without_hz) ** 2
        return float(max((1.0 - share) * up / (1.0 - min(share * up, NEAR_OWN)), 1.0))

    def _between(self, frequency_hz: float) -> float:
        """Give the voltage between coil and part in series over the tank's, or 1."""
        return max(self._rise(frequency_hz) - 1.0, 1.0)
