"""The constants a stored result rests on: read, corrected, made into a tank, kept.

They are named as in their files: ``fixture.stray_capacitance``,
``detector.input_resistance``, ``generator.frequency_reference`` of the bench file, and
``measure.capacitor``, ``measure.capacitor_loss``, ``measure.self_capacitance`` of the
lot file.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Protocol, cast

from pydantic import TypeAdapter, ValidationError

from ...analysis.errors import InputError
from ...analysis.quantity import Stated, Unit, describe
from ...analysis.tank import Tank
from ...drivers.bench import BenchFile, DetectorTable, FixtureTable, GeneratorTable
from ..run import (
    EXPONENTS,
    USUAL_CAPACITOR_LOSS,
    USUAL_SELF_CAPACITANCE,
    tank_on_bench,
)
from .file import LotFile
from .models import MeasureTable

__all__ = ["Constants", "constants_in_force", "corrected_by", "corrected_by_bench"]

TABLES: Mapping[str, Any] = {
    "generator": GeneratorTable,
    "detector": DetectorTable,
    "fixture": FixtureTable,
    "measure": MeasureTable,
}
UNITS: Mapping[str, Unit] = {  # what enters a result, and its unit
    "generator.source_resistance": "ohm",
    "generator.frequency_reference": "fraction",
    "detector.input_resistance": "ohm",
    "detector.input_capacitance": "F",
    "detector.linearity": "fraction",
    "fixture.coupling_capacitance": "F",
    "fixture.output_coupling_capacitance": "F",
    "fixture.stray_capacitance": "F",
    "fixture.stray_loss": "fraction",
    "fixture.lead_inductance": "H",
    "fixture.lead_resistance": "ohm",
    "measure.capacitor": "F",
    "measure.capacitor_loss": "fraction",
    "measure.self_capacitance": "F",
}
LIMITS = ("generator.frequency_reference", "detector.linearity")  # of an error
NONE = Stated(value=0.0)


class Kept(Protocol):
    """The bench's and the fixture's constants as they are kept beside a result."""

    @property
    def bench(self) -> str:
        """Generator, detector and what the lot file states, as JSON."""

    @property
    def fixture(self) -> str:
        """The fixture's kind and constants, as JSON."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Constants:
    """What a lot's parts rest on.

    Attributes
    ----------
    kind
        The fixture's.
    values
        By the names above; what is not there was not stated.
    """

    kind: str
    values: Mapping[str, Stated | float]

    @property
    def exponent(self) -> float:
        """The fixture's k."""
        return EXPONENTS[self.kind]

    def tank(self) -> Tank:
        """Put them together as a measurement does."""
        known = self.values.get
        tables: dict[str, dict[str, Any]] = {
            name: {
                key.partition(".")[2]: value
                for key, value in self.values.items()
                if key.startswith(f"{name}.")
            }
            for name in ("generator", "detector", "fixture")
        }
        file = BenchFile.model_construct(
            generator=GeneratorTable.model_construct(**tables["generator"]),
            detector=DetectorTable.model_construct(**tables["detector"]),
            fixture=FixtureTable.model_construct(
                kind=cast("Any", self.kind), **tables["fixture"]
            ),
        )
        capacitor = known("measure.capacitor")
        loss = known("measure.capacitor_loss", USUAL_CAPACITOR_LOSS)
        own = known("measure.self_capacitance", USUAL_SELF_CAPACITANCE)
        return tank_on_bench(
            file,
            capacitor_f=NONE if capacitor is None else cast("Stated", capacitor),
            capacitor_loss=NONE if capacitor is None else cast("Stated", loss),
            self_capacitance_f=cast("Stated", own),
        )

    def written(self, kept: Kept) -> tuple[str, str]:
        """Give bench and fixture as they are to be kept, with what was there besides.

        Parameters
        ----------
        kept
            What was kept before.

        Returns
        -------
        bench, fixture
            As JSON.
        """
        bench, fixture = json.loads(kept.bench), json.loads(kept.fixture)
        places = {"fixture": fixture}
        for name in ("generator", "detector", "measure"):
            places[name] = bench.setdefault(name, {})
        for key, value in self.values.items():
            table, _, name = key.partition(".")
            places[table][name] = asdict(value) if isinstance(value, Stated) else value
        return json.dumps(bench, sort_keys=True), json.dumps(fixture, sort_keys=True)

    def shown(self, key: str) -> str:
        """Write one as it is given on a command line; ``not stated`` without it."""
        value = self.values.get(key)
        if value is None:
            return "not stated"
        stated = value if isinstance(value, Stated) else Stated(value=value)
        return describe(stated, unit=UNITS[key])


