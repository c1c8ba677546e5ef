"""Capacitor, sheet and coil with several capacitors, on simulated scenes."""

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from halfpower.analysis import (
    AnalysisError,
    InputError,
    Judged,
    Reading,
    Result,
    Stated,
    parse_stated,
)
from halfpower.analysis.tank import SheetSample
from halfpower.cli.at_bench import SceneAttendant, bundled_bench_file
from halfpower.drivers import Bench, load_bench_file, open_bench
from halfpower.sim import SimulatedBench, load_scene, open_visa
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
from halfpower.sweeps.errors import NoResonanceError
from halfpower.sweeps.run import Arrangement, Progress, Stored

SPAN = Span(lowest_hz=1.5e6, highest_hz=4e6)
TANK = KnownCapacitor(
    capacitance_f=parse_stated("150pF +- 1%", "F"),
    loss=parse_stated("0.0001 +- 0.00005", "fraction"),
)
SELF = parse_stated("4pF +- 0.4pF", "F")
PARALLEL = CapacitorJob(tank=TANK, self_capacitance_f=SELF, method="parallel")
SIDE = Stated.within(60e-3, half_width=0.06e-3)
SAMPLE = SheetSample(
    thickness_m=Stated.within(1.6e-3, half_width=0.02e-3),
    width_m=SIDE,
    length_m=SIDE,
    bond_m=Stated.within(15e-6, half_width=5e-6),
)


class Changed(SceneAttendant):
    """The scene's hand, and what it is told to do besides."""

    def __init__(
        self,
        simulated: SimulatedBench,
        after: Callable[[Arrangement, SimulatedBench], None] | None = None,
    ) -> None:
        super().__init__(simulated, tell=lambda _: None)
        self.steps: list[str] = []
        self._bench, self._after = simulated, after

    def arrange(self, arrangement: Arrangement) -> None:
        """Do it, note it, and do what is asked besides."""
        super().arrange(arrangement)
        self.steps.append(arrangement.step)
        if self._after is not None:
            self._after(arrangement, self._bench)


@contextmanager
def on_scene(
    tmp_path: Path, scene: str, unknown: str = ""
) -> Iterator[tuple[Bench, SimulatedBench]]:
    """Open a scene's bench, another unknown in it where one is given."""
    simulated = load_scene(scene).build(seed=3)
    if unknown:
        text = (scene_folder() / f"{scene}.toml").read_text(encoding="utf-8")
        changed = tmp_path / "changed.toml"
        head = text.split("[parts.unknown]")[0]
        changed.write_text(f"{head}[parts.unknown]\n{unknown}", encoding="utf-8")
        simulated = load_scene(changed).build(seed=3)
    manager = open_visa(simulated)
    path = bundled_bench_file(scene)
    try:
        with open_bench(
            load_bench_file(path),
            folder=path.parent,
            manager=manager,
            sleep=simulated.clock.sleep,
            clock=lambda: simulated.clock.now_s,
        ) as bench:
            yield bench, simulated
    finally:
        manager.close()


def scene_folder() -> Path:
    """Where the bundled scenes stand."""
    return Path(str(resources.files("halfpower.sim"))) / "scenes"


def holds(result: Result, name: str, true: float, *, most_u: float) -> bool:
    """Whether a 95 % interval, widened by a half, holds the truth and is no wider.

    ``most_u`` is worked out by hand from what is stated: u of 150 pF +- 1 % is 0.87 pF,
    of the probe's +- 1 pF 0.58 pF, of the stray's +- 0.5 pF 0.29 pF, of the coil's
    +- 0.4 pF 0.23 pF and of the coupling's +- 0.1 pF 0.06 pF; together 1.1 pF of the
    tank's 150 + 10 + 5 + 4 + 1 = 170 pF, which is 0.65 %. A tenth more is left for the
    readings. The tank's loss goes with f^(0.5 +- 0.25).
    """
    quantity = result[name]
    u = quantity.standard_uncertainty
    return abs(quantity.value - true) < 3.0 * u <= 3.0 * most_u


