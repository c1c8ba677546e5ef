"""Readings of one resonance: frequency against amplitude, checked once.

Whatever holds a :class:`Trace` need not check it again: every frequency is finite
and above zero, every amplitude finite and not negative. Order is free and
frequencies may repeat, since an adaptive sweep reads in no order and returns to
the points that tell it most.
"""

import math
from dataclasses import dataclass
from enum import Enum
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..quantity import FloatArray, Readings, checked_column

__all__ = ["NoiseLaw", "Trace"]


REFERENCE_IMPEDANCE_OHM = 50.0
DB_TO_RELATIVE = math.log(10.0) / 20.0  # d(ln V) per decibel
POWER_DBM_LIMIT = 200.0  # 1e17 W: beyond any reading, below overflow


class NoiseLaw(Enum):
    """How noise of an unknown size is taken to go until the readings say otherwise."""

    CONSTANT = "the same in volts at every reading"
    PROPORTIONAL = "in proportion to the reading, the same in decibels"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """Amplitude read at a row of frequencies.

    Attributes
    ----------
    frequency_hz
        Generator frequencies in Hz, shape (N,), > 0, any order, repeats allowed.
    amplitude_v
        Detector amplitudes in V, shape (N,), >= 0. Whether r.m.s. or peak does not
        matter to a resonance, only that all are the same.
    u_amplitude_v
        Standard uncertainty of each amplitude in V, shape (N,), > 0, or None: then
        the scatter about the fitted curve tells.
    u_scale_known
        False where only the ratios of ``u_amplitude_v`` are known (a detector's noise
        that goes with its range, say): they set the weights, and the scatter about the
        curve sets the size.
    noise_law
        What is taken of noise that nobody stated and no repeats show, unless the
        readings speak against it: constant where a detector shows volts, in
        proportion where it shows levels, because a logarithmic detector's noise,
        ripple and resolution are alike in decibels at every level.

    Raises
    ------
    InputError
        Columns of different length, none at all, or a reading that is not finite
        or not in its range; the sentence says which.
    """

    frequency_hz: FloatArray
    amplitude_v: FloatArray
    u_amplitude_v: FloatArray | None = None
    u_scale_known: bool = True
    noise_law: NoiseLaw = NoiseLaw.CONSTANT

    def __post_init__(self) -> None:
        frequency = checked_column(self.frequency_hz, name="frequency_hz")
        amplitude = checked_column(self.amplitude_v, name="amplitude_v", positive=False)
        if frequency.size == 0:
            raise InputError("the trace holds no readings")
        columns = {"frequency_hz": frequency, "amplitude_v": amplitude}
        if self.u_amplitude_v is not None:
            columns["u_amplitude_v"] = checked_column(
                self.u_amplitude_v, name="u_amplitude_v"
            )
        for name, column in columns.items():
            if column.size != frequency.size:
                raise InputError(
                    f"{name} has {column.size} readings but frequency_hz has "
                    f"{frequency.size}"
                )
            object.__setattr__(self, name, column)

    @property
    def states_noise(self) -> bool:
        """Whether the readings come with uncertainties of a known size."""
        return self.u_amplitude_v is not None and self.u_scale_known

    @property
    def n_readings(self) -> int:
        """Number of readings N."""
        return int(self.frequency_hz.size)

    @property
    def span(self) -> tuple[float, float]:
        """The lowest and the highest frequency read, in Hz."""
        return float(self.frequency_hz.min()), float(self.frequency_hz.max())

    @property
    def order(self) -> NDArray[np.intp]:
        """Indices that sort the readings by frequency, repeats as they came."""
        return np.argsort(self.frequency_hz, kind="stable")

    @classmethod
    def from_power_dbm(
        cls,
        *,
        frequency_hz: Readings,
        power_dbm: Readings,
        u_power_db: Readings | None = None,
        impedance_ohm: float = REFERENCE_IMPEDANCE_OHM,
    ) -> Self:
        """Make a trace of power levels: r.m.s. volts across the meter's impedance.

        Parameters
        ----------
        frequency_hz
            Generator frequencies in Hz, shape (N,).
        power_dbm
            Power levels in dB above 1 mW, shape (N,).
        u_power_db
            Their standard uncertainties in dB, shape (N,), or None.
        impedance_ohm
            Impedance in ohm that the power is dissipated in: 0 dBm across 50 ohm is
            0.2236 V.

        Raises
        ------
        InputError
            As the constructor; or a level that is no number or past +/-200 dBm.
        """
        try:
            level = np.array(power_dbm, dtype=np.float64).reshape(-1)
        except (TypeError, ValueError) as error:
            raise InputError(f"power_dbm is not a row of numbers: {error}") from error
        bad = ~(np.abs(level) <= POWER_DBM_LIMIT)
        if bad.any():
            index = int(np.argmax(bad))
            raise InputError(
                f"power_dbm of reading {index + 1} of {level.size} is {level[index]:g};"
                f" it must lie within +/-{POWER_DBM_LIMIT:g} dBm",
                index=index,
            )
        if not 0.0 < impedance_ohm < math.inf:
            raise InputError(
                f"impedance_ohm is {impedance_ohm:g}; it must be finite and above zero"
            )
        amplitude = np.sqrt(impedance_ohm * 1e-3) * 10.0 ** (level / 20.0)
        u_amplitude = None
        if u_power_db is not None:
            u_db = checked_column(u_power_db, name="u_power_db")
            if u_db.size != level.size:
                raise InputError(
                    f"u_power_db has {u_db.size} readings but power_dbm has "
                    f"{level.size}"
                )
            u_amplitude = DB_TO_RELATIVE * u_db * amplitude
        return cls(
            frequency_hz=np.asarray(frequency_hz, dtype=np.float64),
            amplitude_v=amplitude,
            u_amplitude_v=u_amplitude,
            noise_law=NoiseLaw.PROPORTIONAL,
        )

    def select(self, keep: NDArray[np.bool_]) -> Self:
        """Return the trace of the readings where `keep`, shape (N,), is true."""
        u = self.u_amplitude_v
        return type(self)(
            frequency_hz=self.frequency_hz[keep],
            amplitude_v=self.amplitude_v[keep],
            u_amplitude_v=None if u is None else u[keep],
            u_scale_known=self.u_scale_known,
            noise_law=self.noise_law,
        )
