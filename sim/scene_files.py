"""Scene files: read, checked, and every mistake named with its line."""

from dataclasses import dataclass
from importlib import resources
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from .errors import SceneError
from .scene import (
    FixtureTable,
    SceneTable,
    hint,
    line_of,
    parse,
    read_text,
    refusal,
    validate,
)

if TYPE_CHECKING:
    from .bench import SimulatedBench
    from .instruments import Clock

__all__ = ["Scene", "bundled_fixtures", "bundled_scenes", "load_fixture", "load_scene"]

PACKAGE = "halfpower.sim"


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A bench as described, before anything is drawn.

    Attributes
    ----------
    name
        The bundled name, or the path.
    table, fixture
        What the files say.
    text
        The scene file itself.
    """

    name: str
    table: SceneTable
    fixture: FixtureTable
    text: str

    def build(self, seed: int = 0, clock: "Clock | None" = None) -> "SimulatedBench":
        """Draw everything that has a spread, and set the bench up.

        Parameters
        ----------
        seed
            The same seed gives the same parts, the same noise, the same bytes.
        clock
            The bench's clock; a virtual one of its own by default.

        Raises
        ------
        SceneError
            What is drawn cannot be: a spread reaches below zero.
        """
        from .bench import SimulatedBench
        from .instruments import SceneClock

        clock = clock or SceneClock()
        try:
            return SimulatedBench(
                self.table, fixture=self.fixture, seed=seed, clock=clock
            )
        except (ValueError, ArithmeticError) as error:
            raise SceneError(
                f"with seed {seed} it cannot be built: {error}", path=self.name
            ) from error


def _bundled(folder: str) -> tuple[str, ...]:
    entries = resources.files(PACKAGE).joinpath(folder).iterdir()
    names = [entry.name for entry in entries if entry.name.endswith(".toml")]
    return tuple(sorted(name.removesuffix(".toml") for name in names))


def bundled_scenes() -> tuple[str, ...]:
    """Name the scenes that come with the package."""
    return _bundled("scenes")


def bundled_fixtures() -> tuple[str, ...]:
    """Name the fixture tables that come with the package."""
    return _bundled("fixtures")


def _read(name_or_path: str, folder: str) -> str:
    if name_or_path in _bundled(folder):
        entry = resources.files(PACKAGE).joinpath(folder, f"{name_or_path}.toml")
        return entry.read_text("utf-8")
    try:
        return read_text(Path(name_or_path))
    except FileNotFoundError:
        kind = folder.removesuffix("s")
        raise SceneError(
            f"there is no such file and no bundled {kind} of that name; bundled are "
            + ", ".join(_bundled(folder)),
            path=name_or_path,
        ) from None
    except ValueError as error:
        if isinstance(error, SceneError):
            raise
        raise SceneError("no file has such a name", path=repr(name_or_path)) from None


def load_fixture(name_or_path: str) -> FixtureTable:
    """Load a fixture table by its bundled name or its path.

    Raises
    ------
    SceneError
        There is none, or it cannot be used.
    """
    text = _read(name_or_path, "fixtures")
    return validate(FixtureTable, parse(text, name_or_path), text, name_or_path)


def _cross_check(
    table: SceneTable, fixture: FixtureTable, text: str, path: str
) -> None:
    """Check the names that a scene uses against those that its fixture has."""
    elements = [e.name for e in fixture.element]
    slots = [s.name for s in fixture.slot]
    used: list[tuple[tuple[str, ...], str, str, list[str]]] = [
        (("fixture", "elements", n), "element", n, elements)
        for n in table.fixture.elements
    ]
    used += [(("parts", n), "slot", n, slots) for n in table.parts]
    if table.lot is not None:
        used.append((("lot", "slot"), "slot", table.lot.slot, slots))
    problems = [
        (
            line_of(location, text),
            f"the fixture {table.fixture.table} has no {what} {name}"
            + hint(name, known),
        )
        for location, what, name, known in used
        if name not in known
    ]
    if problems:
        raise refusal(problems, path)


def _find_fixture(table: SceneTable, text: str, path: str) -> str:
    """Find a scene's fixture: bundled, or a file beside the scene."""
    name = table.fixture.table
    if name in bundled_fixtures():
        return name
    beside = Path(path).parent / name
    if beside.is_file():
        return str(beside)
    raise SceneError(
        f"fixture.table: there is no fixture {name}{hint(name, bundled_fixtures())}",
        path=path,
        line=line_of(("fixture", "table"), text),
    )


def load_scene(name_or_path: str | PathLike[str]) -> Scene:
    """Load a scene by its bundled name or its path.

    Parameters
    ----------
    name_or_path
        One of `bundled_scenes`, or a TOML file. A fixture that the file names by a
        path is looked for beside the file.

    Raises
    ------
    SceneError
        There is none, or it cannot be used: with the line of the first mistake and
        all of them in ``problems``.
    """
    name = str(name_or_path)
    text = _read(name, "scenes")
    table = validate(SceneTable, parse(text, name), text, name)
    fixture = load_fixture(_find_fixture(table, text, name))
    _cross_check(table, fixture, text, name)
    return Scene(name=name, table=table, fixture=fixture, text=text)
