"""Propagate what is known of the inputs of many parts at once.

A deduction is plain arithmetic, so arrays pass through it, a number for each part. The
first-order uncertainty (JCGM 100:2008, 5.1 and 5.2) needs each input's sensitivity: the
input is moved along the imaginary axis by a small step and the result's imaginary part
is read, which is the derivative to the last digit, with nothing subtracted (W. Squire,
G. Trapp 1998, SIAM Review 40, 110). An input that all parts share, a stray or a
capacitor, is moved once for all of them.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..quantity import FloatArray, Stated
from .propagation import LARGEST_T_VARIANCE_DOF

__all__ = ["BoolArray", "DeducedRows", "MeasuredRows", "propagate_rows"]

BoolArray = NDArray[np.bool_]
Inputs = Mapping[str, Any]
Deduction = Callable[[Inputs], Mapping[str, Any]]

STEP = 1e-9  # of an uncertainty: its square is lost beside 1
AT_ONCE = 1000  # parts: a few dozen arrays of them stay in the cache


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredRows:
    """Fitted pairs of M parts, as a `MeasuredPair` is one's.

    Attributes
    ----------
    names
        Of the two, in the covariance's order.
    values, covariance
        Shapes (M, 2) and (M, 2, 2).
    degrees_of_freedom
        Of the noise behind the covariances, shape (M,).
    """

    names: tuple[str, str]
    values: FloatArray
    covariance: FloatArray
    degrees_of_freedom: FloatArray

    def __post_init__(self) -> None:
        """Refuse shapes that do not match."""
        m = len(self.values)
        shapes = (
            self.values.shape,
            self.covariance.shape,
            self.degrees_of_freedom.shape,
        )
        if shapes != ((m, 2), (m, 2, 2), (m,)):
            raise InputError(f"pairs of {m} parts cannot have the shapes {shapes}")

    def select(self, some: slice) -> "MeasuredRows":
        """Return the pairs of some parts."""
        return MeasuredRows(
            names=self.names,
            values=self.values[some],
            covariance=self.covariance[some],
            degrees_of_freedom=self.degrees_of_freedom[some],
        )

    @property
    def widened(self) -> FloatArray:
        """The covariances of a t distribution (JCGM 101:2008, 6.4.9.5)."""
        dof = self.degrees_of_freedom
        few = (dof >= LARGEST_T_VARIANCE_DOF) & np.isfinite(dof)
        safe = np.where(few, dof, 4.0)
        wider = np.where(few, safe / (safe - 2.0), 1.0)
        result: FloatArray = self.covariance * wider[:, None, None]
        return result


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DeducedRows:
    """Quantities of M parts.

    Attributes
    ----------
    names
        Q names, as in result documents.
    values, u
        SI values and standard uncertainties, shape (M, Q); NaN where a part has none.
    refused
        Parts whose fixture, as stated, leaves nothing for the part, shape (M,).
    """

    names: tuple[str, ...]
    values: FloatArray
    u: FloatArray
    refused: BoolArray

    def column(self, name: str) -> tuple[FloatArray, FloatArray]:
        """Return values and uncertainties of one quantity; `KeyError` where none is."""
        if name not in self.names:
            raise KeyError(name)
        place = self.names.index(name)
        return self.values[:, place], self.u[:, place]


def propagate_rows(
    deduction: Deduction,
    *,
    stated: Mapping[str, Stated],
    measured: Sequence[MeasuredRows],
) -> DeducedRows:
    """Deduce quantities of many parts, with first-order standard uncertainties.

    Parameters
    ----------
    deduction
        Takes the inputs by name and returns the results by name; it uses nothing but
        + - * / and powers.
    stated
        The inputs that all parts share.
    measured
        What was measured of each, one or more pairs, independent of one another.

    Raises
    ------
    InputError
        Nothing measured, or pairs of different numbers of parts.

    Notes
    -----
    The standard uncertainties of `halfpower.analysis.uncertainty.propagate` to 1e-6 of
    themselves (test_rework.py). It gives no coverage interval.
    """
    counts = {len(one.values) for one in measured}
    if len(counts) != 1:
        raise InputError("rework needs measured pairs, of as many parts each")
    count = counts.pop()
    parts = [
        _propagated(deduction, stated, [one.select(some) for one in measured])
        for some in (slice(i, i + AT_ONCE) for i in range(0, max(count, 1), AT_ONCE))
    ]
    names, *_ = parts[0]
    return DeducedRows(
        names=names,
        values=np.concatenate([values for _, values, _ in parts]),
        u=np.concatenate([u for *_, u in parts]),
        refused=np.zeros(count, dtype=np.bool_),
    )


def _propagated(
    deduction: Deduction, stated: Mapping[str, Stated], measured: list[MeasuredRows]
) -> tuple[tuple[str, ...], FloatArray, FloatArray]:
    inputs: dict[str, Any] = {name: one.value for name, one in stated.items()}
    for pair in measured:
        inputs |= zip(pair.names, pair.values.T, strict=True)
    count = len(measured[0].values)

    def moved(name: str, by: Any) -> FloatArray:
        """Return how far one input's move takes each result, shape (M, Q)."""
        found = deduction({**inputs, name: inputs[name] + 1j * (STEP * by)})
        columns = [np.broadcast_to(np.imag(one), count) for one in found.values()]
        return np.stack(columns, axis=1) / STEP

    with np.errstate(all="ignore"):  # a part that yields no number shows as NaN
        plain = deduction(inputs)
        values = np.stack([np.broadcast_to(v, count) for v in plain.values()], axis=1)
        variance = np.zeros(values.shape)
        for name, one in stated.items():
            if one.u:
                variance += moved(name, one.u) ** 2
        for pair in measured:
            c = pair.widened
            u_first, u_second = np.sqrt(c[:, 0, 0]), np.sqrt(c[:, 1, 1])
            a, b = (
                moved(name, u)
                for name, u in zip(pair.names, (u_first, u_second), strict=True)
            )
            both = u_first * u_second
            r = np.divide(c[:, 0, 1], both, out=np.zeros_like(both), where=both > 0.0)
            variance += a * a + 2.0 * r[:, None] * a * b + b * b
        u = np.sqrt(variance)
    return tuple(plain), values, u
