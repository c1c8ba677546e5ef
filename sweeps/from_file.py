"""The procedure without a bench: a result from readings somebody else took."""

from importlib.metadata import version

from ..analysis.choice import AUTO
from ..analysis.corrected import RESONANCE_UNITS, deduce_resonance
from ..analysis.outcome import cautions_of, quantities_of
from ..analysis.reading import Reading
from ..analysis.resonance import fit
from ..analysis.response import Peak
from ..analysis.result import Evidence, Result
from ..analysis.stated import Stated
from ..analysis.trace import Trace

__all__ = ["fit_readings"]


def fit_readings(
    trace: Trace, *, exponent: float | None, label: str, source: str
) -> Result:
    """Fit readings and give the result its usual form.

    Parameters
    ----------
    trace
        The readings.
    exponent
        The fixture's k (see `halfpower.analysis.response.Peak`); None: nothing is
        known of the fixture, and the readings choose among responses.
    label
        What the part is called.
    source
        Where the readings came from, for the evidence.

    Raises
    ------
    FitError
        There is no resonance in them.

    Notes
    -----
    Nothing is known of the generator's reference and the detector's linearity, so
    the uncertainties are those of the readings' scatter alone.
    """
    found = fit(trace, response=AUTO if exponent is None else Peak(exponent=exponent))
    exact = Stated(value=0.0)
    deduced = deduce_resonance(
        found, frequency_reference=exact, linearity=exact, loss_exponent=exact
    )
    readings = tuple(
        Reading(frequency_hz=float(frequency_hz), amplitude_v=float(amplitude_v))
        for frequency_hz, amplitude_v in zip(
            trace.frequency_hz, trace.amplitude_v, strict=True
        )
    )
    return Result(
        procedure="fit",
        label=label,
        quantities=quantities_of(deduced, units=RESONANCE_UNITS),
        warnings=cautions_of(found),
        evidence=Evidence(
            readings=readings,
            used=tuple(range(len(readings))),
            settings=(("readings from", source),),
            instruments=(),
            found=found,
            software=f"halfpower {version('halfpower')}",
        ),
    )
