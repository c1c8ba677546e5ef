"""First-order uncertainty (JCGM 100:2008, 5.1 and 5.2) of many parts at once.

Arrays pass through a deduction, a number for each part; a single part is a row. Each
input's sensitivity is needed: the input is moved along the imaginary axis by a small
step and the result's imaginary part is read, which is the derivative to the last digit,
with nothing subtracted (W. Squire, G. Trapp 1998, SIAM Review 40, 110). What was
measured together is moved together, along the columns of a root of its covariance,
which are independent of one another. An input that all parts share is moved once for
all.

So a deduction is made of + - * /, powers and numpy's elementary functions (sin, cos,
exp, log, sqrt). abs, max, min, comparisons and whatever looks at a number's size or
sign are not analytic: their derivative would come out as zero, or wrong, and nothing
would tell. They have no place in it, nor has `math`; where a deduction needs them
(tables, integrals, roots found by steps) a central difference is asked for.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..quantity import Contribution, FloatArray, Quantity
from .record import Inputs, Leaf, Number, Record

__all__ = ["Deduction", "FirstOrder", "first_order", "moved_about"]

Deduction = Callable[[Record], Mapping[str, Number]]

STEP = 1e-9  # of an uncertainty: its square is lost beside 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FirstOrder:
    """Results of M parts, with what each independent input does to them.

    Attributes
    ----------
    names
        Q names, in the deduction's order.
    values
        SI, shape (M, Q).
    sources
        S names of inputs, as a budget shows them; one of several that were measured
        together has as many entries.
    effects
        How far a standard uncertainty of each moves each result, shape (S, M, Q).
    """

    names: tuple[str, ...]
    values: FloatArray
    sources: tuple[str, ...]
    effects: FloatArray

    @property
    def u(self) -> FloatArray:
        """Standard uncertainties, shape (M, Q)."""
        squares: FloatArray = np.einsum("smq,smq->mq", self.effects, self.effects)
        return np.sqrt(squares)

    @property
    def covariance(self) -> FloatArray:
        """Of the results among themselves, shape (M, Q, Q)."""
        found: FloatArray = np.einsum("smp,smq->mpq", self.effects, self.effects)
        return found

    @property
    def contributions(self) -> dict[str, FloatArray]:
        """What each source brings to the uncertainties, shape (M, Q) each."""
        squares: dict[str, FloatArray] = {}
        for source, effect in zip(self.sources, self.effects, strict=True):
            squares[source] = squares.get(source, 0.0) + effect**2
        return {source: np.sqrt(one) for source, one in squares.items()}

    def quantities(self, units: Mapping[str, str]) -> tuple[Quantity, ...]:
        """Give a single part's results with their budgets, the largest first.

        Parameters
        ----------
        units
            By name; a step's name after a comma is left out there.
        """
        parts, u = self.contributions, self.u
        return tuple(
            Quantity(
                name=name,
                value=float(self.values[0, q]),
                unit=units[name.partition(", ")[0]],
                standard_uncertainty=float(u[0, q]),
                budget=tuple(
                    sorted(
                        (
                            Contribution(source=source, u=float(part[0, q]))
                            for source, part in parts.items()
                            if part[0, q] > 0.0
                        ),
                        key=lambda part: -part.u,
                    )
                ),
            )
            for q, name in enumerate(self.names)
        )


def first_order(
    deduction: Deduction[Record], record: Record, *, share: float | None = None
) -> FirstOrder:
    """Deduce, with first-order uncertainties and all of their covariance.

    Parameters
    ----------
    deduction
        Takes the record with numbers in its fields and gives results by name.
    record
        What is known; what was measured together has as many parts everywhere.
    share
        None: sensitivities by the complex step, for a deduction as the module's head
        describes it. A number: by a central difference, each input being moved by this
        share of its standard uncertainty to either side; 1 (JCGM 100, 5.1.3, note 2)
        takes in what a result bends over its doubt.

    Raises
    ------
    InputError
        Parts of different numbers.
    """
    inputs = Inputs(record)
    values, effects = moved_about(deduction, inputs, some=slice(None), share=share)
    results = np.stack(list(values.values()), axis=1)
    moved = list(effects)
    return FirstOrder(
        names=tuple(values),
        values=results,
        sources=tuple(source for source, _ in moved),
        effects=np.array([effect.T for _, effect in moved]).reshape(-1, *results.shape),
    )


def moved_about(
    deduction: Deduction[Record],
    inputs: Inputs[Record],
    *,
    some: slice,
    share: float | None = None,
) -> tuple[dict[str, FloatArray], Iterator[tuple[str, FloatArray]]]:
    """Deduce some of the parts, and give what each independent input does to them.

    Parameters
    ----------
    deduction, share
        As `first_order` takes them.
    inputs
        The working copy of what is known.
    some
        Which m of the parts.

    Returns
    -------
    values, effects
        Results by name, shape (m,) each; and by turns each input's source with how
        far a standard uncertainty of it moves each of the Q results, shape (Q, m).
    """
    moves = list(_moves(inputs, some))
    m = _count(inputs, some)
    with np.errstate(all="ignore"):  # a part that yields no number shows as NaN
        found = deduction(inputs.record)
    values = {
        name: np.array(np.broadcast_to(one, m), dtype=float)
        for name, one in found.items()
    }
    effects = (
        (move.source, move.effect(deduction, inputs.record, (len(values), m), share))
        for move in moves
    )
    return values, effects


@dataclass(frozen=True, slots=True, eq=False)
class _Move:
    """A move of one input, or of several together: each one's place, value, and u."""

    source: str
    along: tuple[tuple[Leaf, Number, Number], ...]

    def by(self, factor: complex) -> None:
        for leaf, value, u in self.along:
            leaf.put(value + factor * u if factor else value)

    def effect(
        self,
        deduction: Deduction[Record],
        record: Record,
        shape: tuple[int, int],
        share: float | None,
    ) -> FloatArray:
        """Give how far it takes each result, shape (Q, m)."""
        found = np.empty(shape)
        with np.errstate(all="ignore"):
            if share is None:
                self.by(1j * STEP)
                for row, one in zip(found, deduction(record).values(), strict=True):
                    row[:] = np.imag(one)
                found /= STEP
            else:
                self.by(share)
                up = deduction(record)
                self.by(-share)
                down = deduction(record)
                for row, name in zip(found, up, strict=True):
                    row[:] = (up[name] - down[name]) / (2.0 * share)
        self.by(0.0)
        return found


def _moves(inputs: Inputs[Record], some: slice) -> Iterator[_Move]:
    """Put the values into their places, and give the moves about them."""
    for joint in inputs.joints:
        part, members = joint.select(some), list(inputs.members(joint))
        with np.errstate(invalid="ignore"):
            root = part.widened_root
        columns, steps = part.values.T, root.transpose(1, 2, 0)
        if len(part.values) == 1:  # numbers are quicker than arrays of one
            columns, steps = columns[:, 0], steps[:, :, 0]
        for leaf, i in members:
            leaf.put(columns[i])
        for k in range(len(columns)):
            yield _Move(
                joint.source,
                tuple((leaf, columns[i], steps[i, k]) for leaf, i in members if i >= k),
            )
    for leaf, stated in inputs.stated():
        leaf.put(stated.value)
        if stated.u:
            yield _Move(leaf.source, ((leaf, stated.value, stated.u),))


def _count(inputs: Inputs[Record], some: slice) -> int:
    counts = {len(joint.values[some]) for joint in inputs.joints}
    if len(counts) > 1:
        raise InputError("what was measured must be of as many parts everywhere")
    return counts.pop() if counts else 1
