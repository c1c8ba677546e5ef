"""Bench files: every mistake is named, with its line and the nearest key."""

from pathlib import Path

import pytest

from halfpower.analysis import InputError, Stated
from halfpower.drivers import load_bench_file


def line_of(text: str, start: str) -> int:
    """Number of the first line that begins so, counted from 1."""
    lines = text.splitlines()
    return next(n for n, line in enumerate(lines, start=1) if line.startswith(start))


def test_quantities_come_out_in_si_with_their_doubt(bench_path: Path) -> None:
    """Limits of 10 % of 1 pF are 0.1 pF / sqrt(3) of standard uncertainty."""
    bench = load_bench_file(bench_path)
    assert bench.fixture.coupling_capacitance == Stated.within(
        1e-12, half_width=1e-12 * 0.1
    )
    assert bench.generator.level_v == 1.0
    assert bench.generator.frequency_reference == pytest.approx(2e-6)
    assert bench.generator.settle_s == 0.008
    assert bench.limits.highest_frequency_hz == 60e6


def test_what_is_left_out_has_a_safe_default(bench_path: Path, bench_toml: str) -> None:
    """30 V r.m.s. is the touch limit of IEC 61010-1, 6.3.1, in normal condition."""
    bench_path.write_text(bench_toml[: bench_toml.index("[limits]")], encoding="utf-8")
    bench = load_bench_file(bench_path)
    assert bench.limits.tank_voltage_v == 30.0
    assert bench.visa == "@py"


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("start", ["", "\ufeff"], ids=["plain", "byte-order-mark"])
def test_files_of_any_editor_are_read(
    bench_path: Path, bench_toml: str, newline: str, start: str
) -> None:
    """Line ends and a byte order mark are no mistakes of the person's."""
    text = start + bench_toml.replace("\n", newline)
    bench_path.write_bytes(text.encode())
    assert load_bench_file(bench_path).fixture.kind == "coupled-tank"


MISTAKES = [
    ('level = "1V"', 'levl = "1V"', "did you mean 'level'"),
    ('level = "1V"', 'level = "1"' + "\nlevel_v = 1.0", "did you mean 'level'"),
    ('level = "1V"', 'level = "1V"\nidentity = ""', "a pattern that nobody has"),
    ('level = "1V"', "level = 1.0", "must be text with a unit"),
    ('level = "1V"', "level = true", "must be text with a unit"),
    ('level = "1V"', "level = nan", "must be text with a unit"),
    ('level = "1V"', 'level = "-1V"', "greater than 0"),
    ('level = "1V"', 'level = "0V"', "greater than 0"),
    ('level = "1V"', 'level = "1,5V"', "not a number"),
    ('level = "1V"', 'level = "1A"', "not in V"),
    ('level = "1V"', 'level = "1V +- 1%"', "not a number"),
    ('settle = "8ms"', "settle = 8", "must be text with a unit"),
    ('settle = "8ms"', 'settle = "-8ms"', "greater than or equal to 0"),
    ('frequency_reference = "2ppm"', 'frequency_reference = "2MHz"', "not a share"),
    ('linearity = "0.1%"', 'linearity = "80%"', "less than 0.5"),
    ('input_resistance = "0.93Mohm +- 15%"', 'input_resistance = "0ohm"', "above zero"),
    ('source_resistance = "50ohm"', 'source_resistance = "-50ohm"', "above zero"),
    (
        'stray_capacitance = "5.0pF +- 0.5pF"',
        'stray_capacitance = "-5pF"',
        "below zero",
    ),
    (
        'stray_capacitance = "5.0pF +- 0.5pF"',
        'stray_capacitance = "5.0"',
        "check the pre",
    ),
    ('stray_loss = "0.001 +- 0.0005"', 'stray_loss = "0.001 +- 10%"', "both alike"),
    (
        'coupling_capacitance = "1.0pF +- 10%"',
        'coupling_capacitance = "0F"',
        "above zero",
    ),
    ('lead_inductance = "10nH +- 2nH"', 'lead_inductance = "10nF"', "not in H"),
    ('kind = "coupled-tank"', 'kind = "coupled-tnk"', "coupled-tank"),
    ('kind = "coupled-tank"', 'kind = "coupled-both-sides"', "output_coupling_capac"),
    ('tank_voltage = "30V"', 'tank_voltage = "30kV"', "check the prefix"),
    ('tank_voltage = "30V"', 'tnk_voltage = "30V"', "did you mean 'tank_voltage'"),
]


