"""What every procedure does on a bench: guard, run the plan, say the settings."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Protocol

from ...analysis.fitting import ResonanceFit
from ...analysis.quantity import Caution, Stated, Unit
from ...analysis.result import Condition
from ...analysis.tank import Tank
from ...analysis.uncertainty import stated_in
from ...drivers.bench import BenchFile
from ...drivers.errors import SettingError
from ..plan import PeakGoal, PeakPlanner
from .guard import TankGuard
from .resonate import DrivenBench

__all__ = [
    "EXPONENTS",
    "ON_SEVERAL",
    "IdentifiedBench",
    "Span",
    "check_span",
    "conditions",
    "guard_on",
    "settings_of",
    "tank_on_bench",
    "target_cautions",
]

# V ~ x^k: one coupling capacitor feeds a current that rises with frequency; a
# second one into a low impedance rises with it once more.
EXPONENTS = {"coupled-tank": 1.0, "coupled-both-sides": 2.0}

# Skin effect makes a coil's resistance go as the root of frequency; proximity and
# dielectric loss, and what lies across the tank, move that. Common practice, no
# published source.
USUAL_LOSS_EXPONENT = Stated(value=0.5, u=0.25)

RESTLESS = 0.05  # of the peak: more than noise makes of most readings

UNITS: dict[str, Unit] = {  # of what is stated, by the name before its comma
    "resonating capacitor": "F",
    "resonating capacitor's loss": "fraction",
    "coil's self-capacitance": "F",
    "fixture's stray": "F",
    "fixture's stray loss": "fraction",
    "lead inductance": "H",
    "lead resistance": "ohm",
    "coupling capacitor": "F",
    "output coupling capacitor": "F",
    "source resistance": "ohm",
    "probe resistance": "ohm",
    "probe capacitance": "F",
    "frequency reference": "fraction",
    "detector linearity": "fraction",
    "loss exponent": "fraction",
    "capacitor": "F",
    "capacitor's loss": "fraction",
    "capacitors' common error": "fraction",
    "variable capacitor's scale": "fraction",
    "variable capacitor's loss": "fraction",
    "variable capacitor's inductance": "H",
    "plates' diameter": "m",
    "plates' width": "m",
    "plates' length": "m",
    "plates' leads": "F",
    "sheet's thickness": "m",
    "thicker sheet's thickness": "m",
    "bond line": "m",
    "bond line's permittivity": "fraction",
    "permittivity of air": "fraction",
    "edge field": "fraction",
}

# What a straight line over several known capacitors makes no use of.
ON_SEVERAL = (
    "resonating capacitor",
    "resonating capacitor's loss",
    "coil's self-capacitance",
)


class IdentifiedBench(DrivenBench, Protocol):
    """A bench that can be swept and that says what it is."""

    file: BenchFile

    @property
    def identities(self) -> dict[str, str]:
        """Who the instruments say they are."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Where to look and how closely to measure.

    Attributes
    ----------
    lowest_hz, highest_hz
        The span in Hz.
    target
        Relative standard uncertainty of the loaded Q to stop at.
    most_readings
        Readings to stop at in any case.
    level_v
        E.m.f. to drive with, in V r.m.s.; None: the bench file's.
    """

    lowest_hz: float
    highest_hz: float
    target: float = 0.002
    most_readings: int = 200
    level_v: float | None = None

    def goal(self, file: BenchFile) -> PeakGoal:
        """Say what the planner is to reach on a bench."""
        return PeakGoal(
            lowest_hz=self.lowest_hz,
            highest_hz=self.highest_hz,
            exponent=EXPONENTS[file.fixture.kind],
            target=self.target,
            most_readings=self.most_readings,
            generator_highest_hz=file.limits.highest_frequency_hz,
            # A person sees the needle come to rest.
            witness=not (file.generator.is_hand or file.detector.is_hand),
        )


def tank_on_bench(
    file: BenchFile,
    *,
    capacitor_f: Stated,
    capacitor_loss: Stated,
    self_capacitance_f: Stated,
) -> Tank:
    """Put a bench file's constants and a known capacitor together as a tank."""
    fixture, detector, generator = file.fixture, file.detector, file.generator
    return Tank(
        kind=fixture.kind,
        capacitor_f=capacitor_f,
        capacitor_loss=capacitor_loss,
        self_capacitance_f=self_capacitance_f,
        stray_f=fixture.stray_capacitance,
        stray_loss=fixture.stray_loss,
        lead_h=fixture.lead_inductance,
        lead_ohm=fixture.lead_resistance,
        coupling_f=fixture.coupling_capacitance,
        source_ohm=generator.source_resistance,
        output_coupling_f=fixture.output_coupling_capacitance,
        probe_ohm=detector.input_resistance,
        probe_f=detector.input_capacitance,
        frequency_reference=Stated.within(
            0.0, half_width=generator.frequency_reference
        ),
        linearity=Stated.within(0.0, half_width=detector.linearity),
        loss_exponent=USUAL_LOSS_EXPONENT,
    )


