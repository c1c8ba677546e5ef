"""What was measured of a fixture, in a file that a bench file names.

Written by `halfpower fixture measure`; its values take the place of what the bench file
states by hand, until they are older than the bench file allows.
"""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AwareDatetime, ConfigDict, Field

from ...analysis.errors import InputError
from ...analysis.quantity import Stated, Unit, describe
from ..toml_file import TomlTable, load_toml
from ..toml_quantities import Farads, Resistance
from .bench_file import BenchFile

__all__ = [
    "FixtureRecord",
    "fixture_record_text",
    "load_fixture_record",
    "with_fixture_record",
]

HEAD = """\
# What a fixture adds, as measured. Written by `halfpower fixture measure`; a bench file
# names it in [fixture] as record = "...". u is a standard uncertainty.
"""
UNITS: dict[str, Unit] = {
    "stray_capacitance": "F",
    "probe_capacitance": "F",
    "probe_resistance": "ohm",
}


class FixtureRecord(TomlTable):
    """The file's content.

    Attributes
    ----------
    made
        When.
    fixture
        The fixture's kind.
    generator, detector
        Who the instruments said they were.
    frequency_hz
        About where it was measured.
    stray_capacitance, probe_capacitance, probe_resistance
        What was found; None: not measured.
    """

    model_config = ConfigDict(populate_by_name=True)

    schema_name: Literal["halfpower.fixture-record/1"] = Field(
        alias="schema", default="halfpower.fixture-record/1"
    )
    made: AwareDatetime
    fixture: str
    generator: str
    detector: str
    frequency_hz: Annotated[float, Field(gt=0.0)]
    stray_capacitance: Farads | None = None
    probe_capacitance: Farads | None = None
    probe_resistance: Resistance | None = None

    @property
    def values(self) -> dict[str, Stated]:
        """What was measured, by name."""
        named = {name: getattr(self, name) for name in UNITS}
        return {name: one for name, one in named.items() if one is not None}


def fixture_record_text(record: FixtureRecord) -> str:
    """Give the text of a record's file; `load_fixture_record` reads it."""
    lines = [
        f'schema = "{record.schema_name}"',
        f"made = {record.made.isoformat()}",
        *(
            f"{name} = {_quoted(getattr(record, name))}"
            for name in ("fixture", "generator", "detector")
        ),
        f"frequency_hz = {record.frequency_hz!r}",
        *(
            f'{name} = "{describe(one, unit=UNITS[name])}"'
            for name, one in record.values.items()
        ),
    ]
    return HEAD + "\n".join(lines) + "\n"


def load_fixture_record(path: Path) -> FixtureRecord:
    """Read and check a record.

    Raises
    ------
    InputError
        Missing, or wrong; every mistake with its line.
    """
    return load_toml(path, record=FixtureRecord, what="fixture record")


def with_fixture_record(file: BenchFile, *, folder: Path, now: datetime) -> BenchFile:
    """Put a measured fixture's values into a bench file's content.

    Parameters
    ----------
    file
        The bench file's content.
    folder
        Where it stands; the record is looked for there.
    now
        What time it is.

    Returns
    -------
    BenchFile
        The same where the bench file names no record.

    Raises
    ------
    InputError
        The record is missing or wrong, of another kind of fixture, from the future, or
        older than the bench file allows.
    """
    if not file.fixture.record:
        return file
    path = folder / file.fixture.record
    record = load_fixture_record(path)
    if record.fixture != file.fixture.kind:
        raise InputError(
            f"fixture record {path} is of a {record.fixture} fixture, and the bench "
            f"file's is {file.fixture.kind}; measure it again"
        )
    age = now - record.made
    most = file.fixture.record_age_s
    if most is not None and not timedelta(0) <= age <= timedelta(seconds=most):
        days = age.total_seconds() / 86400.0
        raise InputError(
            f"fixture record {path} is {days:.1f} days old, and the bench file allows "
            f"{most / 86400.0:.3g}; measure it again with halfpower fixture measure"
        )
    values = record.values
    fixture = {name: one for name, one in values.items() if name == "stray_capacitance"}
    detector = {
        key: values[name]
        for name, key in (
            ("probe_resistance", "input_resistance"),
            ("probe_capacitance", "input_capacitance"),
        )
        if name in values
    }
    return file.model_copy(
        update={
            "fixture": file.fixture.model_copy(update=fixture),
            "detector": file.detector.model_copy(update=detector),
        }
    )


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{"".join(c if c.isprintable() else " " for c in escaped)}"'