def test_a_capacitor_across_the_tank_is_found(tmp_path: Path) -> None:
    """The scene's own value and loss; the attendant was asked twice, in order.

    u(C) is 0.65 % of 47 pF; u(D) = 0.25 ln(f1/f2) (217 pF/47 pF)/276, the coil's Q.
    """
    lossy = "kind = 'capacitor'\ncapacitance_f = 47e-12\ndissipation_factor = 0.02"
    with on_scene(tmp_path, "capacitor-drawer", lossy) as (bench, simulated):
        attendant = Changed(simulated)
        result = measure_capacitor(
            bench, SPAN, job=PARALLEL, session=Session(attendant=attendant)
        )
    assert attendant.steps == ["reference", "unknown"]
    assert holds(result, "capacitance", 47e-12, most_u=1.1 * 0.306e-12)
    assert holds(result, "dissipation_factor", 0.02, most_u=1.1 * 5.1e-4)
    assert [one.step for one in result.evidence.sweeps] == ["reference", "unknown"]


def test_a_large_one_goes_in_series_by_itself(tmp_path: Path) -> None:
    """Across 170 pF, 2.2 nF is large: the third sweep has it in series.

    u(C) is 0.65 % of it; u(D) = 0.25 ln(f1/f2) (2200 pF/158 pF)/285, 158 pF being both
    in series and 285 the coil's Q.
    """
    large = "kind = 'capacitor'\ncapacitance_f = 2.2e-9\ndissipation_factor = 0.01"
    with on_scene(tmp_path, "capacitor-drawer", large) as (bench, simulated):
        attendant = Changed(simulated)
        result = measure_capacitor(
            bench,
            SPAN,
            job=replace(PARALLEL, method="auto"),
            session=Session(attendant=attendant),
        )
    assert attendant.steps == ["reference", "unknown", "series"]
    assert holds(result, "capacitance", 2.2e-9, most_u=1.1 * 14.3e-12)
    assert holds(result, "dissipation_factor", 0.01, most_u=1.1 * 4.5e-4)
    assert "in series with the coil" in result.remarks[0]


@pytest.mark.parametrize("farad", ["20e-12", "60e-12", "90e-12"])
def test_one_too_small_to_go_in_series_is_sent_across_the_tank(
    tmp_path: Path, farad: str
) -> None:
    """Of 170 pF with the coil's own 4 pF in it, the least is 104 pF.

    The response's exponent 1 + 2 (m^2 - 1) is 4 at a rise m of the root of 2.5. There
    w^2 = 2.5/(L T), and the reactances of coil and own C, of the unknown and of the
    other 166 pF cancel: 1/Cx = 2.5/(170 - 2.5 x 4) - 1/166 = 1/104.1 (pF).
    """
    small = f"kind = 'capacitor'\ncapacitance_f = {farad}\ndissipation_factor = 0.002"
    with (
        on_scene(tmp_path, "capacitor-drawer", small) as (bench, simulated),
        pytest.raises(NoResonanceError, match=r"below about 104 pF.*across the tank"),
    ):
        measure_capacitor(
            bench,
            SPAN,
            job=replace(PARALLEL, method="series"),
            session=Session(attendant=Changed(simulated)),
        )


def test_the_least_that_goes_in_series_is_measured(tmp_path: Path) -> None:
    """110 pF is above 104: a value, its u a little above 0.65 %."""
    part = "kind = 'capacitor'\ncapacitance_f = 110e-12\ndissipation_factor = 0.002"
    with on_scene(tmp_path, "capacitor-drawer", part) as (bench, simulated):
        result = measure_capacitor(
            bench,
            SPAN,
            job=replace(PARALLEL, method="series"),
            session=Session(attendant=Changed(simulated)),
        )
    assert holds(result, "capacitance", 110e-12, most_u=1.2 * 0.72e-12)


def test_one_expected_too_small_for_series_is_refused_before_it_is_driven(
    tmp_path: Path,
) -> None:
    """68 pF +- 20 % is below 104 pF whatever it is; 100 pF +- 20 % may be above."""
    job = replace(PARALLEL, method="series")
    small = Expected(value=parse_stated("68pF +- 20%", "F"))
    part = "kind = 'capacitor'\ncapacitance_f = 110e-12\ndissipation_factor = 0.002"
    with on_scene(tmp_path, "capacitor-drawer", part) as (bench, simulated):
        attendant = Changed(simulated)
        session = Session(attendant=attendant)
        with pytest.raises(InputError, match=r"68 pF expected.*about 104 pF up"):
            measure_capacitor(
                bench, SPAN, job=replace(job, expected_f=small), session=session
            )
        assert attendant.steps == []
        doubtful = Expected(value=parse_stated("100pF +- 20%", "F"))
        measure_capacitor(
            bench, SPAN, job=replace(job, expected_f=doubtful), session=session
        )
        assert attendant.steps == ["reference", "series"]


