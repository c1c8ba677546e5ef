"""Propagate what is known of a part's inputs to what is deduced from them.

One deduction, written once, is run on numbers moved a little, which gives the standard
uncertainty and its budget (JCGM 100:2008), and on drawn values (JCGM 101:2008), which
gives the 95 % coverage interval: a rectangular input narrows it, a division skews it.
"""

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ..errors import AnalysisError
from ..quantity import Quantity
from .monte_carlo import drawn_results
from .record import Number, Record
from .sensitivity import Deduction, first_order

__all__ = ["propagate"]


def propagate(
    deduction: Deduction[Record], record: Record, *, units: Mapping[str, str]
) -> tuple[Quantity, ...]:
    """Deduce, with standard uncertainties, budgets and coverage intervals.

    Parameters
    ----------
    deduction
        Takes the record with numbers in its fields and gives results by name; see
        `halfpower.analysis.uncertainty.sensitivity` for what it may be made of.
    record
        What is known of a single part.
    units
        Of the results, by name; a step's name after a comma is left out there.

    Returns
    -------
    tuple of Quantity
        In the deduction's order, each with its 95 % interval, probabilistically
        symmetric (JCGM 101, 5.3.3).

    Raises
    ------
    AnalysisError
        The inputs' doubt is so large that a result is not finite.
    """
    found = first_order(deduction, record).quantities(units)
    drawn = drawn_results(deduction, record)
    return tuple(_with_interval(one, drawn[one.name]) for one in found)


def _with_interval(one: Quantity, drawn: Number) -> Quantity:
    low, high = (float(limit) for limit in np.quantile(drawn, (0.025, 0.975)))
    if not all(map(math.isfinite, (one.value, one.standard_uncertainty, low, high))):
        raise AnalysisError(
            f"the doubt of the inputs leaves {one.name} without a finite value; "
            "state the fixture and the part more closely",
            name=one.name,
        )
    return replace(one, interval=(low, high))
