"""The tank's voltage is watched while it is driven, whatever is measured."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace

import pytest

from halfpower.analysis import (
    Reading,
    Result,
    Setting,
    Stated,
    parse_stated,
)
from halfpower.analysis.tank import SheetSample
from halfpower.cli.at_bench import SceneAttendant
from halfpower.drivers import Bench
from halfpower.sim import SimulatedBench
from halfpower.sweeps import (
    CapacitorJob,
    Expected,
    FixtureJob,
    KnownCapacitor,
    KnownParts,
    Session,
    SheetJob,
    Span,
    WorkCoil,
    measure_capacitor,
    measure_coil,
    measure_fixture,
    measure_resonance,
    measure_sheet,
)
from halfpower.sweeps.errors import GuardError, NoResonanceError
from halfpower.sweeps.lots import PartBench, parse_lot_text
from halfpower.sweeps.run import Arrangement, Progress

OpenOnScene = Callable[..., AbstractContextManager[tuple[Bench, SimulatedBench]]]
Measure = Callable[[Bench, Session], object]

SPAN = Span(lowest_hz=1.5e6, highest_hz=4e6)
SELF = parse_stated("4pF +- 0.4pF", "F")
TANK, SMALL = (
    KnownCapacitor(capacitance_f=parse_stated(f"{pf}pF +- 1%", "F")) for pf in (150, 68)
)
PARALLEL = CapacitorJob(tank=TANK, self_capacitance_f=SELF, method="parallel")
SHEET = SheetJob(
    sample=SheetSample(
        thickness_m=Stated(value=1.6e-3),
        width_m=Stated(value=60e-3),
        length_m=Stated(value=60e-3),
    ),
    tank=TANK,
    self_capacitance_f=SELF,
)
CHOKES = """\
[lot]
name = "invented"
procedure = "coil"
[measure]
from = "700kHz"
to = "2.2MHz"
capacitor = "470pF +- 1%"
self_capacitance = "4pF +- 1pF"
"""


@dataclass
class Kept:
    """Keeps what it is handed, in order, by the step."""

    steps: list[str] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)

    def reading(self, reading: Reading, *, progress: Progress) -> None:
        """Keep it."""
        self.steps.append(progress.step)
        self.readings.append(reading)

    def taken_back(self, reading: Reading) -> None:
        """Nobody does."""

    def result(self, result: Result) -> None:
        """There is to be none."""
        pytest.fail(f"a result came of it: {result}")


def session(simulated: SimulatedBench, sink: Kept) -> Session:
    """Give a session in which the scene's hand does what is asked."""
    return Session(attendant=SceneAttendant(simulated, tell=lambda _: None), sink=sink)


def limit(bench: Bench, volts: float) -> None:
    """Lower a bench's limit."""
    limits = bench.file.limits.model_copy(update={"tank_voltage_v": volts})
    bench.file = bench.file.model_copy(update={"limits": limits})


def coil(bench: Bench, session: Session) -> Result:
    """Measure a coil on one capacitor."""
    span = Span(lowest_hz=4e6, highest_hz=10e6)
    return measure_coil(
        bench, span, known=KnownParts(capacitors=(TANK,)), session=session
    )


def coil_on_several(bench: Bench, session: Session) -> Result:
    """Measure a coil on two capacitors."""
    known = KnownParts(capacitors=(SMALL, TANK))
    return measure_coil(
        bench, Span(lowest_hz=2e6, highest_hz=5e6), known=known, session=session
    )


def sweep(bench: Bench, session: Session) -> Result:
    """Measure whatever resonates."""
    return measure_resonance(
        bench, Span(lowest_hz=4e6, highest_hz=10e6), session=session
    )


def capacitor(bench: Bench, session: Session) -> Result:
    """Measure a capacitor by two sweeps."""
    return measure_capacitor(bench, SPAN, job=PARALLEL, session=session)


def by_dial(bench: Bench, session: Session) -> Result:
    """Measure a capacitor at one frequency."""
    job = CapacitorJob(method="dial", frequency_hz=2e6)
    return measure_capacitor(bench, SPAN, job=job, session=session)


def sheet(bench: Bench, session: Session) -> Result:
    """Measure a sheet."""
    return measure_sheet(bench, SPAN, job=SHEET, session=session)


