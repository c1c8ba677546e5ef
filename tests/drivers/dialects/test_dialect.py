"""Dialects: templates that cannot work are refused before anything is sent."""

import re
from pathlib import Path

import pytest

from halfpower.analysis import InputError
from halfpower.drivers.dialects import load_detector_dialect, load_generator_dialect
from halfpower.drivers.dialects.dialect import bundled_dialects

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
        ("{frequency_hz:.3f}", "{frequency_hz} {frequency_khz}", "one of them only"),
        ("{level:.7g}", "{level_mv:.7g}", "not a usable template"),
        ("{level:.7g}", "1", "must contain {level} or {level_milli}"),
        (
            '{level:.7g}"\nread = "VOLT?"\nunit = "Vrms"',
            '{level_milli}"\nunit = "dBm"',
            "no thousandths",
        ),
        ('kind = "generator"', 'kind = "generator"\nsettle_s = -1.0', "settle_s"),
        ("[common]", '[link]\nread_termination = "\\t"\n[common]', "link.read_term"),
        ("[common]", "[link]\nbaud_rate = 0\n[common]", "link.baud_rate"),
        ("[common]", '[link]\nparity = "mark"\n[common]', "link.parity"),
        ("[common]", '[common]\nerror_form = "queu"', "common.error_form"),
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
        ('unit = "Vrms"', 'unit = "Vrms"\nfield = 0', "reading.field"),
        ('unit = "Vrms"', 'unit = "Vrms"\nseparator = ""', "reading.separator"),
        ("[common]", '[tuning]\nset = "TUNE"\n[common]', "must contain {frequency_hz}"),
        (
            "[common]",
            '[tuning]\nset = "T {frequency_hz}"\ntolerance_hz = 0\n[common]',
            "tuning.tolerance_hz",
        ),
        ("[common]", '[reference]\nread = "M2?"\n[common]', "'reference.unit'"),
        ('unit = "Vrms"', 'unit = "dBm"\nload_ohm = inf', "reading.load_ohm"),
        ('unit = "Vrms"', 'unit = "Vrms"\nsuffixes = { mV = 0.0 }', "suffixes.mV"),
        ('unit = "Vrms"', 'unit = "Vrms"\nsuffixes = { mV = "m" }', "suffixes.mV"),
        ('unit = "Vrms"', 'unit = "mV"', "reading.unit"),
        ("[common]", '[averaging]\nset = "AVER"\n[common]', "must contain {count}"),
        (
            "[common]",
            '[averaging]\nset = "AVER {count}"\ncount = 0\n[common]',
            "averaging.count",
        ),
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


def test_a_frequency_may_be_told_in_kilohertz(tmp_path: Path) -> None:
    """For a generator that takes no exponent and no unit."""
    text = GENERATOR.replace("FREQ {frequency_hz:.3f}", "FR{frequency_khz:.3f}KZ")
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    dialect = load_generator_dialect("mine.toml", folder=tmp_path)
    assert dialect.frequency.command(7123456.0) == "FR7123.456KZ"


def test_a_level_may_be_told_in_millivolts(tmp_path: Path) -> None:
    """For a generator that takes no exponent and no unit."""
    text = GENERATOR.replace("VOLT {level:.7g}", "LV {level_milli:.1f}")
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    dialect = load_generator_dialect("mine.toml", folder=tmp_path)
    assert dialect.level.command(0.3536) == "LV 353.6"


@pytest.mark.parametrize("identity", ['identity = ""', ""])
def test_an_instrument_may_have_no_identity(tmp_path: Path, identity: str) -> None:
    """Said so, or left out."""
    text = GENERATOR.replace('identity = "*IDN?"', identity)
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    assert load_generator_dialect("mine.toml", folder=tmp_path).common.identity == ""


def test_what_an_instrument_cannot_say_may_be_left_out(tmp_path: Path) -> None:
    """Read-backs and the error queue; what cannot be done without may not."""
    lines = [one for one in GENERATOR.splitlines() if not one.startswith("read")]
    text = "\n".join(one for one in lines if not one.startswith("error"))
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    dialect = load_generator_dialect("mine.toml", folder=tmp_path)
    assert dialect.frequency.read is dialect.output.read is dialect.common.error is None


def test_an_event_register_serves_for_a_queue(tmp_path: Path) -> None:
    """16: an execution error (IEEE 488.2, 11.5.1.1)."""
    text = GENERATOR.replace('"SYST:ERR?"', '"*ESR?"\nerror_form = "register"')
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    common = load_generator_dialect("mine.toml", folder=tmp_path).common
    assert "execution error" in common.queued("16").text
    assert common.queued("128").code == 0


def test_the_page_s_examples_load(tmp_path: Path) -> None:
    """The dialects that docs/instruments.md shows, as they stand there."""
    page = Path(__file__).parents[3] / "docs" / "instruments.md"
    blocks = re.findall(
        r"```toml\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL
    )
    generator = next(one for one in blocks if one.startswith("kind"))
    reading = next(one for one in blocks if one.startswith("[reading]"))
    common = generator[generator.index("[common]") :]
    (tmp_path / "g.toml").write_text(generator, encoding="utf-8")
    (tmp_path / "d.toml").write_text(
        f'kind = "detector"\n{reading}\n{common}', encoding="utf-8"
    )
    assert load_generator_dialect("g.toml", folder=tmp_path).link.pause_s == 0.02
    assert (
        load_detector_dialect("d.toml", folder=tmp_path).reading.suffixes["mV"] == 1e-3
    )
