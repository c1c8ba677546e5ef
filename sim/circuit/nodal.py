"""The circuit by modified nodal analysis, vectorised over (complex) frequency.

A circuit is a list of branches between named nodes; a branch is one series
connection of a resistance, an inductance and a capacitance, each with its loss.
Branches without a capacitance that are nearly shorts at low frequency (leads,
coils) carry their current as an unknown, all others are stamped as admittances:
ten nanohenries of lead beside ten megohms of probe would otherwise cost eight of
the sixteen digits.

Everything is written in s, so that the same matrix gives the response on the axis
s = 2 pi j f and the natural modes, where its determinant vanishes. A quantity
that rises as f^n is (s / 2 pi j f_ref)^n: real on the axis, analytic beside it.

References
----------
C.-W. Ho, A. E. Ruehli, P. A. Brennan, "The modified nodal approach to network
analysis", IEEE Trans. Circuits Syst. 22 (1975) 504, for the matrix.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["GROUND", "Branch", "Circuit", "ComplexArray", "FloatArray"]

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]
GROUND = "ground"
TWO_PI_J = 2j * math.pi


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """One series R-L-C connection between two nodes.

    Attributes
    ----------
    name
        Unique in the circuit, dotted: ``coil.winding``.
    nodes
        The two nodes; ``ground`` is the reference.
    resistance_ohm
        Constant series resistance, >= 0.
    rise_ohm, rise_exponent
        Further series resistance at `reference_hz`, rising as f^exponent.
    inductance_h, magnetic_loss_tangent
        Series inductance; its loss is omega L tan(delta), also in series.
    capacitance_f
        Series capacitance; infinite where the branch has none.
    dissipation_factor, dissipation_exponent
        D of that capacitance at `reference_hz` and its power of frequency.
    inductance_per_kelvin, capacitance_per_kelvin
        Relative change of the two values with temperature.
    inductance_per_second, capacitance_per_second
        Relative change with time (ageing, warming): the scene's drift.
    """

    name: str
    nodes: tuple[str, str]
    resistance_ohm: float = 0.0
    rise_ohm: float = 0.0
    rise_exponent: float = 0.5
    inductance_h: float = 0.0
    magnetic_loss_tangent: float = 0.0
    capacitance_f: float = math.inf
    dissipation_factor: float = 0.0
    dissipation_exponent: float = 0.0
    reference_hz: float = 1e6
    inductance_per_kelvin: float = 0.0
    capacitance_per_kelvin: float = 0.0
    inductance_per_second: float = 0.0
    capacitance_per_second: float = 0.0
    saturation_current_a: float = field(default=math.inf)

    def __post_init__(self) -> None:
        losses = (
            self.resistance_ohm,
            self.rise_ohm,
            self.inductance_h,
            self.magnetic_loss_tangent,
            self.dissipation_factor,
        )
        if not all(0.0 <= value < math.inf for value in losses):
            raise ValueError(f"branch {self.name} has a negative or infinite value")
        if not self.capacitance_f > 0.0 or not self.reference_hz > 0.0:
            raise ValueError(f"branch {self.name} needs a positive capacitance")

    @property
    def drifts(self) -> bool:
        """Tell whether the branch changes with temperature or time."""
        return bool(
            self.inductance_per_kelvin
            or self.capacitance_per_kelvin
            or self.inductance_per_second
            or self.capacitance_per_second
        )

    @property
    def loss_slopes(self) -> bool:
        """Tell whether the dissipation factor depends on frequency."""
        has_loss = self.dissipation_factor > 0.0 and math.isfinite(self.capacitance_f)
        return has_loss and self.dissipation_exponent != 0.0

    @property
    def carries_current_unknown(self) -> bool:
        """Tell whether the branch is stamped as an impedance."""
        return math.isinf(self.capacitance_f) and (
            self.inductance_h > 0.0 or self.resistance_ohm == 0.0
        )


def _column(branches: Sequence[Branch], name: str) -> ComplexArray:
    return np.array([getattr(b, name) for b in branches], dtype=np.complex128)


def _span(chosen: list[bool]) -> slice:
    """Give the slice of the chosen ones, which stand together."""
    start = chosen.index(True) if any(chosen) else 0
    return slice(start, start + sum(chosen))


class Circuit:
    """Branches between nodes, driven by an e.m.f. behind a resistance.

    Parameters
    ----------
    branches
        All branches but the source's own resistance.
    source_node, source_resistance_ohm
        Where the e.m.f. comes in, and through what (> 0).
    detector_node
        The node whose voltage against ground is the response.

    Raises
    ------
    ValueError
        Two branches of one name, a source without resistance, or a source or
        detector node that no branch touches.
    """

    def __init__(
        self,
        branches: Sequence[Branch],
        *,
        source_node: str,
        source_resistance_ohm: float,
        detector_node: str,
    ) -> None:
        if not source_resistance_ohm > 0.0:
            raise ValueError("the source needs a positive resistance")
        source = Branch(
            name="source",
            nodes=(source_node, GROUND),
            resistance_ohm=source_resistance_ohm,
        )
        self._order([source, *branches])
        names = [branch.name for branch in self.branches]
        if len(set(names)) != len(names):
            raise ValueError("two branches of the circuit have the same name")
        touched = {node for branch in self.branches for node in branch.nodes}
        self.nodes = tuple(sorted(touched - {GROUND}))
        if detector_node not in self.nodes:
            raise ValueError(f"no branch touches the detector's node {detector_node}")
        self.source_node, self.detector_node = source_node, detector_node
        self._detector = self.nodes.index(detector_node)
        self._read_values()
        self._stamp()
        self._excitation[self.nodes.index(source_node)] = 1.0 / source_resistance_ohm

    def _order(self, branches: list[Branch]) -> None:
        """Sort the branches so that every power of s is one slice of the arrays."""

        def rank(branch: Branch) -> tuple[bool, int]:
            rises, slopes = branch.rise_ohm > 0.0, branch.loss_slopes
            if branch.carries_current_unknown:
                return False, int(rises)  # plain, rising
            # rising, rising and sloping, sloping, plain
            return True, int(slopes) if rises else (2 if slopes else 3)

        self.branches = tuple(sorted(branches, key=rank))
        ranks = [rank(b) for b in self.branches]
        self._admittances = slice(sum(not r[0] for r in ranks), None)
        self._rising = _span([b.rise_ohm > 0.0 for b in self.branches])
        self._sloping = _span([b.loss_slopes for b in self.branches])

    def _read_values(self) -> None:
        """Turn the branches' values into arrays, losses normalised to 1 Hz."""
        b = self.branches
        # Z = [1, s, 1/s] . (R, L, 1/C): one product for what needs no power of s
        self._laurent = np.zeros((3, len(b)), np.complex128)
        self._laurent[0] = _column(b, "resistance_ohm")
        loss = _column(b, "magnetic_loss_tangent")
        self._laurent[1] = _column(b, "inductance_h") * (1.0 - 1j * loss)
        elastance = 1.0 / np.array([x.capacitance_f for x in b], np.complex128)
        loss = 1j * _column(b, "dissipation_factor")
        self._laurent[2] = elastance / (1.0 - loss)
        rising, sloping = b[self._rising], b[self._sloping]
        self._rise_exponent = _column(rising, "rise_exponent")
        self._rise = _column(rising, "rise_ohm")
        self._rise /= _column(rising, "reference_hz") ** self._rise_exponent
        # a loss that depends on frequency is written as a correction of the flat one
        self._slope = _column(sloping, "dissipation_exponent")
        self._slope_loss = loss[self._sloping]
        self._slope_hz = _column(sloping, "reference_hz")
        self.drifts = any(x.drifts for x in b)

    def _stamp(self) -> None:
        """Write the incidence of every branch into the matrix's pattern."""
        n_nodes = len(self.nodes)
        n_currents = self._admittances.start
        self.size = size = n_nodes + n_currents
        pattern = np.zeros((len(self.branches), size, size), np.complex128)
        constant = np.zeros((size, size), np.complex128)
        for i, branch in enumerate(self.branches):
            ends = [
                (self.nodes.index(node), sign)
                for node, sign in zip(branch.nodes, (1.0, -1.0), strict=True)
                if node != GROUND
            ]
            if i < n_currents:
                row = n_nodes + i
                pattern[i, row, row] = -1.0
                for node, sign in ends:
                    constant[node, row] += sign
                    constant[row, node] += sign
            else:
                for node, sign in ends:
                    for other, other_sign in ends:
                        pattern[i, node, other] += sign * other_sign
        self._pattern = pattern.reshape(len(self.branches), size * size)
        self._constant = constant.reshape(size * size)
        self._excitation = np.zeros(size, np.complex128)

    def impedance(self, s: ComplexArray, scale: "Scale | None" = None) -> ComplexArray:
        """Work out every branch's impedance.

        Parameters
        ----------
        s
            Complex frequencies in rad/s, shape (F,); s = 2 pi j f on the axis.
        scale
            Factors on the inductances and capacitances (drift); None for 1.

        Returns
        -------
        ndarray
            Shape (F, B), ohms, in the order of `branches`.
        """
        laurent = self._laurent
        if scale is not None:
            laurent = laurent.copy()
            laurent[1] *= scale.inductance
            laurent[2] /= scale.capacitance
        basis = np.empty((len(s), 3), np.complex128)
        basis[:, 0], basis[:, 1] = 1.0, s
        np.reciprocal(s, out=basis[:, 2])
        z: ComplexArray = basis @ laurent
        if self._slope.size:
            flat = 1.0 - self._slope_loss
            hertz = s[:, None] / (TWO_PI_J * self._slope_hz)
            ratio = flat / (1.0 - self._slope_loss * hertz**self._slope) - 1.0
            z[:, self._sloping] += basis[:, 2:] * laurent[2, self._sloping] * ratio
        if self._rise.size:
            hertz = s[:, None] / TWO_PI_J
            z[:, self._rising] += self._rise * hertz**self._rise_exponent
        return z

    def matrix(self, s: ComplexArray, scale: "Scale | None" = None) -> ComplexArray:
        """Build the nodal matrix, shape (F, size, size)."""
        weight = self.impedance(s, scale)
        admittances = weight[:, self._admittances]
        np.reciprocal(admittances, out=admittances)
        flat = weight @ self._pattern
        flat += self._constant
        return flat.reshape(len(s), self.size, self.size)

    def solve(self, s: ComplexArray, scale: "Scale | None" = None) -> ComplexArray:
        """Solve for node voltages, then branch currents, with an e.m.f. of 1 V.

        Returns
        -------
        ndarray
            Shape (F, size); the first columns are `nodes` in order, in volts.
        """
        return self._solution(s, scale)[:, :, 0]

    def _solution(self, s: ComplexArray, scale: "Scale | None") -> ComplexArray:
        right = self._excitation.reshape(1, self.size, 1)
        answer: ComplexArray = np.linalg.solve(self.matrix(s, scale), right)  # type: ignore[assignment] # complex128 in, complex128 out
        return answer

    def response(self, s: ComplexArray, scale: "Scale | None" = None) -> ComplexArray:
        """Give the detector's voltage per volt of e.m.f. at complex s, shape (F,)."""
        return self._solution(s, scale)[:, self._detector, 0]

    def transfer(self, frequency_hz: FloatArray) -> ComplexArray:
        """Give the detector's voltage per volt of e.m.f. at real frequencies, (F,)."""
        s = TWO_PI_J * np.asarray(frequency_hz, np.float64)
        return self.response(s.astype(np.complex128))

    def branch_voltage(self, solution: ComplexArray) -> ComplexArray:
        """Give the voltage across every branch from `solve`'s answer, shape (F, B)."""
        index = {node: k for k, node in enumerate(self.nodes)}
        zero = np.zeros(len(solution), np.complex128)
        ends = [
            [zero if node == GROUND else solution[:, index[node]] for node in b.nodes]
            for b in self.branches
        ]
        return np.stack([a - b for a, b in ends], axis=1)

    @property
    def excitation(self) -> ComplexArray:
        """The matrix equation's right side for 1 V of e.m.f., shape (size,)."""
        return self._excitation

    @property
    def detector_index(self) -> int:
        """Which unknown is the response."""
        return self._detector


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scale:
    """Factors by which the branches' values have moved, shape (B,) each."""

    inductance: FloatArray
    capacitance: FloatArray