def test_a_loss_too_small_to_tell_is_a_limit(tmp_path: Path) -> None:
    """D = 1e-5 cannot be resolved beside a coil of Q = 270: no value, a bound."""
    clean = "kind = 'capacitor'\ncapacitance_f = 47e-12\ndissipation_factor = 1e-5"
    with on_scene(tmp_path, "capacitor-drawer", clean) as (bench, simulated):
        result = measure_capacitor(
            bench, SPAN, job=PARALLEL, session=Session(attendant=Changed(simulated))
        )
    limit = result["dissipation_factor"].at_most
    assert limit is not None
    assert 1e-5 < limit < 0.01
    assert result["series_resistance"].at_most is not None
    assert "loss_not_resolved" in {one.code for one in result.warnings}


def test_an_unknown_that_kills_the_resonance_says_so(tmp_path: Path) -> None:
    """A part with D = 3 is a resistor; there is no value, and a sentence."""
    dead = "kind = 'capacitor'\ncapacitance_f = 300e-12\ndissipation_factor = 3.0"
    with (
        on_scene(tmp_path, "capacitor-drawer", dead) as (bench, simulated),
        pytest.raises(NoResonanceError, match="shorted or far too lossy"),
    ):
        measure_capacitor(
            bench, SPAN, job=PARALLEL, session=Session(attendant=Changed(simulated))
        )


def test_a_part_that_was_on_all_the_time_added_nothing(tmp_path: Path) -> None:
    """The unknown hangs on the tank in the first sweep too: no capacitance came."""
    lossy = "kind = 'capacitor'\ncapacitance_f = 20e-12\ndissipation_factor = 0.05"

    def spoil(arrangement: Arrangement, bench: SimulatedBench) -> None:
        if arrangement.step == "reference":
            bench.connect("unknown")

    with (
        on_scene(tmp_path, "capacitor-drawer", lossy) as (bench, simulated),
        pytest.raises(AnalysisError, match="no capacitance was added"),
    ):
        measure_capacitor(
            bench,
            SPAN,
            job=PARALLEL,
            session=Session(attendant=Changed(simulated, spoil)),
        )


def test_a_marking_and_an_expectation_are_held_against_the_value(
    tmp_path: Path,
) -> None:
    """What was said stands beside what was measured, with a verdict."""
    part = "kind = 'capacitor'\ncapacitance_f = 101e-12\ndissipation_factor = 0.01"
    expected = Expected(value=parse_stated("150pF +- 5%", "F"))
    with on_scene(tmp_path, "capacitor-drawer", part) as (bench, simulated):
        result = measure_capacitor(
            bench,
            SPAN,
            job=replace(PARALLEL, expected_f=expected),
            session=Session(attendant=Changed(simulated)),
        )
    (judged,) = result.judged
    assert "expected as 150 pF ± 5 %" in judged.text
    assert "do not agree" in judged.text
    assert (judged.about, judged.outcome, result.verdict) == (
        "expected",
        Judged.DOES_NOT_FIT,
        Judged.DOES_NOT_FIT,
    )


def test_a_sheet_is_found_with_its_gap_to_the_calculated_air_value(
    tmp_path: Path,
) -> None:
    """Permittivity and loss of the scene; the remark shows both air values.

    u(e)/e: the bond's 2.9 um of air count 4.4 times in 1.6 mm, 0.8 %; the thickness's
    12 um are 0.7 %, the tank's 0.65 %: 1.25 % of 4.4 at the most, since the same plates
    in air take some of it out. u(tan d) = 0.25 ln(f1/f2) (259 pF/89 pF)/262, 7 % more
    for edge and bond, and 1.5e-4 for the bond itself: 6.5e-4.
    """
    with on_scene(tmp_path, "board-sheet") as (bench, simulated):
        attendant = Changed(simulated)
        result = measure_sheet(
            bench,
            SPAN,
            job=SheetJob(sample=SAMPLE, tank=TANK, self_capacitance_f=SELF),
            session=Session(attendant=attendant),
        )
        truth = simulated.truth
    assert attendant.steps == ["reference", "air", "sheet"]
    assert holds(
        result,
        "relative_permittivity",
        truth["unknown.relative_permittivity"],
        most_u=0.055,
    )
    f0 = result.evidence.sweeps[-1].found.resonant_frequency_hz
    loss = truth["unknown.loss_tangent"] * (f0 / 1e6) ** 0.05
    assert holds(result, "loss_tangent", loss, most_u=1.1 * 6.5e-4)
    assert "In air the plates measure" in result.remarks[0]
    assert "glass-epoxy board" in result.remarks[1]