def fixture(bench: Bench, session: Session) -> Result:
    """Measure what the fixture adds."""
    job = FixtureJob(
        coils=(WorkCoil(name="W1", self_capacitance_f=SELF),), capacitors=(SMALL, TANK)
    )
    return measure_fixture(
        bench, Span(lowest_hz=1e6, highest_hz=9e6), job=job, session=session
    )


def lot(bench: Bench, session: Session) -> object:
    """Measure a part of a lot."""
    return PartBench(
        bench=bench,
        lot=parse_lot_text(CHOKES, "invented.toml"),
        attendant=session.attendant,
        now=lambda: "2001-02-03T04:05:06Z",
        sink=session.sink,
    ).measure("L1")


# The coupling is said to be a hundredth of what it is, so that the prediction,
# E Cc Q/T with Q = 400, stays below 1 V * 0.01 pF * 400/15 pF = 0.27 V on an empty
# fixture and 0.03 V on 150 pF and more; the tank stands at a volt and more
# (E Cc Q/T = 1 pF/165 pF * 168 and up), a choke of Q = 50 on 470 pF at 0.1 V.
@pytest.mark.parametrize(
    ("measure", "scene", "limit_v"),
    [
        (coil, "kit-coil", 0.5),
        (coil_on_several, "coil-set", 0.5),
        (sweep, "kit-coil", 0.5),
        (capacitor, "capacitor-drawer", 0.5),
        (by_dial, "mica-capacitor", 0.5),
        (sheet, "board-sheet", 0.5),
        (fixture, "coil-set", 0.5),
        (lot, "choke-lot", 0.05),
    ],
)
def test_what_the_prediction_missed_stops_every_procedure(
    open_on_scene: OpenOnScene, measure: Measure, scene: str, limit_v: float
) -> None:
    """The first reading above the limit is the last that is taken, and is kept."""
    kept = Kept()
    with open_on_scene(scene) as (bench, simulated):
        less = {"coupling_capacitance": Stated(value=0.01e-12)}
        about = bench.file.fixture.model_copy(update=less)
        bench.file = bench.file.model_copy(update={"fixture": about})
        limit(bench, limit_v)
        with pytest.raises(GuardError, match="the sweep was stopped"):
            measure(bench, session(simulated, kept))
    above = [one.amplitude_v > limit_v for one in kept.readings]
    assert above == [False] * (len(above) - 1) + [True]


@pytest.mark.parametrize(
    ("measure", "scene", "step"),
    [(capacitor, "capacitor-drawer", "unknown"), (sheet, "board-sheet", "air")],
)
def test_a_voltage_in_a_later_step_is_not_taken_for_a_bad_part(
    open_on_scene: OpenOnScene,
    monkeypatch: pytest.MonkeyPatch,
    measure: Measure,
    scene: str,
    step: str,
) -> None:
    """From the second step on the tank stands a hundred times higher."""
    arranged: list[str] = []
    kept = Kept()
    with open_on_scene(scene) as (bench, simulated):
        read = bench.read

        def higher(setting: Setting) -> Reading:
            reading = read(setting)
            times = 100.0 if arranged[-1] == step else 1.0
            return replace(reading, amplitude_v=times * reading.amplitude_v)

        class Noting(SceneAttendant):
            """Notes the step."""

            def arrange(self, arrangement: Arrangement) -> None:
                super().arrange(arrangement)
                arranged.append(arrangement.step)

        monkeypatch.setattr(bench, "read", higher)
        attendant = Noting(simulated, tell=lambda _: None)
        with pytest.raises(GuardError, match="the sweep was stopped"):
            measure(bench, Session(attendant=attendant, sink=kept))
    assert arranged[-1] == kept.steps[-1] == step


