"""Parts of a lot that do not belong, and what is likely the matter with them.

Who stands apart is found robustly: medians, so that the bad parts do not hide one
another. What is the matter is a comparison of causes: each says where in the plane of
ln L and ln Q its victims lie, and the cause that makes a part's place least surprising
is named, with its share among the causes. It is a likelihood, never a certainty: the
densities below are common practice, no published source, and the part is the judge.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
from scipy import stats

from ..errors import InputError
from ..markings import series_values
from .trend import FloatArray, Numbers, finite_row

__all__ = [
    "Cause",
    "LikelyDefect",
    "esd_outliers",
    "likely_defects",
    "modified_z_scores",
]

OUTLYING = 3.5  # modified z: Iglewicz and Hoaglin
LEAST_ESD = 15  # values; Rosner's critical values are good from there
LEAST_LOT = 5  # parts that make a lot to stand apart from

# Where the victims of a cause lie, in logarithms of the ratio to the lot's median.
LOWEST_L, HIGHEST_L = math.log(0.2), math.log(5.0)
LOWEST_Q, HIGHEST_Q = math.log(0.02), math.log(5.0)
LOSSY_Q = math.log(0.8)  # a turn that is shorted costs a fifth of Q at the least
Q_OF_CRACKED, Q_OF_OTHER_VALUE = 0.25, 0.5  # spread of ln Q beside the lot's own
SMALLEST_SPREAD = 1e-4  # of ln L and ln Q: a lot is not more alike than that
RATIOS = (2.0, 3.0, 4.0, 10.0)  # two or three in series, twice the turns, a prefix
LIKELY, POSSIBLE = 0.8, 0.5  # share of the causes


class Cause(Enum):
    """What may be the matter with a part; its value is the code documents carry."""

    NO_RESONANCE = "no_resonance"
    SHORTED_TURN = "shorted_turn"
    CRACKED_CORE = "cracked_core"
    WRONG_VALUE = "wrong_value"
    LOSSY = "lossy"
    SCATTER = "scatter"
    UNKNOWN = "unknown"

    @property
    def text(self) -> str:
        """What it is, for a sentence."""
        return _TEXT[self]


_TEXT = {
    Cause.NO_RESONANCE: "an open winding or lead, a dead short, or no contact",
    Cause.SHORTED_TURN: "a shorted turn: it takes inductance and Q together",
    Cause.CRACKED_CORE: "a cracked or missing core: less inductance, Q much as before",
    Cause.WRONG_VALUE: "a part of another value",
    Cause.LOSSY: "a lossy part: damp, a bad joint, or another core material",
    Cause.SCATTER: "a sound part at the edge of the lot's scatter",
    Cause.UNKNOWN: "none of the usual causes",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyDefect:
    """What is likely the matter with one part.

    Attributes
    ----------
    part
        Its index.
    cause
        The likeliest.
    share
        Of the likelihood of all causes, 0 to 1, none being favoured beforehand.
    other_value
        The preferred value the part may have been meant for, same unit as the
        inductance; None for other causes.
    text
        A sentence, with the figures.
    """

    part: int
    cause: Cause
    share: float
    other_value: float | None
    text: str


def modified_z_scores(values: Numbers) -> FloatArray:
    """Return how far each value is from the median, robustly, shape (N,).

    0.6745 (x - median)/MAD; where more than half the values are the same, the mean
    absolute deviation takes its place: (x - median)/(1.2533 mean AD). Zero throughout
    where all are. Beyond 3.5 either way is an outlier: about 1 normal value in 2000.

    Raises
    ------
    InputError
        No values, or one that is not finite.

    References
    ----------
    B. Iglewicz, D. C. Hoaglin 1993, How to Detect and Handle Outliers, ASQC, 3.
    """
    row = finite_row(values, name="the values")
    away = row - np.median(row)
    scale = float(np.median(np.abs(away))) / float(stats.norm.ppf(0.75))
    if scale <= 0.0:
        scale = float(np.mean(np.abs(away))) * math.sqrt(math.pi / 2.0)
    return away / scale if scale > 0.0 else np.zeros_like(row)


def esd_outliers(
    values: Numbers, *, most: int, significance: float = 0.05
) -> tuple[int, ...]:
    """Return the outliers of normal values by the generalised extreme deviate test.

    Parameters
    ----------
    values
        Shape (N,), N >= 15.
    most
        How many there may be, 1 to N/2.
    significance
        Chance that a sound lot shows any.

    Returns
    -------
    tuple of int
        Indices, the most extreme first.

    Raises
    ------
    InputError
        Too few values, one that is not finite, ``most`` outside its range.

    References
    ----------
    B. Rosner 1983, Technometrics 25, 165. NIST/SEMATECH e-Handbook, 1.3.5.17.3.
    """
    row = finite_row(values, name="the values", least=LEAST_ESD)
    n = row.size
    if not 1 <= most <= n // 2 or not 0.0 < significance < 1.0:
        raise InputError(f"of {n} values 1 to {n // 2} may be outliers, not {most}")
    left, removed, found = np.arange(n), [], 0
    for i in range(1, most + 1):
        away = np.abs(row[left] - row[left].mean())
        sd = float(row[left].std(ddof=1))
        if sd <= 0.0:
            break
        worst = int(np.argmax(away))
        removed.append(int(left[worst]))
        m = n - i  # values left once this one is gone
        t = float(stats.t.isf(significance / (2.0 * (m + 1)), m - 1))
        critical = m * t / math.sqrt((m - 1 + t * t) * (m + 1))
        if float(away[worst]) / sd > critical:
            found = i
        left = np.delete(left, worst)
    return tuple(removed[:found])


def likely_defects(
    inductance: Numbers,
    *,
    q: Numbers | None = None,
    nominal: float | None = None,
    series: str = "E12",
) -> tuple[LikelyDefect, ...]:
    """Name what is likely the matter with the parts that stand apart.

    Parameters
    ----------
    inductance
        One for each part, shape (N,), > 0, any unit; NaN: it showed no resonance.
    q
        Quality factors, shape (N,), > 0; NaN where there is none.
    nominal
        What the lot is marked, same unit as the inductance; None: only ratios of the
        lot's own median are tried as another value.
    series
        The E series other values are looked for in.

    Raises
    ------
    InputError
        Fewer than five parts with a resonance, a value not above zero, no such series.

    Notes
    -----
    For coils. Without Q, a shorted turn and a cracked core cannot be told apart.
    """
    size = np.asarray(inductance, dtype=np.float64)
    figure = np.full(size.shape, math.nan) if q is None else np.asarray(q, dtype=float)
    shown = np.isfinite(size)
    if size.ndim != 1 or figure.shape != size.shape or shown.sum() < LEAST_LOT:
        raise InputError(f"a lot has at least {LEAST_LOT} parts with a resonance")
    every = np.concatenate((size, figure))
    if (every <= 0.0).any() or np.isinf(every).any():
        raise InputError("inductances and Q are above zero; NaN where there is none")
    log_l, scatter_l = _centred(np.log(size))
    log_q, scatter_q = _centred(np.log(figure))
    others = _other_values(nominal, typical=float(np.median(size[shown])), name=series)
    apart = (np.abs(log_l) > OUTLYING * scatter_l) | (
        np.abs(log_q) > OUTLYING * scatter_q
    )
    found = []
    for part in np.flatnonzero(apart | ~shown):
        if not shown[part]:
            found.append(_without_resonance(int(part)))
            continue
        place = _Place(
            log_l=float(log_l[part]),
            log_q=float(log_q[part]),
            s_l=scatter_l,
            s_q=scatter_q,
        )
        found.append(_diagnosed(int(part), place=place, others=others))
    return tuple(found)


def _centred(logs: FloatArray) -> tuple[FloatArray, float]:
    """Return logarithms about their median, and their robust standard deviation."""
    known = logs[np.isfinite(logs)]
    if known.size < LEAST_LOT:
        return np.full(logs.shape, math.nan), 1.0
    away = logs - np.median(known)
    scatter = float(np.median(np.abs(known - np.median(known))))
    return away, max(scatter / float(stats.norm.ppf(0.75)), SMALLEST_SPREAD)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """Where a part is: ln L and ln Q about the lot's medians, and the lot's scatter."""

    log_l: float
    log_q: float  # NaN where there is none
    s_l: float
    s_q: float

    def normal_l(self, about: float) -> float:
        return float(stats.norm.pdf(self.log_l, about, self.s_l))

    def normal_q(self, extra: float) -> float:
        """Density of ln Q much as the lot's; 1 where Q is not known."""
        if math.isnan(self.log_q):
            return 1.0
        return float(stats.norm.pdf(self.log_q, 0.0, math.hypot(self.s_q, extra)))

    def flat_l(self, low: float, high: float) -> float:
        return _flat(self.log_l, low, high)

    def flat_q(self, low: float, high: float) -> float:
        return 1.0 if math.isnan(self.log_q) else _flat(self.log_q, low, high)


