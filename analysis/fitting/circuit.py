"""The circuit itself as the response: a coil's L and R against a known fixture.

Below Q of about 10 a resonance has no shape of its own: what the coupling, the
detector and a loss in series with the coil do to it differs by more than a fit is
uncertain. Here every element but the coil is known, and the node's voltage is
computed exactly.

The coil is R(w) + jwL with ``R = R0 (w/w0)^n``. The fit moves f0, Q and A like any
other, tied to the coil by what the fixture shows at f0: with ``Y`` the admittance of
all but the coil, ``T = Im Y(w0)/w0`` and ``G = Re Y(w0)``,

    L = 1/(w0^2 T),    R0 + R_in = w0 L (1/Q - G w0 L)

where R_in is in series with the coil by the fixture's doing.
"""

import math
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..quantity import FloatArray
from .curves import Response
from .resonance_fit import ResonanceFit

__all__ = ["Circuit", "CoilInCircuit", "KnownElements", "coil_in_circuit"]

ComplexArray = NDArray[np.complexfloating[Any, Any]]
SLOPE_STEP = 1e-5  # of a unit step: second differences then cost 1e-10 of a slope


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownElements:
    """What stands around the coil.

    Attributes
    ----------
    capacitance_f
        Across the coil: the known capacitor and every stray, in F, >= 0.
    drive
        "shunt": the generator feeds the node through `coupling_capacitance_f`, or
        through its resistance alone where that is None. "series": the generator's
        voltage is injected in series with the coil.
    source_resistance_ohm
        The generator's resistance, in series with the coupling or with the coil.
    coupling_capacitance_f
        In F, > 0, or None.
    detector_resistance_ohm, detector_capacitance_f
        The detector's input, in parallel.
    detector_coupling_f
        Capacitor in F through which the detector hangs on the node, or None: directly.
    loss_exponent
        n in R = R0 (w/w0)^n: 0.5 is skin effect, 0 a resistor.

    Raises
    ------
    InputError
        An element out of its range.
    """

    capacitance_f: float
    drive: Literal["shunt", "series"] = "shunt"
    source_resistance_ohm: float = 50.0
    coupling_capacitance_f: float | None = None
    detector_resistance_ohm: float = math.inf
    detector_capacitance_f: float = 0.0
    detector_coupling_f: float | None = None
    loss_exponent: float = 0.5

    def __post_init__(self) -> None:
        for name in (
            "capacitance_f",
            "source_resistance_ohm",
            "detector_capacitance_f",
        ):
            value = getattr(self, name)
            if not 0.0 <= value < math.inf:
                raise InputError(f"{name} is {value}; it must be finite and >= 0")
        for name in ("coupling_capacitance_f", "detector_coupling_f"):
            value = getattr(self, name)
            if value is not None and not 0.0 < value < math.inf:
                raise InputError(f"{name} is {value}; it must be finite and > 0")
        if not self.detector_resistance_ohm > 0.0:
            raise InputError(
                f"detector_resistance_ohm is {self.detector_resistance_ohm}; "
                "it must be above zero"
            )
        bare = self.drive == "shunt" and self.coupling_capacitance_f is None
        if bare and self.source_resistance_ohm == 0.0:
            raise InputError("a source without resistance holds the node's voltage")

    def source_admittance(self, omega: FloatArray) -> ComplexArray:
        """Return the admittance in S of the path from the generator to the node."""
        impedance: ComplexArray = np.full(
            omega.shape, self.source_resistance_ohm, dtype=np.complex128
        )
        if self.coupling_capacitance_f is not None:
            impedance = impedance + 1.0 / (1j * omega * self.coupling_capacitance_f)
        result: ComplexArray = 1.0 / impedance
        return result

    def detector_path(self, omega: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Return the detector's admittance at the node, and its share of voltage."""
        own: ComplexArray = 1j * omega * self.detector_capacitance_f + (
            1.0 / self.detector_resistance_ohm
        )
        if self.detector_coupling_f is None:
            return own, np.ones(omega.shape, dtype=np.complex128)
        link = 1j * omega * self.detector_coupling_f
        part: ComplexArray = link / (link + own)
        return own * part, part

    def admittance(self, omega: FloatArray) -> ComplexArray:
        """Return the admittance in S at the node of all but the coil's branch."""
        total: ComplexArray = 1j * omega * self.capacitance_f
        total = total + self.detector_path(omega)[0]
        if self.drive == "shunt":
            total = total + self.source_admittance(omega)
        return total


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilInCircuit:
    """The coil that a circuit fit found; `u_x` is the standard uncertainty of `x`.

    Attributes
    ----------
    inductance_h, u_inductance_h
        L in H: what remains when all the known capacitance is taken off.
    series_resistance_ohm, u_series_resistance_ohm
        R0 in ohm at f0.
    unloaded_q, u_unloaded_q
        The coil's own w0 L/R0.
    """

    inductance_h: float
    u_inductance_h: float
    series_resistance_ohm: float
    u_series_resistance_ohm: float
    unloaded_q: float
    u_unloaded_q: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit(Response):
    """The detector's voltage in a circuit of which only the coil is unknown.

    Attributes
    ----------
    known
        What stands around the coil.
    """

    known: KnownElements
    extra_names: ClassVar[tuple[str, ...]] = ()

    @property
    def label(self) -> str:
        """The family in a few words, for a table or a message."""
        return f"circuit, {self.known.drive} drive"

    def coil(self, parameters: FloatArray) -> tuple[float, float]:
        """Return L in H and R0 in ohm of (f0, Q, A); R0 is negative where Q asks it."""
        omega0 = 2.0 * math.pi * float(parameters[0])
        at = self.known.admittance(np.array([omega0]))[0]
        if at.imag <= 0.0:
            raise InputError("there is no capacitance across the coil to resonate with")
        inductance = 1.0 / (omega0 * float(at.imag))
        reactance = omega0 * inductance
        resistance = reactance * (
            1.0 / float(parameters[1]) - float(at.real) * reactance
        )
        if self.known.drive == "series":
            resistance -= self.known.source_resistance_ohm
        return inductance, resistance

    def _transfer(self, omega: FloatArray, parameters: FloatArray) -> ComplexArray:
        """Return detector over generator voltage."""
        inductance, resistance = self.coil(parameters)
        relative = omega / (2.0 * math.pi * parameters[0])
        branch = (
            resistance * relative**self.known.loss_exponent + 1j * omega * inductance
        )
        fixture = self.known.admittance(omega)
        share = self.known.detector_path(omega)[1]
        if self.known.drive == "series":
            branch = branch + self.known.source_resistance_ohm
            gain = 1.0 / (1.0 + branch * fixture)
        else:
            source = self.known.source_admittance(omega)
            gain = source / (fixture + 1.0 / branch)
        result: ComplexArray = share * gain
        return result

    def amplitude(self, frequency_hz: FloatArray, parameters: FloatArray) -> FloatArray:
        """Return the amplitude in V at `frequency_hz` in Hz, any shape."""
        omega = 2.0 * math.pi * frequency_hz
        at_peak = np.array([2.0 * math.pi * parameters[0]])
        height = float(np.abs(self._transfer(at_peak, parameters)[0]))
        result: FloatArray = np.abs(self._transfer(omega, parameters)) * (
            parameters[2] / height
        )
        return result

    def amplitude_and_slopes(
        self, frequency_hz: FloatArray, parameters: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return the amplitudes, shape (N,), and their slopes per step, (3, N)."""
        v = self.amplitude(frequency_hz, parameters)
        slopes = np.empty((3, v.size))
        for i in (0, 1):
            step = np.zeros(3)
            step[i] = SLOPE_STEP
            up = self.amplitude(frequency_hz, self.step(parameters, step))
            down = self.amplitude(frequency_hz, self.step(parameters, -step))
            slopes[i] = (up - down) / (2.0 * SLOPE_STEP)
        slopes[2] = v
        return v, slopes


def coil_in_circuit(result: ResonanceFit) -> CoilInCircuit:
    """Return the coil that a fit of a :class:`Circuit` found.

    Raises
    ------
    InputError
        The fit was of another family, or the known elements alone load the resonance
        more than it is loaded: they cannot be what was stated.

    Notes
    -----
    The uncertainties are the readings' only; what the known elements are uncertain by
    comes on top.
    """
    response = result.response
    if not isinstance(response, Circuit):
        raise InputError(f"the fit is of a {response.label}, not of a circuit")
    at = result.parameters
    inductance, resistance = response.coil(at)
    if resistance <= 0.0:
        raise InputError(
            f"the known elements alone load the resonance to less than Q = "
            f"{result.loaded_q:.4g}: the coil would have {resistance:.3g} ohm"
        )
    values = np.array([inductance, resistance, _unloaded_q(response, at)])
    u_step = np.sqrt(np.diagonal(result.covariance))
    slopes = np.empty((3, 2))
    for i in (0, 1):
        step = np.zeros(3)
        step[i] = 1e-3 * u_step[i]
        up, down = at + step, at - step
        slopes[:, i] = [
            (a - b) / (2.0 * step[i])
            for a, b in zip(
                (*response.coil(up), _unloaded_q(response, up)),
                (*response.coil(down), _unloaded_q(response, down)),
                strict=True,
            )
        ]
    u = np.sqrt(np.diagonal(slopes @ result.covariance[:2, :2] @ slopes.T))
    return CoilInCircuit(
        inductance_h=float(values[0]),
        u_inductance_h=float(u[0]),
        series_resistance_ohm=float(values[1]),
        u_series_resistance_ohm=float(u[1]),
        unloaded_q=float(values[2]),
        u_unloaded_q=float(u[2]),
    )


def _unloaded_q(response: Circuit, parameters: FloatArray) -> float:
    """Return w0 L/R0."""
    inductance, resistance = response.coil(parameters)
    return 2.0 * math.pi * float(parameters[0]) * inductance / resistance
