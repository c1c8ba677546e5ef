"""Does a part conform? Decisions on a measured value, by JCGM 106:2012.

The value is known with a standard uncertainty, so a part near a limit may lie on
either side of it. The limits say what the part may be; a guard band (clause 8) keeps
what is accepted away from them and, where an undecided zone is wanted, what is
rejected too. The risks (clause 9) say what a rule costs: of one part, given its
value; and of a whole lot, given how the parts are spread.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

from scipy import integrate, optimize, stats

from ..errors import AnalysisError, InputError
from ..quantity import Caution

__all__ = [
    "Conformity",
    "Decision",
    "GuardBand",
    "Limits",
    "Process",
    "Risks",
    "conformance_probability",
    "decide",
    "global_risks",
    "guard_band_for",
]

FAR = 9.0  # standard deviations; beyond lie 2e-19 of a normal distribution
WIDEST = 10.0  # standard uncertainties: the widest guard band that is tried


class Decision(Enum):
    """What becomes of a part; its value is the code a result document carries."""

    ACCEPTED = "accepted"
    REJECTED = "rejected"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a conforming value lies within, the limits themselves included.

    Attributes
    ----------
    lower, upper
        Same unit as the value; None: no limit on that side. One is needed.
    """

    lower: float | None = None
    upper: float | None = None

    def __post_init__(self) -> None:
        """Refuse limits that are no numbers, or leave nothing between them."""
        given = [one for one in (self.lower, self.upper) if one is not None]
        if not given or not all(math.isfinite(one) for one in given):
            raise InputError("limits need a finite number on one side at least")
        if self.low >= self.high:
            raise InputError(
                f"the lower limit {self.low:g} must be below the upper {self.high:g}",
                lower=self.low,
                upper=self.high,
            )

    @classmethod
    def about(
        cls, nominal: float, *, tolerance_relative: float | tuple[float, float]
    ) -> "Limits":
        """Set limits about a nominal value.

        Parameters
        ----------
        nominal
            The marked value, any unit, not zero.
        tolerance_relative
            0.05 for +/- 5 %; (0.2, 0.8) for -20 % +80 %, both as they are written
            without their signs.

        Raises
        ------
        InputError
            Nothing to be relative to, or a tolerance that is not >= 0, or is none.
        """
        both = tolerance_relative
        below, above = both if isinstance(both, tuple) else (both, both)
        if not (below >= 0.0 and above >= 0.0 and math.isfinite(nominal) and nominal):
            raise InputError(
                f"a tolerance of -{below:g} +{above:g} about {nominal:g} has no "
                "meaning; give shares >= 0 of a value that is not zero"
            )
        size = abs(nominal)
        return cls(lower=nominal - below * size, upper=nominal + above * size)

    @property
    def low(self) -> float:
        """The lower limit, minus infinity where there is none."""
        return -math.inf if self.lower is None else self.lower

    @property
    def high(self) -> float:
        """The upper limit, infinity where there is none."""
        return math.inf if self.upper is None else self.upper

    @property
    def tolerance(self) -> float:
        """Upper less lower limit, infinite where there is one alone."""
        return self.high - self.low

    def contain(self, value: float) -> bool:
        """Say whether a value lies within the limits or on one."""
        return self.low <= value <= self.high

    def drawn_in(self, by: float) -> "Limits | None":
        """Return the limits moved inwards (outwards: below zero); None if they meet."""
        low, high = self.low + by, self.high - by
        if low >= high:
            return None
        return Limits(
            lower=low if math.isfinite(low) else None,
            upper=high if math.isfinite(high) else None,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class GuardBand:
    """How far a value must be from a limit to be believed.

    Attributes
    ----------
    multiple
        Width in standard uncertainties of the value (JCGM 106, 8.3.2), >= 0. Zero is
        simple acceptance (8.2); 1.65 leaves a part on the edge of acceptance 5 % of
        being beyond a single limit, 2 leaves 2.3 %.
    undecided_zone
        True: within the band on either side of a limit nothing is decided. False:
        what is not accepted is rejected.
    """

    multiple: float = 0.0
    undecided_zone: bool = True

    def __post_init__(self) -> None:
        """Refuse a width that is none."""
        if not (math.isfinite(self.multiple) and self.multiple >= 0.0):
            raise InputError(
                f"a guard band is 0 or more uncertainties wide, not {self.multiple:g}"
            )

    @classmethod
    def of_expanded(
        cls, share: float = 1.0, *, coverage_factor: float = 2.0
    ) -> "GuardBand":
        """Set the width as a share of the expanded uncertainty U = k u."""
        return cls(multiple=share * coverage_factor)


@dataclass(frozen=True, slots=True, kw_only=True)
class Conformity:
    """What was decided of one value, and on what grounds.

    Attributes
    ----------
    decision
        Accepted, rejected, or undecided.
    probability
        That the part conforms, given its value (JCGM 106, clause 7).
    acceptance
        What is accepted lies within this; None: the guard bands meet, nothing can be.
    risk
        Of the decision being wrong: the specific consumer's risk of an accepted part,
        the specific producer's of a rejected one (9.3.2); None where undecided.
    cautions
        Says so when nothing can be accepted.
    """

    decision: Decision
    probability: float
    acceptance: Limits | None
    risk: float | None
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Process:
    """How a lot's true values are spread: normal, same unit as the value."""

    mean: float
    sd: float

    def __post_init__(self) -> None:
        """Refuse a spread that is none."""
        if not (math.isfinite(self.mean) and math.isfinite(self.sd) and self.sd > 0.0):
            raise InputError(f"a process has a spread above zero, not {self.sd:g}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Risks:
    """What a rule does to a lot, as shares of all its parts (JCGM 106, 9.5).

    Attributes
    ----------
    conforming
        Parts within the limits, decided on or not.
    consumer
        Accepted though they do not conform.
    producer
        Rejected though they conform.
    undecided
        Neither accepted nor rejected.
    """

    conforming: float
    consumer: float
    producer: float
    undecided: float


def conformance_probability(value: float, *, u: float, limits: Limits) -> float:
    """Return the probability that a part conforms.

    Parameters
    ----------
    value, u
        Measured value and standard uncertainty, u >= 0, same unit as the limits.
    limits
        What a conforming part lies within.

    Raises
    ------
    InputError
        Not a finite value with an uncertainty >= 0.

    Notes
    -----
    Normal, and nothing known of the part but its value (JCGM 106, 7.2 to 7.4). With
    u = 0 it is 1 within the limits and on them, 0 outside.
    """
    if not (math.isfinite(value) and math.isfinite(u) and u >= 0.0):
        raise InputError(
            f"a value of {value:g} with uncertainty {u:g} cannot be decided on; "
            "report the part as not measured",
            value=value,
            u=u,
        )
    return _within(limits, about=value, u=u)


def _within(limits: Limits | None, *, about: float, u: float) -> float:
    """Return what a normal distribution has within limits, exact in the tails."""
    if limits is None:
        return 0.0
    if u == 0.0:
        return float(limits.contain(about))
    a, b = (limits.low - about) / u, (limits.high - about) / u
    if a > 0.0:  # a difference of two numbers near 1 would lose the upper tail
        a, b = -b, -a
    return float(stats.norm.cdf(b) - stats.norm.cdf(a))


def decide(
    value: float, *, u: float, limits: Limits, guard_band: GuardBand
) -> Conformity:
    """Accept a part, reject it, or leave it undecided.

    Parameters
    ----------
    value, u
        Measured value and standard uncertainty, u >= 0, same unit as the limits.
    limits, guard_band
        The rule.

    Raises
    ------
    InputError
        Not a finite value with an uncertainty >= 0.
    """
    probability = conformance_probability(value, u=u, limits=limits)
    acceptance, kept = _zones(limits, u=u, guard_band=guard_band)
    decision, risk = Decision.UNDECIDED, None
    if acceptance is not None and acceptance.contain(value):
        decision, risk = Decision.ACCEPTED, 1.0 - probability
    elif kept is None or not kept.contain(value):
        decision, risk = Decision.REJECTED, probability
    cautions = () if acceptance else (_nothing_acceptable(limits, u=u),)
    return Conformity(
        decision=decision,
        probability=probability,
        acceptance=acceptance,
        risk=risk,
        cautions=cautions,
    )


def _zones(
    limits: Limits, *, u: float, guard_band: GuardBand
) -> tuple[Limits | None, Limits | None]:
    """Return what is accepted within, and what is rejected outside of."""
    width = guard_band.multiple * u
    acceptance = limits.drawn_in(width)
    return acceptance, limits.drawn_in(-width) if guard_band.undecided_zone else (
        acceptance
    )


def _nothing_acceptable(limits: Limits, *, u: float) -> Caution:
    text = (
        f"no value at all could be accepted: the guard bands of an uncertainty of {u:g}"
        f" meet within a tolerance of {limits.tolerance:g}; measure more finely, or"
        " take a narrower guard band and its risk"
    )
    return Caution(code="nothing_acceptable", text=text)


def global_risks(
    process: Process, *, u: float, limits: Limits, guard_band: GuardBand
) -> Risks:
    """Return what a rule does to a lot before any part of it is measured.

    Parameters
    ----------
    process
        The spread of the true values.
    u
        Standard uncertainty of each measurement, the same for all, >= 0.
    limits, guard_band
        The rule.

    Raises
    ------
    InputError
        An uncertainty that is not >= 0.

    References
    ----------
    JCGM 106:2012, 9.5.2, equations 19 and 20, integrated numerically.
    """
    conforming = conformance_probability(process.mean, u=process.sd, limits=limits)
    if not (math.isfinite(u) and u >= 0.0):
        raise InputError(f"an uncertainty is 0 or more, not {u:g}", u=u)
    acceptance, kept = _zones(limits, u=u, guard_band=guard_band)
    if u == 0.0:
        return Risks(conforming=conforming, consumer=0.0, producer=0.0, undecided=0.0)

    def share(zone: Limits | None, low: float, high: float) -> float:
        return _joint(process, zone=zone, u=u, low=low, high=high)

    inside = (limits.low, limits.high)
    outside = ((-math.inf, limits.low), (limits.high, math.inf))
    accepted_outside = sum(share(acceptance, *one) for one in outside)
    spread = math.hypot(process.sd, u)
    measured = [_within(z, about=process.mean, u=spread) for z in (kept, acceptance)]
    return Risks(
        conforming=conforming,
        consumer=accepted_outside,
        producer=conforming - share(kept, *inside),
        undecided=measured[0] - measured[1],
    )


def _joint(
    process: Process, *, zone: Limits | None, u: float, low: float, high: float
) -> float:
    """Return the share whose true value is in low..high and its reading in a zone."""
    start = max((low - process.mean) / process.sd, -FAR)
    end = min((high - process.mean) / process.sd, FAR)
    if zone is None or start >= end:
        return 0.0

    def density(z: float) -> float:
        reading = _within(zone, about=process.mean + z * process.sd, u=u)
        return math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) * reading

    edges = [(one - process.mean) / process.sd for one in (zone.low, zone.high)]
    bends = [edge + k * u / process.sd for edge in edges for k in (-6.0, 0.0, 6.0)]
    points = [start, *sorted(one for one in bends if start < one < end), end]
    return sum(
        float(integrate.quad(density, a, b, epsabs=1e-13, epsrel=1e-9)[0])
        for a, b in pairwise(points)
    )


def guard_band_for(
    consumer_risk: float, *, process: Process, u: float, limits: Limits
) -> GuardBand:
    """Find the narrowest guard band that keeps a lot's consumer's risk down.

    Raises
    ------
    AnalysisError
        No guard band of up to 10 standard uncertainties does that.
    InputError
        A risk that is not between 0 and 1, or an uncertainty that is not >= 0.
    """
    if not 0.0 < consumer_risk < 1.0:
        raise InputError(f"a risk is between 0 and 1, not {consumer_risk:g}")

    def excess(multiple: float) -> float:
        rule = GuardBand(multiple=multiple)
        found = global_risks(process, u=u, limits=limits, guard_band=rule)
        return found.consumer / consumer_risk - 1.0

    return GuardBand(multiple=_crossing(excess))


def _crossing(excess: Callable[[float], float]) -> float:
    if excess(0.0) <= 0.0:
        return 0.0
    if excess(WIDEST) > 0.0:
        raise AnalysisError("no guard band brings the risk of the lot down to that")
    return float(optimize.brentq(excess, 0.0, WIDEST, xtol=1e-9))
