"""Every doubt that a fit can raise, defined once: a code, a sentence, its limit.

A flag never changes a number; it says what the number should not be trusted for.
The figures a sentence speaks of are in the result that carries the flag.
"""

from enum import Enum

__all__ = [
    "FEW_FREE",
    "LARGEST_Q_DOUBT",
    "LOW_Q",
    "MANY_GLITCHES",
    "WEAK_PEAK",
    "Flag",
]

# The limits that the sentences below speak of.
FEW_FREE = 10  # degrees of freedom
LARGEST_Q_DOUBT = 1.0 / 3.0  # u(Q)/Q
LOW_Q = 10.0
WEAK_PEAK = 8.0  # standard deviations
MANY_GLITCHES = 0.1  # of the readings


class Flag(Enum):
    """One doubt about a fit; its value is the code that a result document carries."""

    CHI2_HIGH = "chi2_high"
    CHI2_LOW = "chi2_low"
    RESIDUAL_PATTERN = "residual_pattern"
    NOT_BRACKETED = "not_bracketed"
    PEAK_AT_EDGE = "peak_at_edge"
    FEW_ON_PEAK = "few_on_peak"
    FEW_IN_SKIRTS = "few_in_skirts"
    FEW_READINGS = "few_readings"
    Q_UNCERTAIN = "q_uncertain"
    LOW_Q = "low_q"
    WEAK_PEAK = "weak_peak"
    GLITCHES_REFUSED = "glitches_refused"
    MANY_GLITCHES = "many_glitches"
    CLIPPED = "clipped"
    COARSE_STEPS = "coarse_steps"
    SECOND_PEAK = "second_peak"
    GHOST = "ghost"
    NOT_CONVERGED = "not_converged"
    MODEL_UNDECIDED = "model_undecided"
    UNPHYSICAL = "unphysical"
    ONE_READING = "one_reading"
    REPEATS_DISAGREE = "repeats_disagree"

    @property
    def code(self) -> str:
        """The code that a result document carries."""
        return self.value

    @property
    def text(self) -> str:
        """The sentence, for a person."""
        return _TEXT[self]


_TEXT = {
    Flag.CHI2_HIGH: (
        "the readings scatter about the curve by more than the noise accounts for:"
        " the noise is understated or the response is another one"
    ),
    Flag.CHI2_LOW: (
        "the readings scatter about the curve by less than the stated noise:"
        " the uncertainties are overstated"
    ),
    Flag.RESIDUAL_PATTERN: (
        "neighbouring residuals go together: the curve has another shape than the"
        " fitted response; the uncertainties count such neighbours as fewer readings"
        " but do not include the error of the shape"
    ),
    Flag.NOT_BRACKETED: (
        "a half-power point lies outside the readings: the bandwidth leans on the"
        " assumed shape; widen the sweep"
    ),
    Flag.PEAK_AT_EDGE: (
        "the peak stands at the edge of the readings: move the sweep towards it"
    ),
    Flag.FEW_ON_PEAK: (
        "fewer than three readings stand above the half-power level: the peak's"
        " height leans on the assumed shape; read more finely there"
    ),
    Flag.FEW_IN_SKIRTS: (
        "a side of the peak has fewer than two readings below 0.8 of its height:"
        " the width leans on the assumed shape; read more there"
    ),
    Flag.FEW_READINGS: (
        "fewer than ten degrees of freedom to estimate the noise from: Student's t is"
        " used for the interval, and makes it wide; read more"
    ),
    Flag.Q_UNCERTAIN: "Q is uncertain by more than a third of itself",
    Flag.LOW_Q: (
        "Q is below 10: the response no longer has one shape whatever the circuit;"
        " fit the circuit itself"
    ),
    Flag.WEAK_PEAK: (
        "the peak stands less than eight times the noise above the rest: another"
        " bump of the noise could pass for it"
    ),
    Flag.GLITCHES_REFUSED: (
        "readings far off the curve were left out of the fit; they are listed"
    ),
    Flag.MANY_GLITCHES: (
        "more than a tenth of the readings lie far off the curve: they may not be"
        " glitches but a response of another shape"
    ),
    Flag.CLIPPED: (
        "the highest readings are all the same: the detector or its range clips the"
        " top of the peak"
    ),
    Flag.COARSE_STEPS: (
        "the readings come in steps as large as their scatter or larger: the"
        " uncertainty is a guess; use a finer range or more readings"
    ),
    Flag.SECOND_PEAK: "the readings show another resonance beside the fitted one",
    Flag.GHOST: (
        "another peak stands at a half or a third of the frequency of the larger one"
        " and may be its ghost, rung by the generator's harmonic"
    ),
    Flag.NOT_CONVERGED: "the fit had not settled when it was stopped",
    Flag.MODEL_UNDECIDED: (
        "the readings do not decide between responses that give different answers;"
        " the difference is included in the uncertainty"
    ),
    Flag.UNPHYSICAL: (
        "the fitted response is one that no passive circuit of this kind gives"
    ),
    Flag.ONE_READING: (
        "the highest reading alone carries the peak: without it the rest say another"
        " Q; read again there, and more finely"
    ),
    Flag.REPEATS_DISAGREE: (
        "repeats at one frequency fall into two groups: the generator or the detector"
        " has not settled; state a longer settle"
    ),
}
