"""A lot goes out as CSV and Parquet, and text stays text."""

import csv
import dataclasses
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from halfpower.analysis import InputError
from halfpower.records import RecordBase, open_base
from halfpower.records.base import as_spreadsheet_text, export_csv, export_parquet
from halfpower.records.errors import EntryError, RecordError

Filled = Callable[[str], str]


def rows_of(path: Path) -> list[dict[str, str]]:
    """Read a CSV file as any program would."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_csv_has_a_row_a_part(kind: str, filled: Filled, tmp_path: Path) -> None:
    """Quantities are columns with their unit, by the newest results."""
    with open_base(filled(kind)) as base:
        parts, _ = export_csv(base, "chokes", folder=tmp_path / "out")
    rows = rows_of(parts)
    assert [one["label"] for one in rows] == [
        "L1",
        "L3",
        "L20",
    ]  # as conftest.py has it
    assert [float(one["inductance_H"]) for one in rows] == [1.1e-6, 3.3e-6, 20e-6]
    assert [one["u_loaded_q"] for one in rows] == ["", "", ""]
    assert [one["suspect"] for one in rows] == ["False", "False", "True"]
    assert rows[0]["reasons"] == "invented: as the example says"


def test_csv_has_a_row_a_reading(
    filled: Filled, tmp_path: Path, invented: ModuleType
) -> None:
    """Every reading comes back from the file to the last bit."""
    with open_base(filled("sqlite")) as base:
        _, readings = export_csv(base, "chokes", folder=tmp_path, all_attempts=True)
    rows = rows_of(readings)
    assert len(rows) == 4 * 40
    first, given = rows[:40], invented.invented_sweep(1)
    assert [float(one["frequency_hz"]) for one in first] == given.frequency_hz.tolist()
    assert [float(one["amplitude_v"]) for one in first] == given.amplitude_v.tolist()
    assert [float(one["range_v"]) for one in first] == [0.5] * 40
    assert [one["used"] for one in first] == ["False"] + ["True"] * 39
    assert {one["sweep_name"] for one in first} == {"peak"}


# What a spreadsheet takes for a formula: OWASP, "CSV Injection".
@pytest.mark.parametrize("label", ["=1+1", "+1", "-1", "@SUM(1)", "\tx", "\rx", "'x"])
def test_formula_arrives_as_text(
    base: RecordBase, invented: ModuleType, tmp_path: Path, label: str
) -> None:
    """In CSV an apostrophe stands before it; in the base and in Parquet none does."""
    import pyarrow.parquet as pq

    base.store(invented.invented_part(1, label=label))
    parts, _ = export_csv(base, "chokes", folder=tmp_path)
    assert rows_of(parts)[0]["label"] == f"'{label}"
    parts, _ = export_parquet(base, "chokes", folder=tmp_path)
    assert pq.read_table(parts).column("label").to_pylist() == [label]
    assert base.part("chokes", 1).first.label == label


def test_ordinary_text_and_numbers_are_left_alone(
    base: RecordBase, invented: ModuleType, tmp_path: Path
) -> None:
    """A negative number stays a number, a label within quotes itself."""
    part = invented.invented_part(1, label='L1 "a", b')
    negative = dataclasses.replace(part.quantities[0], value=-1.5)
    base.store(dataclasses.replace(part, quantities=(negative,)))
    row = rows_of(export_csv(base, "chokes", folder=tmp_path)[0])[0]
    assert (row["label"], float(row["inductance_H"])) == ('L1 "a", b', -1.5)
    assert as_spreadsheet_text("L1") == "L1"


def test_text_of_any_kind_can_be_exported(
    base: RecordBase, invented: ModuleType, tmp_path: Path
) -> None:
    """NUL is kept; half a surrogate pair, which no file can hold, is its escape."""
    import pyarrow.parquet as pq

    base.store(invented.invented_part(1, label="a\x00b\ud800"))
    parts, _ = export_csv(base, "chokes", folder=tmp_path)
    assert "a\x00b\\ud800" in parts.read_text(encoding="utf-8")
    parts, _ = export_parquet(base, "chokes", folder=tmp_path)
    assert pq.read_table(parts).column("label").to_pylist() == ["a\x00b\\ud800"]


def test_parquet_and_csv_say_the_same(filled: Filled, tmp_path: Path) -> None:
    """Both have the same columns, rows and numbers."""
    import pyarrow.parquet as pq

    with open_base(filled("sqlite")) as base:
        written = zip(
            export_csv(base, "chokes", folder=tmp_path),
            export_parquet(base, "chokes", folder=tmp_path),
            strict=True,
        )
    for plain, columns in written:
        rows, table = rows_of(plain), pq.read_table(columns)
        assert list(rows[0]) == table.column_names
        for name in table.column_names:
            held = ["" if v is None else str(v) for v in table.column(name).to_pylist()]
            assert held == [row[name] for row in rows]


def test_file_is_never_overwritten(filled: Filled, tmp_path: Path) -> None:
    """An export into a folder that has one says so."""
    with open_base(filled("sqlite")) as base:
        export_csv(base, "chokes", folder=tmp_path)
        with pytest.raises(InputError, match="exists already; name another file"):
            export_csv(base, "chokes", folder=tmp_path)


def test_unknown_lot_makes_no_file(base: RecordBase, tmp_path: Path) -> None:
    """An export of nothing leaves nothing."""
    with pytest.raises(EntryError, match="no lot 'none'"):
        export_csv(base, "none", folder=tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_missing_pyarrow_is_said(
    filled: Filled, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the extra, the sentence says what to install."""
    monkeypatch.setattr("halfpower.records.base.export.find_spec", lambda _: None)
    with (
        open_base(filled("sqlite")) as base,
        pytest.raises(RecordError, match=r"pip install 'halfpower\[parquet\]'"),
    ):
        export_parquet(base, "chokes", folder=tmp_path)
