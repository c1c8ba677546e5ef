"""How much of the spread is the gauge's? Repeatability and reproducibility.

Every operator (or fixture, or day) measures every part several times, and an analysis
of variance tells the parts' spread from the operators', from their liking for certain
parts, and from what the same hand repeats.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from ..errors import InputError
from ..quantity import Caution
from .conformity import Limits
from .trend import FloatArray, finite_row

__all__ = [
    "AnovaRow",
    "Component",
    "GaugeStudy",
    "crossed_study",
]

POOL_ABOVE = 0.25  # p-value: common practice, so that a weak interaction still counts
SIGMAS = 6.0  # a spread is quoted as six standard deviations: common practice
AXES = 3
Pool = Literal["auto", "always", "never"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AnovaRow:
    """One line of the analysis of variance; squares in the square of the unit."""

    source: str
    degrees_of_freedom: int
    sum_of_squares: float
    mean_square: float
    f: float | None  # None: nothing to compare it with
    p_value: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """What one source adds to the spread.

    Attributes
    ----------
    source
        ``parts``, ``operators``, ``interaction``, ``repeatability``,
        ``reproducibility``, ``gauge`` or ``total``.
    sd
        Standard deviation, same unit as the readings.
    clipped
        The estimate of its variance was negative and is taken as zero.
    percent_of_variance, percent_of_total
        Of the total variance, and of the total standard deviation.
    percent_of_tolerance
        Six sd of the tolerance; None without limits on both sides.
    """

    source: str
    sd: float
    clipped: bool
    percent_of_variance: float
    percent_of_total: float
    percent_of_tolerance: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeStudy:
    """A crossed study.

    Attributes
    ----------
    table
        The analysis of variance; no row ``interaction`` where it was pooled.
    components
        Parts, operators, interaction, repeatability, then the sums reproducibility,
        gauge, total.
    pooled
        The interaction was taken for repeatability.
    distinct_categories
        How many groups of parts the gauge tells apart; None: it shows no spread.
    cautions
        Variances that came out negative, a gauge that tells no parts apart.
    """

    table: tuple[AnovaRow, ...]
    components: tuple[Component, ...]
    pooled: bool
    distinct_categories: int | None
    cautions: tuple[Caution, ...]

    def __getitem__(self, source: str) -> Component:
        """Return a component by its source; `KeyError` where there is none."""
        for component in self.components:
            if component.source == source:
                return component
        raise KeyError(source)


def crossed_study(
    readings: NDArray[np.float64],
    *,
    limits: Limits | None = None,
    pool: Pool = "auto",
) -> GaugeStudy:
    """Tell the gauge's spread from the parts' by a two-way analysis of variance.

    Parameters
    ----------
    readings
        Shape (parts, operators, repeats), each at least 2, one unit.
    limits
        Of the parts, same unit; for the per cent of tolerance.
    pool
        Whether the interaction is taken for repeatability: ``auto`` where its p-value
        is above 0.25, or ``always``, or ``never``.

    Raises
    ------
    InputError
        Another shape, a reading that is not finite, readings that are all the same.

    References
    ----------
    R. K. Burdick, C. M. Borror, D. C. Montgomery 2003, J. Quality Technology 35, 342
    (random model and its components). Six standard deviations, the pooling and the
    categories, sqrt(2) parts/gauge rounded down, are common practice.
    """
    table = np.asarray(readings, dtype=np.float64)
    if table.ndim != AXES or min(table.shape) < 2:  # noqa: PLR2004 # a pair
        raise InputError(
            "readings must be (parts, operators, repeats), each at least 2, "
            f"not {table.shape}"
        )
    finite_row(table.ravel(), name="the readings")
    if np.ptp(table) <= 0.0:
        raise InputError("the readings are all the same: there is no spread to study")
    rows, pooled = _anova(table, pool=pool)
    variances = _variances(rows, shape=table.shape)
    components = _components(variances, limits=limits)
    parts, gauge = components[0].sd, components[5].sd
    categories = math.floor(math.sqrt(2.0) * parts / gauge) if gauge > 0.0 else None
    return GaugeStudy(
        table=rows,
        components=components,
        pooled=pooled,
        distinct_categories=categories,
        cautions=_cautions(components, categories=categories),
    )


def _anova(table: FloatArray, *, pool: Pool) -> tuple[tuple[AnovaRow, ...], bool]:
    p, o, r = table.shape
    table = table - table.mean()
    part, operator = table.mean(axis=(1, 2)), table.mean(axis=(0, 2))
    cell = table.mean(axis=2)
    crossed = cell - part[:, np.newaxis] - operator
    squares = {
        "parts": (o * r * float(part @ part), p - 1),
        "operators": (p * r * float(operator @ operator), o - 1),
        "interaction": (r * float((crossed**2).sum()), (p - 1) * (o - 1)),
        "repeatability": (
            float(((table - cell[:, :, np.newaxis]) ** 2).sum()),
            p * o * (r - 1),
        ),
    }
    interaction = _row("interaction", squares, against="repeatability")
    weak = interaction.p_value is None or interaction.p_value > POOL_ABOVE
    pooled = pool == "always" or (pool == "auto" and weak)
    against = "interaction"
    if pooled:
        against = "repeatability"
        both = (squares.pop("interaction"), squares[against])
        squares[against] = (both[0][0] + both[1][0], both[0][1] + both[1][1])
    rows = [_row(name, squares, against=against) for name in ("parts", "operators")]
    rows += [] if pooled else [interaction]
    return (*rows, _row("repeatability", squares, against=None)), pooled


def _row(
    source: str, squares: dict[str, tuple[float, int]], *, against: str | None
) -> AnovaRow:
    total, free = squares[source]
    f = p_value = None
    if against is not None and squares[against][0] > 0.0:
        noise, free_noise = squares[against]
        f = (total / free) / (noise / free_noise)
        p_value = float(stats.f.sf(f, free, free_noise))
    return AnovaRow(
        source=source,
        degrees_of_freedom=free,
        sum_of_squares=total,
        mean_square=total / free,
        f=f,
        p_value=p_value,
    )


def _variances(
    rows: tuple[AnovaRow, ...], *, shape: tuple[int, ...]
) -> dict[str, float]:
    """Solve the expected mean squares of the random model; may be negative."""
    p, o, r = shape
    mean = {row.source: row.mean_square for row in rows}
    noise = mean["repeatability"]
    crossed = mean.get("interaction", noise)
    return {
        "parts": (mean["parts"] - crossed) / (o * r),
        "operators": (mean["operators"] - crossed) / (p * r),
        "interaction": (crossed - noise) / r,
        "repeatability": noise,
    }


def _components(
    variances: dict[str, float], *, limits: Limits | None
) -> tuple[Component, ...]:
    kept = {name: max(0.0, one) for name, one in variances.items()}
    kept["reproducibility"] = kept["operators"] + kept["interaction"]
    kept["gauge"] = kept["reproducibility"] + kept["repeatability"]
    kept["total"] = kept["gauge"] + kept["parts"]
    tolerance = math.inf if limits is None else limits.tolerance
    return tuple(
        Component(
            source=name,
            sd=math.sqrt(one),
            clipped=variances.get(name, 0.0) < 0.0,
            percent_of_variance=100.0 * one / kept["total"],
            percent_of_total=100.0 * math.sqrt(one / kept["total"]),
            percent_of_tolerance=100.0 * SIGMAS * math.sqrt(one) / tolerance
            if math.isfinite(tolerance)
            else None,
        )
        for name, one in kept.items()
    )


def _negative(source: str) -> Caution:
    text = (
        f"the variance of {source} comes out below zero and is taken as none: the"
        " levels below it explain all of it; more of them would tell it better"
    )
    return Caution(code="negative_variance", text=text)


def _cautions(
    components: tuple[Component, ...], *, categories: int | None
) -> tuple[Caution, ...]:
    cautions = [_negative(one.source) for one in components if one.clipped]
    if categories is not None and categories < 2:  # noqa: PLR2004 # apart from one
        text = "the gauge is spread as widely as the parts: it tells none of them apart"
        cautions.append(Caution(code="no_distinct_categories", text=text))
    return tuple(cautions)
