"""Dialects: templates that cannot work are refused before anything is sent."""

from pathlib import Path

import pytest

from halfpower.analysis.errors import InputError
from halfpower.drivers.dialect import (
    bundled_dialects,
    load_detector_dialect,
    load_generator_dialect,
)

GENERATOR = """\
kind = "generator"
[frequency]
set = "FREQ {frequency_hz:.3f}"
read = "FREQ?"
[level]
set = "VOLT {level:.7g}"
read = "VOLT?"
unit = "Vrms"
load_ohm = 50.0
[output]
on = "OUTP ON"
off = "OUTP OFF"
read = "OUTP?"
[common]
identity = "*IDN?"
error = "SYST:ERR?"
"""
DETECTOR = """\
kind = "detector"
[reading]
read = "MEAS?"
unit = "Vrms"
[range]
set = "SCAL {volts_per_division:.4g}"
read = "SCAL?"
divisions = 8.0
lowest = 0.002
highest = 10.0
[common]
identity = "*IDN?"
error = "SYST:ERR?"
"""


@pytest.mark.parametrize("name", bundled_dialects())
def test_a_bundled_dialect_loads_by_its_name(name: str) -> None:
    """For the kind of instrument that it is for."""
    load = load_generator_dialect if "generator" in name else load_detector_dialect
    assert load(name, folder=Path()).common.identity == "*IDN?"


def test_an_unknown_name_lists_the_bundled_ones() -> None:
    """And says how a file is named."""
    with pytest.raises(InputError, match=r"scope-vrms.*ends in \.toml"):
        load_detector_dialect("scope-vrm", folder=Path())


def test_a_generator_s_dialect_is_none_for_a_detector() -> None:
    """The kind is checked, not guessed from what fits."""
    with pytest.raises(InputError, match="kind"):
        load_detector_dialect("generator-volts", folder=Path())


@pytest.mark.parametrize(
    ("right", "wrong", "phrase"),
    [
        ("{frequency_hz:.3f}", "{frequency:.3f}", "not a usable template"),
        ("{frequency_hz:.3f}", "1000", "must contain {frequency_hz}"),
        ("{frequency_hz:.3f}", "{frequency_hz:d}", "not a usable template"),
        ("{frequency_hz:.3f}", "{frequency_hz", "not a usable template"),
        ("{frequency_hz:.3f}", "{}", "not a usable template"),
        ("{frequency_hz:.3f}", "{frequency_hz.real}", "must contain"),
        ('off = "OUTP OFF"', 'off = ""', "output.off"),
        ('off = "OUTP OFF"', 'off = "OUTP\\nOFF"', "output.off"),
        ('off = "OUTP OFF"', 'off = "µ"', "output.off"),
        ('off = "OUTP OFF"', 'of = "OUTP OFF"', "did you mean 'off'"),
        ('unit = "Vrms"', 'unit = "mV"', "level.unit"),
        ('unit = "Vrms"\nload_ohm = 50.0', 'unit = "dBm"\nload_ohm = inf', "finite"),
        ("load_ohm = 50.0", "load_ohm = 0", "level.load_ohm"),
        ("load_ohm = 50.0", "load_ohm = nan", "level.load_ohm"),
    ],
)
def test_a_generator_s_mistake_is_named_with_its_line(
    tmp_path: Path, right: str, wrong: str, phrase: str
) -> None:
    """Before it could send half a command to an instrument."""
    assert right in GENERATOR
    (tmp_path / "mine.toml").write_text(
        GENERATOR.replace(right, wrong), encoding="utf-8"
    )
    with pytest.raises(InputError) as caught:
        load_generator_dialect("mine.toml", folder=tmp_path)
    assert phrase in str(caught.value)
    assert "line " in str(caught.value)


@pytest.mark.parametrize(
    ("right", "wrong", "phrase"),
    [
        (
            "lowest = 0.002",
            "lowst = 0.002",
            "line 9: unknown key 'range.lowst' (did you mean 'lowest'?)",
        ),
        ("lowest = 0.002", "lowest = 20.0", "lowest is above highest"),
        ("lowest = 0.002", "lowest = 0.0", "range.lowest"),
        ("highest = 10.0", "highest = inf", "range.highest"),
        ("divisions = 8.0", "divisions = -8.0", "range.divisions"),
        ('unit = "Vrms"', 'unit = "dBm"\nload_ohm = inf', "reading.load_ohm"),
    ],
)
def test_a_detector_s_mistake_is_named_with_its_line(
    tmp_path: Path, right: str, wrong: str, phrase: str
) -> None:
    """In a table that may be left out as well."""
    (tmp_path / "mine.toml").write_text(
        DETECTOR.replace(right, wrong), encoding="utf-8"
    )
    with pytest.raises(InputError) as caught:
        load_detector_dialect("mine.toml", folder=tmp_path)
    assert phrase in str(caught.value)
    assert "line " in str(caught.value)


def test_the_examples_above_are_sound(tmp_path: Path) -> None:
    """So that each refusal is for its own mistake."""
    (tmp_path / "g.toml").write_text(GENERATOR, encoding="utf-8")
    (tmp_path / "d.toml").write_text(DETECTOR, encoding="utf-8")
    assert load_generator_dialect("g.toml", folder=tmp_path).level.load_ohm == 50.0
    vertical = load_detector_dialect("d.toml", folder=tmp_path).range
    assert vertical is not None
    assert vertical.divisions == 8.0