def _flat(value: float, low: float, high: float) -> float:
    return 1.0 / (high - low) if low <= value <= high else 0.0


def _other_values(
    nominal: float | None, *, typical: float, name: str
) -> Mapping[float, float]:
    """Return other values a part may have, by ln of their ratio to the median."""
    values = {typical * ratio for ratio in RATIOS} | {typical / r for r in RATIOS}
    members = series_values(name)
    if nominal is not None:
        if not (math.isfinite(nominal) and nominal > 0.0):
            raise InputError(f"a nominal value is above zero, not {nominal:g}")
        decade = math.floor(math.log10(nominal))
        values = {
            float(f"{member}e{decade + step}")
            for member in members
            for step in (-1, 0, 1)
        }
        values = {one for one in values if not math.isclose(one, nominal)}
    # A lot that is 3 % high on its marking as a whole makes others 3 % high too.
    about = typical if nominal is None else nominal
    return {math.log(one / about): one for one in sorted(values)}


def _likelihoods(place: _Place, others: Mapping[float, float]) -> dict[Cause, float]:
    low_l = -2.0 * place.s_l
    value = np.mean([place.normal_l(about) for about in others])
    return {
        Cause.SHORTED_TURN: place.flat_l(LOWEST_L, low_l)
        * place.flat_q(LOWEST_Q, LOSSY_Q),
        Cause.CRACKED_CORE: place.flat_l(LOWEST_L, low_l)
        * place.normal_q(Q_OF_CRACKED),
        Cause.WRONG_VALUE: float(value) * place.normal_q(Q_OF_OTHER_VALUE),
        Cause.LOSSY: place.normal_l(0.0) * place.flat_q(LOWEST_Q, LOSSY_Q),
        Cause.SCATTER: place.normal_l(0.0) * place.normal_q(0.0),
        Cause.UNKNOWN: 1.0
        / (3.0 * (HIGHEST_L - LOWEST_L))
        * (1.0 if math.isnan(place.log_q) else 1.0 / (3.0 * (HIGHEST_Q - LOWEST_Q))),
    }