def test_the_second_thickness_belongs_to_its_method() -> None:
    """Neither without the other."""
    with pytest.raises(InputError, match="second sheet"):
        SheetJob(sample=SAMPLE, method="two-thicknesses")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"thickness_m": Stated(value=0.0)}, "above zero"),
        ({"width_m": None}, "diameter or rectangles"),
        ({"thickness_m": Stated(value=1e-3, u=3e-4)}, "too widely"),
        ({"bond_m": Stated(value=2e-3)}, "not between 0"),
        ({"bond_permittivity": Stated(value=0.5)}, "1 or more"),
    ],
)
def test_plates_and_sheets_that_cannot_be_are_refused(
    change: dict[str, Any], says: str
) -> None:
    """One sentence each, before anything is driven."""
    with pytest.raises(InputError, match=says):
        replace(SAMPLE, **change)


FOUR = KnownParts(
    capacitors=tuple(
        KnownCapacitor(capacitance_f=parse_stated(f"{pf}pF +- 1%", "F"), loss=TANK.loss)
        for pf in (68, 150, 330, 680)
    )
)


def test_several_capacitors_give_the_self_capacitance_too(tmp_path: Path) -> None:
    """L, Cs and f_self of the scene; Q at each capacitor stands beside its sweep.

    L is no worse than on one capacitor of 1 % with all else known, 0.58 %. Two alone, r
    = 700/88 apart in what is on the coil, would give C0 = (C2 - r C1)/(r - 1) to 0.72
    pF, and probe and stray, which are in it, 0.65 pF: 0.97 pF.
    """
    with on_scene(tmp_path, "coil-set") as (bench, simulated):
        result = measure_coil(
            bench,
            Span(lowest_hz=2e6, highest_hz=5e6),
            known=FOUR,
            session=Session(attendant=Changed(simulated)),
        )
        truth = simulated.truth
    henry = truth["coil.inductance_h"]
    assert holds(result, "inductance", henry, most_u=0.0058 * henry)
    own_f = truth["coil.self_capacitance_f"]
    assert holds(result, "self_capacitance", own_f, most_u=0.97e-12)
    qualities = [
        next(q.value for q in one.quantities if q.name == "unloaded_q")
        for one in result.evidence.sweeps
    ]
    assert len(qualities) == 4
    assert qualities == sorted(qualities, reverse=True)  # R goes as a root of f


def test_a_fixture_s_stray_is_found(tmp_path: Path) -> None:
    """By one coil on two capacitors: the scene's stray and coil.

    C0 = (C2 - r C1)/(r - 1) with r = 170/88 is known to 1.24 pF, probe and coil take
    0.62 pF more: 1.38 pF. L goes with 1/(C2 - C1): 0.95 pF of 82 pF, 1.16 %.
    """
    job = FixtureJob(
        coils=(WorkCoil(name="W1", self_capacitance_f=SELF),),
        capacitors=FOUR.capacitors[:2],
    )
    with on_scene(tmp_path, "coil-set") as (bench, simulated):
        result = measure_fixture(
            bench,
            Span(lowest_hz=2e6, highest_hz=5e6),
            job=job,
            session=Session(attendant=Changed(simulated)),
        )
        truth = simulated.truth
    stray_f = truth["fixture.stray.capacitance_f"]
    assert holds(result, "stray_capacitance", stray_f, most_u=1.1 * 1.38e-12)
    henry = truth["coil.inductance_h"]
    assert holds(result, "inductance, W1", henry, most_u=1.1 * 0.0116 * henry)


def test_the_drive_is_followed(tmp_path: Path) -> None:
    """A ferrite coil is measured at each level, and the change is a sentence."""
    known = KnownParts(capacitors=(TANK,), levels_v=(0.1, 1.0))
    with on_scene(tmp_path, "ferrite-coil") as (bench, simulated):
        result = measure_coil(
            bench,
            Span(lowest_hz=1e6, highest_hz=3e6),
            known=known,
            session=Session(attendant=Changed(simulated)),
        )
    low, high = result.evidence.sweeps[1:]
    assert high.found.amplitude_v == pytest.approx(
        10.0 * low.found.amplitude_v, rel=0.1
    )
    assert "From 100 mV to 1 V" in result.remarks[0]