@pytest.mark.parametrize(
    ("right", "wrong", "phrase"), MISTAKES, ids=[m[1] for m in MISTAKES]
)
def test_a_mistake_is_named_with_its_line(
    bench_path: Path, bench_toml: str, right: str, wrong: str, phrase: str
) -> None:
    """The sentence holds the file, the line and what is wrong."""
    assert right in bench_toml
    text = bench_toml.replace(right, wrong, 1)
    bench_path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_bench_file(bench_path)
    sentence = str(caught.value)
    assert phrase in sentence
    assert f"line {line_of(text, wrong.splitlines()[-1])}: " in sentence
    assert str(bench_path) in sentence


def test_limits_in_the_wrong_order_are_named_with_their_table(
    bench_path: Path, bench_toml: str
) -> None:
    """A range that holds nothing would refuse every reading later."""
    text = bench_toml.replace('"1kHz"', '"70MHz"')
    bench_path.write_text(text, encoding="utf-8")
    where = line_of(text, "[limits]")
    with pytest.raises(InputError, match=rf"line {where}: limits: .*not below"):
        load_bench_file(bench_path)


def test_every_mistake_is_named_at_once(bench_path: Path, bench_toml: str) -> None:
    """Three mistakes, one run."""
    text = bench_toml.replace('"1V"', "1.0").replace('"8ms"', '"8mV"')
    bench_path.write_text(text.replace("stray_loss", "stray_los"), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_bench_file(bench_path)
    assert len(caught.value.values["mistakes"]) == 3


@pytest.mark.parametrize("key", ["resource", "dialect", "level", "frequency_reference"])
def test_a_missing_key_is_named_with_its_table_s_line(
    bench_path: Path, bench_toml: str, key: str
) -> None:
    """There is no line of its own to point to."""
    lines = bench_toml.splitlines()
    del lines[next(n for n, line in enumerate(lines) if line.startswith(key))]
    bench_path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(InputError, match=rf"line 1: 'generator\.{key}' is missing"):
        load_bench_file(bench_path)


@pytest.mark.parametrize("table", ["generator", "detector", "fixture"])
def test_a_missing_table_is_named(
    bench_path: Path, bench_toml: str, table: str
) -> None:
    """Also when its name is misspelt; then the misspelling is named too."""
    text = bench_toml.replace(f"[{table}]", f"[{table}s]")
    bench_path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_bench_file(bench_path)
    assert f"'{table}' is missing" in str(caught.value)
    assert f"unknown key '{table}s' (did you mean '{table}'?)" in str(caught.value)


@pytest.mark.parametrize(
    ("content", "phrase"),
    [
        (b"[generator", "not TOML"),
        (b'[generator]\nlevel = "1V"\nlevel = "2V"\n', "not TOML"),
        (b"\xff\xfe[", "not UTF-8"),
        (b"", "'generator' is missing"),
        (b"generator = 3\n", "line 1: generator"),
    ],
)
def test_a_file_that_is_no_bench_file_is_refused(
    bench_path: Path, content: bytes, phrase: str
) -> None:
    """Broken syntax, a key twice, another encoding, nothing at all."""
    bench_path.write_bytes(content)
    with pytest.raises(InputError, match=phrase):
        load_bench_file(bench_path)


@pytest.mark.parametrize("name", ["nosuch.toml", "."])
def test_a_file_that_cannot_be_read_says_why(tmp_path: Path, name: str) -> None:
    """Missing, or a folder."""
    with pytest.raises(InputError, match="cannot read bench file"):
        load_bench_file(tmp_path / name)


def test_a_person_needs_no_dialect(bench_path: Path, bench_toml: str) -> None:
    """`hand` instead of a resource name."""
    text = bench_toml.replace('resource = "GPIB::2"\ndialect = "scope-vrms"', "@")
    bench_path.write_text(text.replace("@", 'resource = "hand"'), encoding="utf-8")
    file = load_bench_file(bench_path)
    assert file.detector.is_hand
    assert not file.generator.is_hand


def test_a_person_with_a_dialect_is_a_mistake(
    bench_path: Path, bench_toml: str
) -> None:
    """One of the two was meant."""
    text = bench_toml.replace('resource = "GPIB::1"', 'resource = "hand"')
    bench_path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"line 3: generator\.dialect: .* leave it"):
        load_bench_file(bench_path)