def _diagnosed(
    part: int, *, place: _Place, others: Mapping[float, float]
) -> LikelyDefect:
    likelihood = _likelihoods(place, others)
    if math.isnan(place.log_q):
        del likelihood[Cause.LOSSY]
    cause = max(likelihood, key=lambda one: likelihood[one])
    share = likelihood[cause] / sum(likelihood.values())
    other = None
    if cause is Cause.WRONG_VALUE:
        other = others[min(others, key=lambda about: abs(about - place.log_l))]
    return LikelyDefect(
        part=part,
        cause=cause,
        share=share,
        other_value=other,
        text=_sentence(part, place=place, cause=cause, share=share, other=other),
    )


def _sentence(
    part: int, *, place: _Place, cause: Cause, share: float, other: float | None
) -> str:
    figures = [f"inductance {_percent(place.log_l)}"]
    if not math.isnan(place.log_q):
        figures.append(f"Q {_percent(place.log_q)}")
    what = cause.text + ("" if other is None else f" ({other:.4g})")
    verdict = f"{'likely' if share >= LIKELY else 'possibly'} {what}"
    if cause is Cause.UNKNOWN:
        verdict = f"it fits {what}"
    elif share < POSSIBLE:
        verdict = f"undecided; the likeliest of several causes is {what}"
    return f"part {part + 1}: {', '.join(figures)} of the lot's median; {verdict}"


def _percent(log_ratio: float) -> str:
    return f"{100.0 * math.exp(log_ratio):.3g} %"


def _without_resonance(part: int) -> LikelyDefect:
    cause = Cause.NO_RESONANCE
    return LikelyDefect(
        part=part,
        cause=cause,
        share=1.0,
        other_value=None,
        text=f"part {part + 1}: no resonance found; likely {cause.text}",
    )