def test_no_capacitor_leaves_the_coil_to_itself(tmp_path: Path) -> None:
    """Coil, stray and probe alone: L honestly uncertain, and it holds the truth.

    0.69 pF without the known capacitor's, of 20 pF: 3.4 %.
    """
    with on_scene(tmp_path, "capacitor-drawer") as (bench, simulated):
        result = measure_coil(
            bench,
            Span(lowest_hz=4e6, highest_hz=14e6),
            known=KnownParts(self_capacitance_f=SELF),
            session=Session(attendant=Changed(simulated)),
        )
        truth = simulated.truth["coil.inductance_h"]
    assert holds(result, "inductance", truth, most_u=1.1 * 0.034 * truth)
    inductance = result["inductance"]
    assert inductance.standard_uncertainty > 0.01 * inductance.value


class Interrupted:
    """A sink that keeps everything and stops after some readings."""

    def __init__(self, after: int) -> None:
        self.kept: dict[str, list[Reading]] = {}
        self._left = after

    def reading(self, reading: Reading, *, progress: Progress) -> None:
        """Keep it, and stop when enough are kept."""
        self.kept.setdefault(progress.step, []).append(reading)
        self._left -= 1
        if self._left == 0:
            raise KeyboardInterrupt

    def taken_back(self, reading: Reading) -> None:
        """Nobody does."""

    def result(self, result: Result) -> None:
        """Not reached the first time."""


@pytest.mark.parametrize("after", [10, 80, 130])
def test_an_interrupted_measurement_goes_on_where_it_stood(
    tmp_path: Path, after: int
) -> None:
    """What was read is not read again; a finished step is not arranged again."""
    first = Interrupted(after)
    with on_scene(tmp_path, "capacitor-drawer") as (bench, simulated):
        with pytest.raises(KeyboardInterrupt):
            measure_capacitor(
                bench,
                SPAN,
                job=PARALLEL,
                session=Session(attendant=Changed(simulated), sink=first),
            )
        stored = {
            step: Stored(readings, finished=step != list(first.kept)[-1])
            for step, readings in first.kept.items()
        }
        attendant, second = Changed(simulated), Interrupted(10_000)
        result = measure_capacitor(
            bench,
            SPAN,
            job=PARALLEL,
            session=Session(attendant=attendant, sink=second, stored=stored),
        )
        truth = simulated.truth["unknown.capacitance_f"]
    assert holds(result, "capacitance", truth, most_u=1.1 * 0.0065 * truth)
    for step, readings in first.kept.items():
        assert second.kept[step][: len(readings)] == readings
    if len(first.kept) == 2:
        assert attendant.steps == ["unknown"]


def test_readings_of_another_measurement_are_refused(tmp_path: Path) -> None:
    """The plan does not ask for them, and says which it would."""
    strange = [Reading(frequency_hz=9e6, amplitude_v=0.1)] * 3
    with (
        on_scene(tmp_path, "capacitor-drawer") as (bench, simulated),
        pytest.raises(InputError, match="do not belong to this measurement"),
    ):
        measure_capacitor(
            bench,
            SPAN,
            job=PARALLEL,
            session=Session(
                attendant=Changed(simulated), stored={"reference": Stored(strange)}
            ),
        )


@pytest.mark.parametrize(("lag_s", "told"), [(0.0, False), (1e-3, False), (5e-3, True)])
def test_a_lag_is_told_with_the_result(
    lag_s: float, *, told: bool, tmp_path: Path
) -> None:
    """5 ms against 13 ms from reading to reading: exp(-13/5) = 7 % is kept."""
    scene = tmp_path / "lag.toml"
    whole = Path(str(resources.files("halfpower.sim") / "scenes" / "kit-coil.toml"))
    scene.write_text(
        whole.read_text("utf-8").replace(
            'kind = "scope"', f'kind = "scope"\nlag_s = {lag_s:.4f}'
        ),
        "utf-8",
    )
    simulated = load_scene(scene).build(seed=1)
    with (
        closing(open_visa(simulated)) as manager,
        open_bench(
            load_bench_file(bundled_bench_file("kit-coil")),
            manager=manager,
            sleep=simulated.clock.sleep,
            clock=lambda: simulated.clock.now_s,
        ) as bench,
    ):
        result = measure_resonance(bench, Span(lowest_hz=4e6, highest_hz=10e6))
    assert ("not_settled" in {one.code for one in result.warnings}) == told
