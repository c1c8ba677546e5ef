"""What a deduction is given: a typed record, whose fields are known with a doubt.

A record is a frozen dataclass, generic in its numbers. As it is known it holds a
`Stated` in each field, or a `Member` of what was measured together; a deduction gets
the same dataclass with numbers in their places, so that mypy knows its fields:

    @dataclass(frozen=True, slots=True, kw_only=True)
    class Divider(Generic[N]):
        upper_ohm: N = field(metadata=named("upper resistor"))
        lower_ohm: N = field(metadata=named("lower resistor"))

    def deduction(at: Divider[Number]) -> dict[str, Number]:
        return {"ratio": at.lower_ohm / (at.upper_ohm + at.lower_ohm)}

Records nest, in tuples too. What several steps share stands once, so that it is one
input. Numbers and whatever else a record holds are left as they are.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Generic, TypeAlias

import numpy as np
from typing_extensions import TypeVar

from ..errors import InputError
from ..quantity import FloatArray, Stated

__all__ = ["Inputs", "Joint", "Known", "Member", "N", "Number", "Record", "named"]
__all__ += ["stated_in", "values_of"]

PHRASE = "phrase"
LARGEST_T_VARIANCE_DOF = 3  # below it Student's t has no variance to speak of
INDEFINITE = -1e-6  # of a correlation matrix's least eigenvalue: no rounding's work

# A number, an array of them, one for a part or a draw, or one moved along the imaginary
# axis: a deduction cannot tell.
Number: TypeAlias = Any
N = TypeVar("N", covariant=True, default=Stated)  # noqa: PLC0105 - read everywhere
Record = TypeVar("Record")


def named(phrase: str) -> dict[str, str]:
    """Give a field's metadata: the words by which a budget names it.

    Parameters
    ----------
    phrase
        ``{0.name}`` in it stands for the record's own field ``name``, where records of
        one kind are told apart.
    """
    return {PHRASE: phrase}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Joint:
    """Quantities that were measured together, of M parts: a single part is a row.

    Attributes
    ----------
    values, covariance
        Shapes (M, n) and (M, n, n), in SI units and their products. A variance may be
        zero, and a covariance singular.
    degrees_of_freedom
        Of the noise behind the covariances, shape (M,); ``inf`` where it was known.
    source
        What a budget calls their contribution.
    """

    values: FloatArray
    covariance: FloatArray
    degrees_of_freedom: FloatArray
    source: str = "readings and fit"

    def __post_init__(self) -> None:
        """Refuse shapes that do not match."""
        shapes = (
            self.values.shape,
            self.covariance.shape,
            self.degrees_of_freedom.shape,
        )
        m, n = self.values.shape if self.values.ndim == 2 else (0, 0)  # noqa: PLR2004
        if shapes != ((m, n), (m, n, n), (m,)):
            raise InputError(
                f"values, covariance and degrees of freedom have the shapes {shapes}; "
                "they are (M, n), (M, n, n) and (M,)"
            )

    @classmethod
    def of_one(
        cls,
        values: Sequence[float],
        *,
        covariance: FloatArray,
        degrees_of_freedom: float = math.inf,
        source: str = "readings and fit",
    ) -> "Joint":
        """Take what was measured of a single part: shapes (n,) and (n, n).

        Raises
        ------
        InputError
            Shapes that do not match, or a matrix that is no covariance.
        """
        one = cls(
            values=np.array([values], dtype=float),
            covariance=np.array([covariance], dtype=float),
            degrees_of_freedom=np.array([degrees_of_freedom], dtype=float),
            source=source,
        )
        _refuse_indefinite(one.covariance[0])
        return one

    @property
    def members(self) -> "tuple[Member, ...]":
        """The n quantities, to stand in a record's fields."""
        return tuple(Member(self, index) for index in range(self.values.shape[1]))

    def select(self, some: slice) -> "Joint":
        """Return those of some parts."""
        return Joint(
            values=self.values[some],
            covariance=self.covariance[some],
            degrees_of_freedom=self.degrees_of_freedom[some],
            source=self.source,
        )

    @property
    def widened_root(self) -> FloatArray:
        """A root of the covariance of a t distribution, shape (M, n, n).

        JCGM 101:2008, 6.4.9.5: with few degrees of freedom the t distribution's
        standard deviation is what u means; below 3 it does not exist and the plain one
        stands.
        """
        dof = self.degrees_of_freedom
        few = (dof >= LARGEST_T_VARIANCE_DOF) & np.isfinite(dof)
        safe = np.where(few, dof, 4.0)
        wider = np.where(few, safe / (safe - 2.0), 1.0)
        return _root(self.covariance * wider[:, np.newaxis, np.newaxis])

    def draw(self, rng: np.random.Generator, *, size: int) -> FloatArray:
        """Draw the first part's n values, shape (n, size): a t distribution.

        JCGM 101, 6.4.9.5 for one quantity; for several the multivariate form of
        JCGM 102:2011, 5.3.2.2, with the same chi-squared for all.
        """
        root, dof = _root(self.covariance)[0], float(self.degrees_of_freedom[0])
        drawn: FloatArray = root @ rng.standard_normal((len(root), size))
        if math.isfinite(dof):
            drawn *= np.sqrt(dof / rng.chisquare(dof, size))
        drawn += self.values[0][:, np.newaxis]
        return drawn


