"""Keep the tank's voltage below its limit: predict it first, then watch it.

A tank multiplies: with Q = 300, one volt in series becomes 300 V. Touching it burns,
and an unshielded resonant coil radiates. The program compares with the bench file's
limit; local rules and a licensed person come first.
"""

import math

from ...analysis.reading import Reading
from ...analysis.tank import Tank, tank_shunt
from ...analysis.uncertainty import values_of
from ..errors import GuardError

__all__ = ["TankGuard"]

PREDICTED_Q = 400.0  # a good air-cored coil; common practice, no published source


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
    """

    def __init__(self, tank: Tank, *, emf_v: float, limit_v: float) -> None:
        self._tank = tank
        self._emf_v = emf_v
        self._limit_v = limit_v
        self.highest_v = 0.0

    def predicted_v(self, frequency_hz: float) -> float:
        """Tank voltage in V r.m.s. at a resonance at this frequency.

        E wCc / (wT/Q + G): the current through the coupling capacitor times the
        tank's resistance, for a coil of Q = 400.
        """
        omega = 2.0 * math.pi * frequency_hz
        shunt = tank_shunt(values_of(self._tank), omega=omega)
        total_s = omega * shunt.capacitance_f / PREDICTED_Q + shunt.conductance_s
        drive_a = self._emf_v * omega * self._tank.coupling_f.value
        return float(drive_a / total_s)

    def check_before(self, frequency_hz: float) -> None:
        """Refuse to drive when the prediction is above the limit.

        Raises
        ------
        GuardError
            It is; the sentence gives a level that is safe.
        """
        predicted_v = self.predicted_v(frequency_hz)
        if predicted_v > self._limit_v:
            safe_v = self._emf_v * self._limit_v / predicted_v
            raise GuardError(
                f"at {self._emf_v:.3g} V the tank could reach {predicted_v:.3g} V "
                f"r.m.s., above the limit of {self._limit_v:.3g} V: set the "
                f"generator's level to {safe_v:.2g} V or less; contact with a "
                "resonating part burns, so keep hands off while it is driven",
                predicted_v=predicted_v,
            )

    def watch(self, reading: Reading) -> None:
        """Stop when a reading shows the tank above the limit.

        Raises
        ------
        GuardError
            It does.
        """
        tank_v = reading.amplitude_v * self._ratio(reading.frequency_hz)
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
        """Tank voltage over the detector's, which is 1 + (G + jwCp)/(jwC) behind C."""
        tank = self._tank
        if tank.output_coupling_f is None:
            return 1.0
        output_f = tank.output_coupling_f.value
        susceptance_s = 2.0 * math.pi * frequency_hz * output_f
        return math.hypot(
            1.0 + tank.probe_f.value / output_f,
            1.0 / (susceptance_s * tank.probe_ohm.value),
        )
