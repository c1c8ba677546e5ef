"""A prediction: what a part should be, from what is stated of it, and how surely.

What the model itself is worth enters as an input too, by its own name in the budget.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from ..errors import InputError
from ..quantity import Caution, Quantity, Stated
from ..uncertainty import Deduction, Number, Record, first_order, with_intervals_along

__all__ = ["Prediction", "predicted", "refuse_wide"]

WIDEST = 1.0 / 3.0  # relative: a dimension known worse than that predicts nothing
# A step of a whole u to either side: elliptic functions and tables have no derivative
# at hand, and what a result bends over a dimension's doubt, which may be a third of it,
# belongs to its own (JCGM 100:2008, 5.1.3, note 2).
SHARE = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What is expected of a part that nobody has measured yet.

    Attributes
    ----------
    kind
        ``coil``, ``toroid``, ``plates`` or ``resonance``.
    title
        What is predicted, in words.
    inputs
        What was stated, by name, as text.
    quantities
        What follows, in SI, with standard uncertainties, 95 % intervals and budgets.
    remarks
        What belongs beside the numbers, a sentence each.
    warnings
        What must be known before they are believed.
    """

    kind: str
    title: str
    inputs: tuple[tuple[str, str], ...]
    quantities: tuple[Quantity, ...]
    remarks: tuple[str, ...] = ()
    warnings: tuple[Caution, ...] = ()

    def __getitem__(self, name: str) -> Quantity:
        """Return a quantity by its name; `KeyError` where there is none."""
        for quantity in self.quantities:
            if quantity.name == name:
                return quantity
        raise KeyError(name)


def refuse_wide(stated: Mapping[str, Stated], *, whose: str) -> None:
    """Refuse inputs whose doubt leaves nothing to lean on.

    Raises
    ------
    InputError
        A standard uncertainty is a third of its value or more.
    """
    for name, one in stated.items():
        if one.u >= WIDEST * abs(one.value):
            raise InputError(
                f"the {whose} {name} is stated so widely that no prediction can lean "
                "on it; state it to better than a third",
                name=name,
            )


def predicted(
    deduction: Deduction[Record], record: Record, *, units: Mapping[str, str]
) -> tuple[Quantity, ...]:
    """Deduce from stated inputs, with uncertainties, 95 % intervals and budgets.

    Parameters
    ----------
    deduction
        Takes the record with numbers in its fields and gives results by name, SI,
        above zero over the whole of the inputs' ranges.
    record
        What is stated, and what the model is worth.
    units
        The results wanted, in order, with their units; a result that the deduction
        leaves out is left out.

    Returns
    -------
    tuple of Quantity
        In the order of ``units``; without an interval where nothing is in doubt.

    Raises
    ------
    InputError
        The doubt of the inputs leaves a result without a finite value above zero.
    """

    def wanted(at: Record) -> dict[str, Number]:
        found = deduction(at)
        return {name: _above_zero(found[name], name) for name in units if name in found}

    quantities = first_order(wanted, record, share=SHARE).quantities(units)
    return with_intervals_along(quantities, wanted, record)


def _above_zero(value: Number, name: str) -> Number:
    if not (math.isfinite(value) and value > 0.0):
        raise InputError(
            f"the doubt of what was stated leaves {name.replace('_', ' ')} without "
            "a finite value above zero; state it more closely",
            name=name,
        )
    return value