def check_span(span: Span, *, file: BenchFile) -> None:
    """Refuse a span that the bench file's limits do not allow.

    Raises
    ------
    SettingError
        It reaches outside them.
    """
    limits = file.limits
    for edge_hz in (span.lowest_hz, span.highest_hz):
        if not limits.lowest_frequency_hz <= edge_hz <= limits.highest_frequency_hz:
            raise SettingError(
                f"the span reaches to {edge_hz / 1e6:.6g} MHz, outside the bench "
                f"file's limits of {limits.lowest_frequency_hz / 1e6:.6g} to "
                f"{limits.highest_frequency_hz / 1e6:.6g} MHz",
                frequency_hz=edge_hz,
            )


def guard_on(
    file: BenchFile,
    *,
    tank: Tank,
    driven_hz: tuple[float, float],
    level_v: float | None = None,
    without_hz: float | None = None,
) -> TankGuard:
    """Set up the guard of a tank's voltage, with its prediction checked.

    Parameters
    ----------
    file, tank
        The bench and the tank on it.
    driven_hz
        The lowest and the highest frequency it will be driven at, in Hz.
    level_v
        E.m.f. in V r.m.s.; None: the bench file's.
    without_hz
        See `TankGuard`.

    Raises
    ------
    GuardError
        The prediction is above the bench file's limit.
    """
    guard = TankGuard(
        tank,
        emf_v=file.generator.level_v if level_v is None else level_v,
        limit_v=file.limits.tank_voltage_v,
        without_hz=without_hz,
    )
    guard.check_before(*driven_hz)
    return guard


def target_cautions(planner: PeakPlanner) -> tuple[Caution, ...]:
    """Say so where the readings were spent before the target was reached."""
    found = planner.found
    reached = found.u_loaded_q / found.loaded_q
    if reached <= planner.goal.target:
        return ()
    return (
        Caution(
            code="target_not_reached",
            text=f"the {len(planner.readings)} readings allowed give the loaded Q to "
            f"{100.0 * reached:.2g} %, not to the {100.0 * planner.goal.target:.2g} % "
            f"asked for; {_why_not(found)}",
        ),
    )


def _why_not(found: ResonanceFit) -> str:
    scatter = found.noise_v / found.amplitude_v
    if scatter < RESTLESS:
        return "allow more readings"
    return (
        f"they scatter by {100.0 * scatter:.2g} % of the peak: see by halfpower bench "
        "check whether generator and detector settle in the time stated, or raise the "
        "level"
    )


def conditions(stated: Mapping[str, Stated]) -> tuple[Condition, ...]:
    """Give stated values their units, by the names that a budget shows."""
    return tuple(
        Condition(name=name, value=one, unit=UNITS[name.partition(", ")[0]])
        for name, one in stated.items()
    )


def settings_of(
    file: BenchFile,
    *,
    tank: Tank,
    span: Span | None = None,
    left_out: Collection[str] = (),
) -> tuple[Condition, ...]:
    """Give the arguments and the constants in force, but for those named."""
    looked: tuple[Condition, ...] = ()
    if span is not None:
        looked = (
            _exact("lowest frequency", span.lowest_hz, unit="Hz"),
            _exact("highest frequency", span.highest_hz, unit="Hz"),
            _exact("target for u(Q)/Q", span.target, unit="fraction"),
            _exact("most readings", span.most_readings, unit="fraction"),
        )
    return (
        *looked,
        _exact("generator e.m.f.", file.generator.level_v, unit="V"),
        Condition(name="fixture", value=file.fixture.kind),
        *(one for one in conditions(stated_in(tank)) if one.name not in left_out),
    )


def _exact(name: str, value: float, *, unit: Unit) -> Condition:
    return Condition(name=name, value=Stated(value=value), unit=unit)