def constants_in_force(kept: Kept, lot: LotFile) -> Constants:
    """Read the constants of parts from what is kept beside their results.

    Parameters
    ----------
    kept
        What is kept.
    lot
        What the lot's file states of the parts measured with.

    Raises
    ------
    InputError
        They are not there: the parts were stored without them.
    """
    try:
        bench, fixture = json.loads(kept.bench), json.loads(kept.fixture)
        found = {
            "generator": bench["generator"],
            "detector": bench["detector"],
            "fixture": fixture,
            "measure": bench.get("measure", {}),
        }
        kind = {name: name for name in EXPONENTS}[fixture["kind"]]
        values = {
            key: _read(value)
            for key in UNITS
            for table, _, name in (key.partition("."),)
            if (value := found[table].get(name)) is not None
        }
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise InputError(
            "the bench and fixture constants of these parts are not in the record base "
            f"({type(error).__name__}: {error}); without them nothing can be worked "
            "out again"
        ) from error
    for name in ("capacitor", "capacitor_loss", "self_capacitance"):
        stated = getattr(lot.measure, name)
        if stated is not None:
            values.setdefault(f"measure.{name}", stated)
    return Constants(kind=kind, values=values)


def _read(kept: Any) -> Stated | float:
    if isinstance(kept, Mapping):
        return Stated(**kept)
    return float(kept)


def corrected_by(constants: Constants, settings: Sequence[str]) -> Constants:
    """Correct constants as ``fixture.stray_capacitance=5.4pF +- 0.2pF`` says.

    Raises
    ------
    InputError
        A name that enters no result, named twice, or a value its file would refuse.
    """
    values = dict(constants.values)
    seen: set[str] = set()
    for setting in settings:
        key, equals, text = (one.strip() for one in setting.partition("="))
        if not equals or key not in UNITS:
            raise InputError(
                f"{setting!r} corrects nothing; write NAME=VALUE, the name one of "
                + ", ".join(UNITS)
            )
        if key in seen:
            raise InputError(f"{key} is corrected twice")
        seen.add(key)
        if key == "fixture.output_coupling_capacitance" and (
            constants.kind != "coupled-both-sides"
        ):
            raise InputError(f"a fixture of kind {constants.kind!r} has no {key}")
        values[key] = _checked(key, text)
    return replace(constants, values=values)


def _checked(key: str, text: str) -> Stated | float:
    """Read a value by the rules of its file."""
    table, _, name = key.partition(".")
    field = TABLES[table].model_fields[name]
    adapter: TypeAdapter[Any] = TypeAdapter(_annotated(field))
    try:
        value = adapter.validate_python(text)
    except ValidationError as error:
        said = error.errors()[0]["msg"].removeprefix("Value error, ")
        raise InputError(f"{key}: {said}") from error
    return value if isinstance(value, Stated) else float(value)


def _annotated(field: Any) -> Any:
    """Put a field's type together with the rules pydantic took off it."""
    from typing import Annotated

    return (
        Annotated[(field.annotation, *field.metadata)]
        if field.metadata
        else (field.annotation)
    )


def corrected_by_bench(constants: Constants, file: BenchFile) -> Constants:
    """Take the bench's constants from a bench file.

    Raises
    ------
    InputError
        Its fixture is of another kind than the readings were taken in.
    """
    if file.fixture.kind != constants.kind:
        raise InputError(
            f"the bench file's fixture is {file.fixture.kind}, and the readings were "
            f"taken in a {constants.kind}: its curve is another one"
        )
    values = dict(constants.values)
    for key in UNITS:
        table, _, name = key.partition(".")
        if table == "measure":
            continue
        given = getattr(getattr(file, table), name)
        if given is not None:
            values[key] = given
    return replace(constants, values=values)