@dataclass(frozen=True, slots=True, eq=False)
class Member:
    """One of the quantities that were measured together."""

    joint: Joint
    index: int

    @property
    def column(self) -> FloatArray:
        """Its values, shape (M,)."""
        return self.joint.values[:, self.index]


# What may stand in a record's field; a plain number is taken as exact.
Known: TypeAlias = Stated | Member | float


def _refuse_indefinite(covariance: FloatArray) -> None:
    variances = np.diagonal(covariance)
    if np.isfinite(covariance).all() and (variances >= 0.0).all():
        u = np.sqrt(np.where(variances > 0.0, variances, 1.0))
        if np.linalg.eigvalsh(covariance / np.outer(u, u))[0] >= INDEFINITE:
            return
    raise InputError(
        "no quantities have such a covariance: a variance below zero, or correlations "
        "that contradict one another; see that it is the whole matrix, in the values' "
        "order"
    )


def _root(covariance: FloatArray) -> FloatArray:
    """Give Cholesky's factor, also where a matrix is singular; shape (M, n, n)."""
    u = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    both = u[:, :, np.newaxis] * u[:, np.newaxis, :]
    r = np.divide(covariance, both, out=np.zeros_like(both), where=both > 0.0)
    np.clip(r, -1.0, 1.0, out=r)
    root: FloatArray = np.zeros_like(r)
    for k in range(r.shape[1]):
        left = 1.0 - np.square(root[:, k, :k]).sum(axis=1)
        pivot = np.sqrt(np.maximum(left, 0.0))
        root[:, k, k] = pivot
        rest = r[:, k + 1 :, k] - (
            root[:, k + 1 :, :k] * root[:, k, np.newaxis, :k]
        ).sum(axis=2)
        # Without a pivot nothing is left: the quantity is one of the others.
        np.divide(
            rest,
            pivot[:, np.newaxis],
            out=root[:, k + 1 :, k],
            where=pivot[:, np.newaxis] > 0.0,
        )
    root *= u[:, :, np.newaxis]
    return root


@dataclass(frozen=True, slots=True, eq=False)
class Leaf:
    """A field in doubt, and its place in the working copy of its record."""

    place: object
    name: str
    known: Stated | Member
    source: str

    def put(self, number: Number) -> None:
        """Put a number into its place."""
        object.__setattr__(self.place, self.name, number)


class Inputs(Generic[Record]):
    """A working copy of a record, whose fields in doubt are written over.

    Attributes
    ----------
    record
        The copy; no deduction may keep it.
    leaves
        The fields in doubt, in the record's order.
    joints
        What was measured together, each once, in the record's order.
    """

    def __init__(self, record: Record) -> None:
        self.leaves: list[Leaf] = []
        self.record: Record = self._copied(record)
        known = [leaf.known for leaf in self.leaves]
        self.joints = list(
            dict.fromkeys(one.joint for one in known if isinstance(one, Member))
        )

    def stated(self) -> Iterator[tuple[Leaf, Stated]]:
        """Give the fields that were stated, with what was."""
        for leaf in self.leaves:
            if isinstance(leaf.known, Stated):
                yield leaf, leaf.known

    def members(self, joint: Joint) -> Iterator[tuple[Leaf, int]]:
        """Give the fields that were measured together, with their indices."""
        for leaf in self.leaves:
            if isinstance(leaf.known, Member) and leaf.known.joint is joint:
                yield leaf, leaf.known.index

    def _copied(self, node: Any) -> Any:
        if isinstance(node, tuple):
            return tuple(self._copied(one) for one in node)
        if not is_dataclass(node):
            return node
        twin = object.__new__(type(node))
        for one in fields(node):
            known = getattr(node, one.name)
            if isinstance(known, Stated | Member):
                phrase = one.metadata.get(PHRASE, one.name).format(node)
                self.leaves.append(Leaf(twin, one.name, known, phrase))
            else:
                object.__setattr__(twin, one.name, self._copied(known))
        return twin


def stated_in(record: object) -> dict[str, Stated]:
    """Give what was stated in a record, by the names that a budget shows."""
    return {leaf.source: known for leaf, known in Inputs(record).stated()}


def values_of(record: object) -> Any:
    """Give a record of a single part with plain values in its fields.

    Returns
    -------
    object
        The same dataclass with floats: a ``Tank[float]`` of a ``Tank[Stated]``.
    """
    inputs = Inputs(record)
    for leaf in inputs.leaves:
        known = leaf.known
        leaf.put(
            known.value
            if isinstance(known, Stated)
            else float(known.joint.values[0, known.index])
        )
    return inputs.record
