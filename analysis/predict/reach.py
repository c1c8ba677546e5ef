"""What a capacitor would do with an inductance on a bench, before anything is driven.

The tank's resonance is solved, with the fixture
on it, and the coil deduced from the readings that would be taken there. What those
are worth at best is known beforehand: with N readings of relative noise s = sigma/A,

    u(Q)/Q >= 4 s/sqrt(N),        u(f0)/f0 >= sqrt(6.75)/(2 Q) s/sqrt(N)

(Cramer and Rao's bound on a peak with unknown height). Readings placed for Q, a third
on the peak and a third on each side at half of it, reach the first and give f0 to
sqrt(8)/Q s/sqrt(N).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import ROUND_DOWN, Context

import numpy as np

from ..errors import AnalysisError, InputError
from ..fitting import LARGEST_Q_DOUBT
from ..quantity import Quantity, format_quantity
from ..reading import ring_up_s
from ..tank import Resonance, Tank, deduce_coil, tank_shunt
from ..uncertainty import Joint, values_of

__all__ = [
    "BenchReach",
    "Candidate",
    "ReadingPlan",
    "Use",
    "foresee",
    "quality_bound",
    "resonance_bound",
]

BOUND_Q = 4.0
BOUND_F0 = math.sqrt(8.0)  # times 1/Q; readings for f0 alone reach sqrt(6.75)/2
STRAYS = (
    "coil's self-capacitance",
    "fixture's stray",
    "probe capacitance",
    "coupling capacitor",
    "output coupling capacitor",
    "lead inductance",
)
SIDES = 3.0  # half-bandwidths about a resonance that readings are taken in
SWEPT = (0.8, 1.0, 1.25)  # of the resonance: there a sweep for it drives the tank
SAFE = Context(prec=1, rounding=ROUND_DOWN)  # what is called safe must be so
SAME = 1e-12  # relative change at which the resonance is solved
MOST_NOISE = 0.3  # of the peak; with more there is none
LOADED = 0.5  # share of the loss that is the fixture's, from which it is said


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchReach:
    """What the bench reaches.

    Attributes
    ----------
    lowest_hz, highest_hz
        The generator's range in Hz.
    tank_limit_v
        The tank's highest voltage, V r.m.s.
    level_v
        The generator's e.m.f., V r.m.s.
    settle_s
        What the instruments take for each reading, in s.
    """

    lowest_hz: float
    highest_hz: float
    tank_limit_v: float
    level_v: float
    settle_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingPlan:
    """What is expected of coil and readings.

    Attributes
    ----------
    coil_q
        The coil's own Q, > 0.
    n_readings
        Readings about the peak, 3 or more.
    noise
        A reading's standard deviation over the peak's height, > 0.
    noise_v
        The same in V r.m.s. at the tank instead, > 0: then a tank that is driven to
        a lower voltage is read worse.
    """

    coil_q: float = 200.0
    n_readings: int = 60
    noise: float = 0.001
    noise_v: float | None = None

    def __post_init__(self) -> None:
        """Refuse a plan that cannot be."""
        if not 1.0 <= self.coil_q <= 1e6:  # noqa: PLR2004 - wider than any coil
            raise InputError(f"a coil's Q is 1 to 1e6, not {self.coil_q:g}")
        if not 3 <= self.n_readings <= 1_000_000:  # noqa: PLR2004 - three fix a peak
            raise InputError(
                f"a peak takes 3 readings or more, up to a million, not "
                f"{self.n_readings}"
            )
        if not 0.0 < self.noise <= MOST_NOISE:
            raise InputError(
                f"a reading's noise is above 0 and up to {MOST_NOISE:.0%} of the peak, "
                f"not {self.noise * 100.0:g} %"
            )
        if self.noise_v is not None and not 0.0 < self.noise_v < math.inf:
            raise InputError(f"a reading's noise is above 0, not {self.noise_v:g} V")


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A capacitor at hand, in its tank.

    Attributes
    ----------
    name
        What it is called.
    tank
        Everything but the coil; the coil's self-capacitance as expected.
    tank_voltage_v
        Predicts the tank's voltage (V r.m.s.) at a resonance at a frequency in Hz.
    """

    name: str
    tank: Tank
    tank_voltage_v: Callable[[float], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """One capacitor with one inductance.

    Attributes
    ----------
    inductance_h, resonant_frequency_hz, loaded_q
        The coil, and the tank's resonance with it.
    fixture_q
        The highest loaded Q that the fixture, its capacitor and leads allow.
    fixture_share
        Their share of the whole loss, 0 to 1.
    peak_v
        The tank's voltage at the resonance, V r.m.s.
    noise
        A reading's standard deviation over it.
    tank_voltage_v
        Predicted for the guard, the highest of a sweep about the resonance, V r.m.s.
    seconds
        For the readings about the peak.
    u_resonant_frequency, u_loaded_q
        Relative standard uncertainties from the readings' noise alone.
    u_inductance, u_unloaded_q
        Relative standard uncertainties with everything in them; infinite where the
        coil cannot be deduced.
    u_from_strays
        What the doubt of strays, leads and self-capacitance brings to the inductance.
    inductance_doubt, q_doubt
        Where most of them comes from.
    obstacles
        Why it cannot be done; empty where it can.
    cautions
        What must be minded.
    """

    inductance_h: float
    resonant_frequency_hz: float
    loaded_q: float
    fixture_q: float
    fixture_share: float
    peak_v: float
    noise: float
    tank_voltage_v: float
    seconds: float
    u_resonant_frequency: float
    u_loaded_q: float
    u_inductance: float | None = None
    u_unloaded_q: float | None = None
    u_from_strays: float | None = None
    inductance_doubt: str = ""
    q_doubt: str = ""
    obstacles: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def cost(self) -> float:
        """The two relative uncertainties together; infinite where it cannot be."""
        if self.obstacles or self.u_inductance is None or self.u_unloaded_q is None:
            return math.inf
        return math.hypot(self.u_inductance, self.u_unloaded_q)


def quality_bound(*, noise: float, n_readings: int) -> float:
    """Return the least u(Q)/Q of N readings of relative noise s: 4 s/sqrt(N)."""
    return BOUND_Q * noise / math.sqrt(n_readings)


def resonance_bound(*, noise: float, n_readings: int, loaded_q: float) -> float:
    """Return u(f0)/f0 of readings that are placed for Q: sqrt(8)/Q s/sqrt(N)."""
    return BOUND_F0 / loaded_q * noise / math.sqrt(n_readings)


def foresee(
    candidate: Candidate, *, inductance_h: float, bench: BenchReach, plan: ReadingPlan
) -> Use:
    """Say what one capacitor would do with one inductance.

    Parameters
    ----------
    candidate, bench, plan
        The capacitor in its tank, the bench's limits, coil and readings expected.
    inductance_h
        The coil's, in H, > 0.

    Raises
    ------
    InputError
        The inductance is not above zero.
    """
    if not (math.isfinite(inductance_h) and inductance_h > 0.0):
        raise InputError(f"an inductance is above zero, not {inductance_h:g} H")
    frequency_hz, loaded_q, fixture_q = _resonance(candidate.tank, inductance_h, plan)
    peak_v = _peak_v(candidate.tank, bench, frequency_hz, loaded_q=loaded_q)
    noise = plan.noise if plan.noise_v is None else plan.noise_v / peak_v
    count = plan.n_readings
    u_f0 = resonance_bound(noise=noise, n_readings=count, loaded_q=loaded_q)
    use = Use(
        inductance_h=inductance_h,
        resonant_frequency_hz=frequency_hz,
        loaded_q=loaded_q,
        fixture_q=fixture_q,
        fixture_share=loaded_q / fixture_q,
        peak_v=peak_v,
        noise=noise,
        tank_voltage_v=max(
            candidate.tank_voltage_v(share * frequency_hz) for share in SWEPT
        ),
        seconds=count * (ring_up_s(frequency_hz, q=loaded_q) + bench.settle_s),
        u_resonant_frequency=u_f0,
        u_loaded_q=quality_bound(noise=noise, n_readings=count),
    )
    return _judged(_deduced(use, candidate.tank), bench)


def _resonance(
    tank: Tank, inductance_h: float, plan: ReadingPlan
) -> tuple[float, float, float]:
    """Solve w^2 L T = 1 + R G, 1/Q = w (R T + L G)/(1 + R G) with its leads."""
    values: Tank[float] = values_of(tank)
    loop_h = inductance_h + tank.lead_h.value
    omega = (loop_h * tank.capacitor_f.value) ** -0.5
    for _ in range(100):
        shunt = tank_shunt(values, omega=omega)
        coil_ohm = omega * inductance_h / plan.coil_q
        loop_ohm = coil_ohm + tank.lead_ohm.value
        damping = 1.0 + loop_ohm * shunt.conductance_s
        before, omega = omega, math.sqrt(damping / (loop_h * shunt.capacitance_f))
        if abs(omega - before) < SAME * omega:
            break
    loss = loop_ohm * shunt.capacitance_f + loop_h * shunt.conductance_s
    loaded_q = damping / (omega * loss)
    fixture = tank.lead_ohm.value * shunt.capacitance_f + loop_h * shunt.conductance_s
    return omega / (2.0 * math.pi), loaded_q, damping / (omega * fixture)


def _peak_v(
    tank: Tank, bench: BenchReach, frequency_hz: float, *, loaded_q: float
) -> float:
    """Give E wCc/|1 + jwCcR| times the tank's resistance Q/(wT), V r.m.s."""
    omega = 2.0 * math.pi * frequency_hz
    values: Tank[float] = values_of(tank)
    total_f = float(tank_shunt(values, omega=omega).capacitance_f)
    coupling = omega * tank.coupling_f.value
    drive_a = (
        bench.level_v * coupling / math.hypot(1.0, coupling * tank.source_ohm.value)
    )
    return drive_a * loaded_q / (omega * total_f)


def _deduced(use: Use, tank: Tank) -> Use:
    """Add what the coil would be known to."""
    u_f0_hz = use.u_resonant_frequency * use.resonant_frequency_hz
    pair = Joint.of_one(
        (use.resonant_frequency_hz, use.loaded_q),
        covariance=np.diag([u_f0_hz**2, (use.u_loaded_q * use.loaded_q) ** 2]),
    )
    try:
        deduced = deduce_coil(tank, measured=Resonance.of(pair))
    except AnalysisError as error:
        return replace(use, obstacles=(str(error),))
    found = {one.name: one for one in deduced}
    inductance, q = found["inductance"], found["unloaded_q"]
    strays = math.hypot(*(one.u for one in inductance.budget if one.source in STRAYS))
    return replace(
        use,
        u_inductance=inductance.standard_uncertainty / inductance.value,
        u_unloaded_q=q.standard_uncertainty / q.value,
        u_from_strays=strays / inductance.value,
        inductance_doubt=_main_doubt(inductance),
        q_doubt=_main_doubt(q),
    )


def _main_doubt(deduced: Quantity) -> str:
    return deduced.budget[0].source if deduced.budget else ""


def _judged(use: Use, bench: BenchReach) -> Use:
    """Add what stands in the way, and what must be minded."""
    obstacles, cautions = list(use.obstacles), []
    side_hz = SIDES * use.resonant_frequency_hz / (2.0 * use.loaded_q)
    at = f"it resonates at {_hertz(use.resonant_frequency_hz)}"
    if use.resonant_frequency_hz + side_hz > bench.highest_hz:
        obstacles.append(f"{at}, above the bench's {_hertz(bench.highest_hz)}")
    if use.resonant_frequency_hz - side_hz < bench.lowest_hz:
        obstacles.append(f"{at}, below the bench's {_hertz(bench.lowest_hz)}")
    if use.noise > MOST_NOISE:
        obstacles.append(f"its peak of {use.peak_v:.2g} V drowns in the noise")
    obstacles += [
        f"its {what} would be known to no better than {u * 100.0:.2g} %, for the "
        f"{doubt}"
        for what, u, doubt in (
            ("inductance", use.u_inductance, use.inductance_doubt),
            ("Q", use.u_unloaded_q, use.q_doubt),
        )
        if u is not None and u > LARGEST_Q_DOUBT
    ]
    if use.tank_voltage_v > bench.tank_limit_v:
        safe_v = SAFE.create_decimal(
            bench.level_v * bench.tank_limit_v / use.tank_voltage_v
        )
        cautions.append(
            f"the tank could reach {use.tank_voltage_v:.2g} V, above the limit of "
            f"{bench.tank_limit_v:.3g} V: set the level to {float(safe_v):g} V or less"
        )
    if use.fixture_share > LOADED:
        cautions.append(f"{use.fixture_share:.0%} of the loss is the fixture's")
    return replace(use, obstacles=tuple(obstacles), cautions=tuple(cautions))


def _hertz(frequency_hz: float) -> str:
    number, _, unit = format_quantity(frequency_hz, u=0.0, unit="Hz")
    return f"{number} {unit}"
