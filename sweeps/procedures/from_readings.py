"""The procedure without a bench: a result from readings somebody else took."""

from dataclasses import dataclass, field
from importlib.metadata import version
from typing import Generic

from ...analysis.errors import InputError
from ...analysis.fitting import (
    AUTO,
    Abscissa,
    PeakInCapacitance,
    ResonanceFit,
    Trace,
    fit,
)
from ...analysis.fitting.curves import Peak
from ...analysis.quantity import Caution, Quantity, Stated
from ...analysis.reading import Reading
from ...analysis.result import Condition, Evidence, Result, Swept, cautions_of
from ...analysis.tank import (
    RESONANCE_UNITS,
    ResonantSetting,
    deduce_resonance,
    measured_setting,
)
from ...analysis.uncertainty import Known, N, Number, named, propagate

__all__ = ["fit_readings"]

NO_STRAY = Stated(value=0.0)
NO_STRAY_KNOWN = Caution(
    code="stray_not_stated",
    text="the Q is that of the dial's capacitance alone: what else is across the coil "
    "(its own capacitance, the fixture's stray) was not stated, and makes the true Q "
    "larger; state it with --stray",
)
FITTED_UNITS = {
    **RESONANCE_UNITS,
    "resonant_capacitance": "F",
    "capacitance_half_width": "F",
}


def fit_readings(
    trace: Trace,
    *,
    exponent: float | None,
    label: str,
    source: str,
    abscissa: Abscissa = Abscissa.FREQUENCY,
    frequency_hz: float = 0.0,
    stray_f: Stated = NO_STRAY,
) -> Result:
    """Fit readings and give the result its usual form.

    Parameters
    ----------
    trace
        The readings.
    exponent
        The fixture's k (see `halfpower.analysis.fitting.curves.Peak`); None: nothing is
        known of the fixture, and the readings choose among responses.
    label
        What the part is called.
    source
        Where the readings came from, for the evidence.
    abscissa
        What the trace is over: frequencies, or a variable capacitor's settings in F.
    frequency_hz
        The frequency it was turned at, in Hz; 0: nobody said.
    stray_f
        What else is then across the coil, in F: without it the Q is too small.

    Raises
    ------
    InputError
        An exponent for a sweep in capacitance, whose response needs none.
    FitError
        There is no resonance in them.

    Notes
    -----
    Nothing is known of the generator's reference and the detector's linearity, so
    the uncertainties are those of the readings' scatter alone.
    """
    by_dial = abscissa is Abscissa.CAPACITANCE
    _refuse_misplaced(exponent, stray_f, by_dial=by_dial)
    if by_dial:
        found = fit(trace, response=PeakInCapacitance())
        deduced = _in_capacitance(found, stray_f=stray_f)
        warnings = cautions_of(found) + (() if stray_f.value else (NO_STRAY_KNOWN,))
    else:
        found = fit(
            trace, response=AUTO if exponent is None else Peak(exponent=exponent)
        )
        exact = Stated(value=0.0)
        deduced = deduce_resonance(
            found, frequency_reference=exact, linearity=exact, loss_exponent=exact
        )
        warnings = cautions_of(found)
    readings = _readings(trace, at_hz=frequency_hz if by_dial else None)
    used = tuple(range(len(readings)))
    settings = [Condition(name="readings from", value=source)]
    if by_dial:
        settings.append(Condition(name="stray", value=stray_f, unit="F"))
    return Result(
        procedure="fit",
        label=label,
        quantities=deduced,
        warnings=warnings,
        evidence=Evidence(
            sweeps=(Swept(readings=readings, used=used, found=found),),
            settings=tuple(settings),
            instruments=(),
            software=f"halfpower {version('halfpower')}",
        ),
    )


def _refuse_misplaced(
    exponent: float | None, stray_f: Stated, *, by_dial: bool
) -> None:
    if stray_f.value < 0.0 or (stray_f.value and not by_dial):
        raise InputError(
            "a stray is 0 or more, and belongs to a sweep over capacitance_f; leave "
            "--stray out"
        )
    if by_dial and exponent is not None:
        raise InputError(
            "over a variable capacitor the response is the same for every fixture; "
            "leave --exponent out"
        )


def _readings(trace: Trace, *, at_hz: float | None) -> tuple[Reading, ...]:
    """Give the readings of a trace; at a frequency, it is over the capacitor."""
    return tuple(
        Reading(
            frequency_hz=float(setting) if at_hz is None else at_hz,
            amplitude_v=float(amplitude_v),
            capacitance_f=None if at_hz is None else float(setting),
        )
        for setting, amplitude_v in zip(
            trace.frequency_hz, trace.amplitude_v, strict=True
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Turned(Generic[N]):
    """A resonance over a capacitor's settings, and what else is across the coil."""

    resonance: ResonantSetting[N]
    stray_f: N = field(metadata=named("stray"))


def _deduction(at: _Turned[Number]) -> dict[str, Number]:
    setting_f = at.resonance.capacitance_f
    width_f = setting_f / at.resonance.loaded_q
    return {
        "resonant_capacitance": setting_f,
        "capacitance_half_width": width_f,
        "loaded_q": (setting_f + at.stray_f) / width_f,
    }


def _in_capacitance(found: ResonanceFit, *, stray_f: Stated) -> tuple[Quantity, ...]:
    """Deduce the resonant setting, the half-width and the Q over all that is across."""
    known: _Turned[Known] = _Turned(resonance=measured_setting(found), stray_f=stray_f)
    return propagate(_deduction, known, units=FITTED_UNITS)
