"""The check of a bench: what is sound, what is dead, what is missing."""

from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from halfpower.cli.at_bench import bundled_bench_file
from halfpower.drivers import load_bench_file
from halfpower.drivers.bench import CheckPlan, CheckRow, check_bench, reaching
from halfpower.sim import load_scene, open_visa


def bundled_dialect(name: str) -> str:
    """The bundled file's place."""
    return str(resources.files("halfpower.drivers") / "dialects" / f"{name}.toml")


def checked(
    scene: str = "kit-coil",
    *,
    bench_file: Path | None = None,
    frequency_hz: float | None = None,
    level_v: float = 1.0,
) -> dict[str, CheckRow]:
    """Check a scene's bench; its rows by what was looked at."""
    simulated = load_scene(scene).build(seed=1)
    path = bench_file or bundled_bench_file(scene)
    file = load_bench_file(path)
    manager = open_visa(simulated)
    told: list[CheckRow] = []
    with reaching(
        file, folder=path.parent, manager=manager, sleep=simulated.clock.sleep
    ) as reach:
        rows = check_bench(
            file,
            reach=reach,
            plan=CheckPlan(level_v=level_v, frequency_hz=frequency_hz),
            sleep=simulated.clock.sleep,
            clock=lambda: simulated.clock.now_s,
            told=told.append,
        )
    assert list(rows) == told
    source: Any = manager.open_resource(simulated.resources["generator"])
    source.read_termination = "\n"
    assert source.query("OUTP?") == "0"
    manager.close()
    return {row.what: row for row in rows}


def changed(folder: Path, *changes: tuple[str, str], scene: str = "kit-coil") -> Path:
    """A scene's bench file with changes."""
    text = bundled_bench_file(scene).read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "bench.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("scene", ["kit-coil", "kit-coil-power", "kit-coil-voltmeter"])
def test_a_sound_bench_passes_in_every_row(scene: str) -> None:
    """Twelve rows, all ok."""
    rows = checked(scene)
    assert {row.state for row in rows.values()} == {"ok"}
    assert len(rows) == 12


def test_the_signal_is_looked_for_where_there_is_most() -> None:
    """Thirteen steps over the limits come within a step of the peak (6.77 MHz)."""
    rows = checked()
    assert "6.81732e+06 Hz" in rows["detector sees the generator"].found


@pytest.mark.parametrize("frequency_hz", [6.8e6, 6.925e6])
def test_the_level_step_shows_the_detector_s_law(frequency_hz: float) -> None:
    """A diode makes more of a step of two than two, 4.5 % more on the peak."""
    rows = checked("kit-coil-diode", frequency_hz=frequency_hz)
    row = rows["detector follows a level step"]
    assert row.state == "doubtful"
    assert "linearise" in row.do


def test_a_detector_that_sees_nothing_has_failed() -> None:
    """At 10 kHz the coupling lets nothing through: the reading is the scope's noise."""
    row = checked(frequency_hz=1e4)["detector follows a level step"]
    assert row.state == "FAILED"
    assert "does not see the generator" in row.do


def test_noise_and_speed_are_those_of_the_scene() -> None:
    """A scope record takes 5 ms, the bench file's settling 8 ms."""
    rows = checked()
    assert rows["speed"].found.startswith("13.")
    share = float(rows["noise of one reading"].found.split(" %")[0])
    assert 0.02 < share < 0.5


def test_one_dead_instrument_does_not_hide_the_other(tmp_path: Path) -> None:
    """The generator refuses its dialect; the detector is looked at all the same."""
    path = changed(tmp_path, ('"generator-volts"', '"mine.toml"'))
    mine = Path(bundled_dialect("generator-volts"))
    (tmp_path / "mine.toml").write_text(
        mine.read_text("utf-8").replace("*CLS", "NONSENSE:HEADER ON"), "utf-8"
    )
    rows = checked(bench_file=path)
    assert rows["generator answers"].state == "FAILED"
    assert "Undefined header" in rows["generator answers"].found
    assert rows["detector reads"].state == "ok"
    assert "detector sees the generator" not in rows


def test_a_level_beyond_the_generator_is_a_failure_of_that_row() -> None:
    """20 Vpp into 50 ohm, where it ends at 10."""
    rows = checked(level_v=14.2)
    assert rows["generator obeys level"].state == "FAILED"
    assert rows["generator obeys frequency"].state == "ok"


def test_what_the_file_leaves_open_is_missing(tmp_path: Path) -> None:
    """Constants without doubt, and a generator's range."""
    path = changed(
        tmp_path,
        ('"0.93Mohm +- 15%"', '"0.93Mohm"'),
        ('lowest_frequency = "1kHz"\n', ""),
    )
    rows = checked(bench_file=path)
    missing = {what for what, row in rows.items() if row.state == "missing"}
    assert missing == {"doubt of [detector] input_resistance", "[limits] frequencies"}


def test_what_a_dialect_cannot_ask_is_missing(tmp_path: Path) -> None:
    """A generator that does not read back, with no error queue."""
    mine = Path(bundled_dialect("generator-volts")).read_text("utf-8").splitlines()
    kept = [one for one in mine if not one.startswith(("read", "error"))]
    (tmp_path / "mine.toml").write_text("\n".join(kept), "utf-8")
    path = changed(tmp_path, ('"generator-volts"', '"mine.toml"'))
    rows = checked(bench_file=path)
    missing = [what for what, row in rows.items() if row.state == "missing"]
    assert missing == [
        "generator's frequency read back",
        "generator's level read back",
        "generator's output read back",
        "generator's refusals",
    ]
    assert rows["detector sees the generator"].state == "ok"


def test_a_settle_that_is_too_short_is_refused(tmp_path: Path) -> None:
    """A generator settles within 6 ms; 1 ms is stated, and no more is missing."""
    path = changed(tmp_path, ('settle = "8ms"', 'settle = "1ms"'))
    row = checked(bench_file=path, frequency_hz=7e6)["settle"]
    assert row.state == "FAILED"
    assert "too early" in row.found
    needed_ms = float(row.do.split('"')[1].removesuffix("ms"))
    assert 3.0 < needed_ms < 8.0
