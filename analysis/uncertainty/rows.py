"""Quantities of many parts at once, with first-order standard uncertainties."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..quantity import FloatArray
from .record import Inputs, Record
from .sensitivity import Deduction, moved_about

__all__ = ["BoolArray", "DeducedRows", "propagate_rows"]

BoolArray = NDArray[np.bool_]

AT_ONCE = 1000  # parts: a few dozen arrays of them stay in the cache


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


def propagate_rows(deduction: Deduction[Record], record: Record) -> DeducedRows:
    """Deduce quantities of many parts, with first-order standard uncertainties.

    Parameters
    ----------
    deduction
        As `halfpower.analysis.uncertainty.propagate` takes it for a single part.
    record
        What is stated of all parts, and what was measured of each.

    Raises
    ------
    InputError
        Nothing measured, or of different numbers of parts.

    Notes
    -----
    It gives no budgets and no coverage intervals, which take the room and the time of
    a hundred thousand draws.
    """
    inputs = Inputs(record)
    counts = {len(joint.values) for joint in inputs.joints}
    if len(counts) != 1:
        raise InputError("rework needs measured pairs, of as many parts each")
    count = counts.pop()
    names: tuple[str, ...] = ()
    values, u = [], []
    for i in range(0, max(count, 1), AT_ONCE):
        found, effects = moved_about(deduction, inputs, some=slice(i, i + AT_ONCE))
        names = tuple(found)
        values.append(np.stack(list(found.values()), axis=1))
        variance = np.zeros(values[-1].T.shape)
        for _, effect in effects:
            variance += effect**2
        u.append(np.sqrt(variance).T)
    return DeducedRows(
        names=names,
        values=np.concatenate(values),
        u=np.concatenate(u),
        refused=np.zeros(count, dtype=np.bool_),
    )