def test_a_voltage_is_not_answered_by_the_series_method(
    open_on_scene: OpenOnScene, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A large capacitor that is expected goes in series where none was found: not so.

    At the second step the limit is lowered below what is predicted there, 1 V * 1 pF *
    400/168 pF = 2.4 V; in series the coil would have the fixture's 15 pF alone.
    """
    job = replace(
        PARALLEL, method="auto", expected_f=Expected(value=Stated(value=2e-9))
    )
    arranged: list[str] = []
    with open_on_scene("capacitor-drawer") as (bench, simulated):
        attendant = SceneAttendant(simulated, tell=lambda _: None)
        arrange = attendant.arrange

        def lowering(arrangement: Arrangement) -> None:
            arrange(arrangement)
            arranged.append(arrangement.step)
            limit(bench, 0.001)

        monkeypatch.setattr(attendant, "arrange", lowering)
        told = Session(attendant=attendant)
        with pytest.raises(GuardError, match="generator's level") as refused:
            measure_capacitor(bench, SPAN, job=job, session=told)
    assert arranged == ["reference"]
    assert refused.value.values["predicted_v"] < 2.5


def test_the_place_between_coil_and_capacitor_in_series_is_watched(
    open_on_scene: OpenOnScene,
) -> None:
    """A capacitor Cx in series on T = 168 pF stands at T/Cx of the tank's (a divider).

    For the sweep in series the limit is lowered to 1.2 of the highest reading there.
    """
    job = replace(PARALLEL, method="series")
    kept, free = Kept(), Kept()
    with open_on_scene("capacitor-drawer") as (bench, simulated):
        told = session(simulated, free)
        with pytest.raises(NoResonanceError, match="too small for that"):
            measure_capacitor(bench, SPAN, job=job, session=told)
    in_series = max(
        reading.amplitude_v
        for step, reading in zip(free.steps, free.readings, strict=True)
        if step == "series"
    )
    with open_on_scene("capacitor-drawer") as (bench, simulated):
        less = {"coupling_capacitance": Stated(value=0.01e-12)}
        about = bench.file.fixture.model_copy(update=less)
        bench.file = bench.file.model_copy(update={"fixture": about})

        class Lowering(SceneAttendant):
            """Lowers the limit for what comes after the first step."""

            def arrange(self, arrangement: Arrangement) -> None:
                super().arrange(arrangement)
                if arrangement.step == "reference":
                    limit(bench, 1.2 * in_series)

        told = Session(attendant=Lowering(simulated, tell=lambda _: None), sink=kept)
        with pytest.raises(GuardError, match="the sweep was stopped") as stopped:
            measure_capacitor(bench, SPAN, job=job, session=told)
    assert kept.steps[-1] == "series"
    times = stopped.value.values["tank_v"] / kept.readings[-1].amplitude_v
    unknown_f = simulated.truth["unknown.capacitance_f"]
    assert unknown_f < 130e-12
    assert times == pytest.approx(168e-12 / unknown_f, rel=0.05)


def test_the_guard_predicts_with_the_level_that_is_driven(
    open_on_scene: OpenOnScene,
) -> None:
    """20 V of e.m.f. on 150 pF is refused beforehand, the bench file's 1 V is not.

    E Cc Q/T = 20 V * 1 pF/168 pF * 400 = 48 V, less what the probe's 0.93 Mohm takes:
    w T/Q + G at 10 MHz is 26 + 1.1 uS and more, so 40 V and above, over 30 V.
    """
    kept = Kept()
    known = KnownParts(capacitors=(TANK,), levels_v=(0.5, 20.0))
    with (
        open_on_scene("kit-coil") as (bench, simulated),
        pytest.raises(GuardError, match="at 20 V the tank could reach 4"),
    ):
        measure_coil(
            bench,
            Span(lowest_hz=4e6, highest_hz=10e6),
            known=known,
            session=session(simulated, kept),
        )
    assert set(kept.steps) == {"", "at 500 mV"}


def test_the_dial_s_guard_predicts_at_the_dial_s_frequency(
    open_on_scene: OpenOnScene,
) -> None:
    """A probe of 100 kohm loads a tank of 50 pF less, the higher the frequency.

    E w Cc/(w T/400 + 1/R) with Cc = 1 pF and T = 30 pF on the dial, 5 pF of stray, 10
    of probe, 1 of coupling and 2.5 of a usual coil: 1.08 V at 2 MHz, 0.12 V at 0.2 MHz
    (12.57 uS over 1.52 + 10.06 uS, and the like at a tenth).
    """
    kept = Kept()
    with open_on_scene("mica-capacitor") as (bench, simulated):
        loading = {"input_resistance": Stated(value=1e5)}
        detector = bench.file.detector.model_copy(update=loading)
        bench.file = bench.file.model_copy(update={"detector": detector})
        limit(bench, 0.5)
        with pytest.raises(GuardError, match=r"could reach 1\.08 V"):
            by_dial(bench, session(simulated, kept))
    assert kept.readings == []
