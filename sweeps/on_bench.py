"""What every procedure does on a bench: guard, run the plan, keep proof."""

from dataclasses import dataclass
from importlib.metadata import version
from typing import Protocol

from ..analysis.coil import Tank
from ..analysis.quantities import Unit, describe
from ..analysis.result import Caution, Evidence
from ..analysis.stated import Stated
from ..drivers.bench_file import BenchFile
from ..drivers.errors import SettingError
from .guard import TankGuard
from .planner import PeakGoal, PeakPlanner
from .resonate import DrivenBench, resonate
from .sink import Sink

__all__ = [
    "EXPONENTS",
    "IdentifiedBench",
    "Span",
    "collect_evidence",
    "sweep_tank",
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

TANK_UNITS: dict[str, Unit] = {
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
}


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
    """

    lowest_hz: float
    highest_hz: float
    target: float = 0.002
    most_readings: int = 200

    def goal(self, file: BenchFile) -> PeakGoal:
        """Say what the planner is to reach on a bench."""
        return PeakGoal(
            lowest_hz=self.lowest_hz,
            highest_hz=self.highest_hz,
            exponent=EXPONENTS[file.fixture.kind],
            target=self.target,
            most_readings=self.most_readings,
            generator_highest_hz=file.limits.highest_frequency_hz,
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


def sweep_tank(
    bench: IdentifiedBench, span: Span, *, tank: Tank, sink: Sink
) -> PeakPlanner:
    """Find and measure a tank's resonance, with its voltage guarded.

    Returns
    -------
    PeakPlanner
        Done, with the readings and the fit.

    Raises
    ------
    SweepError, GuardError, SettingError, DriverError
        The output is off by then, and the sink has every reading taken.
    """
    file = bench.file
    limits = file.limits
    for edge_hz in (span.lowest_hz, span.highest_hz):
        if not limits.lowest_frequency_hz <= edge_hz <= limits.highest_frequency_hz:
            raise SettingError(
                f"the span reaches to {edge_hz / 1e6:.6g} MHz, outside the bench "
                f"file's limits of {limits.lowest_frequency_hz / 1e6:.6g} to "
                f"{limits.highest_frequency_hz / 1e6:.6g} MHz",
                frequency_hz=edge_hz,
            )
    planner = PeakPlanner(span.goal(file))
    guard = TankGuard(
        tank, emf_v=file.generator.level_v, limit_v=file.limits.tank_voltage_v
    )
    # The prediction rises with frequency: E wCc against a resistance of Q/(wT).
    guard.check_before(span.highest_hz)
    return resonate(bench, planner, sink=sink, watch=guard.watch)


def target_cautions(planner: PeakPlanner) -> tuple[Caution, ...]:
    """Say so where the readings were spent before the target was reached."""
    found = planner.resonance
    reached = found.u_loaded_q / found.loaded_q
    if reached <= planner.goal.target:
        return ()
    return (
        Caution(
            code="target_not_reached",
            text=f"the {len(planner.readings)} readings allowed give the loaded Q to "
            f"{100.0 * reached:.2g} %, not to the {100.0 * planner.goal.target:.2g} % "
            "asked for; allow more readings",
        ),
    )


def collect_evidence(
    bench: IdentifiedBench,
    span: Span,
    *,
    tank: Tank,
    planner: PeakPlanner,
    begun: str,
) -> Evidence:
    """Put together what a result was made from."""
    file = bench.file
    settings = {
        "lowest frequency": describe(Stated(value=span.lowest_hz), unit="Hz"),
        "highest frequency": describe(Stated(value=span.highest_hz), unit="Hz"),
        "target for u(Q)/Q": repr(span.target),
        "most readings": str(span.most_readings),
        "generator e.m.f.": describe(Stated(value=file.generator.level_v), unit="V"),
        "fixture": file.fixture.kind,
    } | {
        name: describe(stated, unit=TANK_UNITS[name])
        for name, stated in tank.stated.items()
    }
    return Evidence(
        readings=tuple(planner.readings),
        used=planner.used,
        settings=tuple(settings.items()),
        instruments=tuple(bench.identities.items()),
        found=planner.resonance,
        software=f"halfpower {version('halfpower')}",
        begun=begun,
    )
