"""Propagate what is known of the inputs to what is deduced from them.

One deduction, written once in plain arithmetic, is run three times: on numbers, on
numbers with first-order uncertainties (JCGM 100:2008, 5.1 and 5.2, correlations
included), and on drawn values (JCGM 101:2008, clause 7). The first-order run gives
the standard uncertainty and its budget, the drawn run the 95 % coverage interval,
which a rectangular input narrows and a division skews.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import uncertainties
from numpy.typing import NDArray

from ..errors import AnalysisError
from ..quantity import Contribution, Stated

__all__ = ["Deduced", "MeasuredPair", "propagate"]

# Numbers, arrays or numbers with uncertainty: the deduction cannot tell, since it
# uses nothing but + - * / and powers.
Inputs = Mapping[str, Any]
Deduction = Callable[[Inputs], Mapping[str, Any]]

DRAWS = 100_000  # JCGM 101, 7.2.2: the 95 % limits then repeat to about 1 % of u
SEED = 101  # the same readings give the same interval, to the last digit
LARGEST_T_VARIANCE_DOF = 3  # below it Student's t has no variance to speak of


@dataclass(frozen=True, slots=True, kw_only=True)
class Deduced:
    """One deduced quantity.

    Attributes
    ----------
    name
        Its name in a result document (``inductance``).
    value, u
        Value and standard uncertainty (k = 1), SI.
    interval
        95 % coverage interval, probabilistically symmetric (JCGM 101, 5.3.3), SI.
    budget
        What the standard uncertainty is made of, the largest first.
    """

    name: str
    value: float
    u: float
    interval: tuple[float, float]
    budget: tuple[Contribution, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredPair:
    """Two fitted inputs that hang together: names, values, covariance.

    Attributes
    ----------
    names, values
        In the covariance's order.
    covariance
        Shape (2, 2), in the products of the values' units.
    degrees_of_freedom
        Of the noise one behind the covariance; ``inf`` when the noise was known.
    source
        What the budget calls their contribution.
    """

    names: tuple[str, str]
    values: tuple[float, float]
    covariance: NDArray[np.float64]
    degrees_of_freedom: float = math.inf
    source: str = field(default="readings and fit")

    def draw(self, rng: np.random.Generator, *, size: int) -> NDArray[np.float64]:
        """Draw pairs, shape (2, size): a t distribution scaled and shifted.

        JCGM 101, 6.4.9.5 for one quantity; for two the multivariate form of
        JCGM 102:2011, 5.3.2.2, with the same chi-squared for both.
        """
        drawn = self._root() @ rng.standard_normal((2, size))
        if math.isfinite(self.degrees_of_freedom):
            dof = self.degrees_of_freedom
            drawn *= np.sqrt(dof / rng.chisquare(dof, size))
        return np.asarray(self.values)[:, np.newaxis] + drawn

    def _root(self) -> NDArray[np.float64]:
        """Cholesky's factor, also where a variance is zero (readings without noise)."""
        u_first, u_second = np.sqrt(np.diagonal(self.covariance))
        both = u_first * u_second
        r = float(np.clip(self.covariance[0, 1] / both, -1.0, 1.0)) if both else 0.0
        return np.array(
            [[u_first, 0.0], [r * u_second, math.sqrt(1.0 - r**2) * u_second]]
        )


def propagate(
    deduction: Deduction,
    *,
    stated: Mapping[str, Stated],
    measured: Sequence[MeasuredPair] = (),
) -> tuple[Deduced, ...]:
    """Deduce, with standard uncertainties, budgets and coverage intervals.

    Parameters
    ----------
    deduction
        Takes the inputs by name and returns the results by name; arithmetic only.
    stated
        The inputs that were not measured here, by the name the budget shows.
    measured
        The pairs that were, each under names of its own and independent of the
        others; none where a result is predicted rather than measured.

    Returns
    -------
    tuple of Deduced
        In the deduction's order.

    Raises
    ------
    AnalysisError
        The inputs' doubt is so large that a result is not finite.
    """
    first_order = deduction(_with_uncertainty(stated, measured))
    drawn = deduction(_drawn(stated, measured))
    return tuple(
        _deduced(name, first_order[name], np.asarray(drawn[name]))
        for name in first_order
    )


def _with_uncertainty(
    stated: Mapping[str, Stated], measured: Sequence[MeasuredPair]
) -> dict[str, Any]:
    inputs: dict[str, Any] = {
        name: uncertainties.ufloat(one.value, one.u, tag=name) if one.u else one.value
        for name, one in stated.items()
    }
    for pair in measured:
        # JCGM 101, 6.4.9.5: with few degrees of freedom the t distribution's standard
        # deviation is what u means; below 3 it does not exist and the plain one stands.
        dof = pair.degrees_of_freedom
        wider = dof / (dof - 2.0) if LARGEST_T_VARIANCE_DOF <= dof < math.inf else 1.0
        values = uncertainties.correlated_values(
            pair.values, pair.covariance * wider, tags=(pair.source, pair.source)
        )
        inputs |= dict(zip(pair.names, values, strict=True))
    return inputs


def _drawn(
    stated: Mapping[str, Stated], measured: Sequence[MeasuredPair]
) -> dict[str, NDArray[np.float64]]:
    rng = np.random.default_rng(SEED)
    inputs: dict[str, NDArray[np.float64]] = {}
    for pair in measured:
        inputs |= dict(zip(pair.names, pair.draw(rng, size=DRAWS), strict=True))
    return inputs | {name: one.draw(rng, size=DRAWS) for name, one in stated.items()}


def _deduced(name: str, result: Any, drawn: NDArray[np.float64]) -> Deduced:
    if not hasattr(result, "error_components"):  # every input of it was exact
        result = uncertainties.ufloat(float(result), 0.0)
    value, u = float(result.nominal_value), float(result.std_dev)
    low, high = (float(limit) for limit in np.quantile(drawn, (0.025, 0.975)))
    if not all(math.isfinite(number) for number in (value, u, low, high)):
        raise AnalysisError(
            f"the doubt of the inputs leaves {name} without a finite value; "
            "state the fixture and the part more closely",
            name=name,
        )
    variances: dict[str, float] = {}
    for variable, component in result.error_components().items():
        variances[variable.tag] = variances.get(variable.tag, 0.0) + component**2
    budget = sorted(
        (Contribution(source=tag, u=math.sqrt(v)) for tag, v in variances.items()),
        key=lambda contribution: -contribution.u,
    )
    return Deduced(
        name=name,
        value=value,
        u=u,
        interval=(low, high),
        budget=tuple(part for part in budget if part.u > 0.0),
    )
