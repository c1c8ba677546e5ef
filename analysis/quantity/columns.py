"""A column of readings or values, checked once."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError

__all__ = ["FloatArray", "Readings", "checked_column"]

FloatArray = NDArray[np.float64]
Readings = FloatArray | Sequence[float]

LARGEST = 1e50  # beyond any reading, and squares of it stay finite


def checked_column(values: Readings, *, name: str, positive: bool = True) -> FloatArray:
    """Return a column of readings as a read-only float array, or refuse it.

    Parameters
    ----------
    values
        The readings, shape (N,).
    name
        What they are, with the unit, for the sentence of a refusal.
    positive
        Whether zero is refused too; negative values always are.

    Raises
    ------
    InputError
        Not one row of numbers, or a reading that is not finite, or is negative.
    """
    try:
        column = np.array(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"{name} is not a row of numbers: {error}") from error
    if column.ndim != 1:
        raise InputError(
            f"{name} must be one row of readings, not of shape {column.shape}"
        )
    bad = ~(column < LARGEST) | (column <= 0.0 if positive else column < 0.0)
    if bad.any():
        index = int(np.argmax(bad))
        need = "above zero" if positive else "zero or above"
        raise InputError(
            f"{name} of reading {index + 1} of {column.size} is {column[index]:g}; "
            f"it must be finite and {need}",
            index=index,
        )
    column.flags.writeable = False
    return column
